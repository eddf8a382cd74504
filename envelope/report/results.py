"""A result as JSON: the file that other programs read, with keys that do not change.

Lengths are in millimetres, angles in degrees, times in seconds. The same result
gives the same bytes: keys and placements stand in a fixed order and numbers are
rounded the same way everywhere.
"""

import json
import math
from typing import Any

import numpy as np

from ..arm.chain import Chain
from ..cell.model import Cell
from ..checks.finding import Finding, Judged, Result
from ..checks.throughput import Rate
from ..geometry.frames import Array
from ..motion.cycle import Cycle, Segment
from ..palletizing.group import Placement
from .numbers import limit_of, measured, rounded

FORMAT = 1
JOINT_DECIMALS = 5  # [deg or mm]: the rows that were checked are rounded like this
TIME_DECIMALS = 6  # [s]
VALUE_DECIMALS = 4


def as_json(result: Result, cell: Cell) -> str:
    """The results file, one placement a line, with a newline at the end.

    Args:
        result: What the check found.
        cell: The cell that was checked; says which joints turn and which slide.

    Raises:
        ValueError: If a number in the result is not a number.
    """
    scale = joint_scale(cell.mounted.arm.chain)
    head: dict[str, Any] = {
        "format": FORMAT,
        "cell": {"name": result.cell_name, "sha256": result.sha256},
        "verdict": result.verdict,
        "counts": {
            "placements": len(result.placements),
            "pass": result.count("pass"),
            "marginal": result.count("marginal"),
            "fail": result.count("fail"),
            "not_checked": result.count("not checked"),
        },
        "findings": [_finding(finding) for finding in result.findings],
        "rate": None if result.rate is None else _rate(result.rate),
    }
    told: set[tuple[str, int]] = set()
    lines: list[str] = []
    for judged in result.placements:
        lines.append(_dump(_placement(judged, scale, told)))
    opening = _dump(head)[:-1] + ', "placements": ['
    return opening + "\n" + ",\n".join(lines) + "\n]}\n"


def joint_scale(chain: Chain) -> Array:
    """Factor from radians to degrees, or metres to millimetres, of each joint; shape (dof,)."""
    scale = np.full(chain.dof, 180.0 / math.pi)
    for link in chain.links:
        if link.prismatic:
            scale[link.source] = 1000.0
    return scale


def _dump(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _placement(judged: Judged, scale: Array, told: set[tuple[str, int]]) -> dict[str, Any]:
    placement = judged.placement
    return {
        "id": placement.id,
        "pallet": placement.pallet,
        "layer": placement.layer,
        "order": placement.order,
        "group": placement.group.name,
        "pose": _pose(placement),
        "verdict": judged.verdict,
        "findings": [_finding(finding) for finding in judged.findings],
        "cycle": None if judged.cycle is None else _cycle(judged.cycle, scale, told),
    }


def _pose(placement: Placement) -> dict[str, float]:
    """Centre of the group's top face in the pallet's frame."""
    return {
        "x": rounded(placement.x * 1000.0, VALUE_DECIMALS),
        "y": rounded(placement.y * 1000.0, VALUE_DECIMALS),
        "z": rounded(placement.z * 1000.0, VALUE_DECIMALS),
        "yaw": rounded(math.degrees(placement.yaw), VALUE_DECIMALS),
    }


def _finding(finding: Finding) -> dict[str, Any]:
    value, upper = measured(finding, VALUE_DECIMALS)
    return {
        "check": finding.check,
        "verdict": finding.verdict,
        "value": value,
        "upper": upper,
        "limit": limit_of(finding, VALUE_DECIMALS),
        "unit": finding.unit,
        "between": None if finding.between is None else list(finding.between),
        "segment": finding.segment,
        "at": None if finding.at is None else rounded(finding.at, TIME_DECIMALS),
        "message": finding.message,
        "worst_case": _worst_case(finding),
    }


def _rate(rate: Rate) -> dict[str, Any]:
    """What the cell brings in a minute; rates in cartons/min."""

    def shown(value: float) -> float:
        return rounded(value, VALUE_DECIMALS)

    queue = rate.queue
    return {
        "sustained": shown(rate.sustained),
        "alone": shown(rate.alone),
        "asked": None if rate.asked is None else shown(rate.asked),
        "cartons": rate.cartons,
        "cycles": rate.cycles,
        "mean_cycle": shown(rate.mean_cycle),
        "rounding": shown(rate.rounding),
        "slowest_cycle": {
            "seconds": shown(rate.slowest_cycle[0]),
            "placement": rate.slowest_cycle[1],
        },
        "waiting": {name: shown(seconds) for name, seconds in rate.waiting},
        "layers": [
            {"pallet": layer.pallet, "layer": layer.layer, "rate": shown(layer.rate)}
            for layer in rate.layers
        ],
        "dominating": {name: shown(seconds) for name, seconds in rate.dominating},
        "queue": None
        if queue is None
        else {
            "cartons": queue.cartons,
            "length": None if queue.length is None else shown(queue.length),
            "available": shown(queue.available),
            "places": queue.places,
        },
    }


def _worst_case(finding: Finding) -> dict[str, Any] | None:
    """The value in the worst case and what each tolerance takes off; rounded the safe way."""
    if finding.worst_case is None:
        return None
    taken = {name: rounded(amount, VALUE_DECIMALS) for name, amount in finding.allowances}
    value = math.floor(finding.worst_case * 10**VALUE_DECIMALS) / 10**VALUE_DECIMALS
    return {"value": value, "allowances": taken}


def _cycle(cycle: Cycle, scale: Array, told: set[tuple[str, int]]) -> dict[str, Any]:
    """The motion; only the first placement that a cycle releases carries its segments."""
    key = (cycle.pallet, cycle.number)
    segments = [] if key in told else [_segment(segment, scale) for segment in cycle.segments]
    told.add(key)
    return {
        "number": cycle.number,
        "seconds": rounded(cycle.seconds, TIME_DECIMALS),
        "segments": segments,
    }


def _segment(segment: Segment, scale: Array) -> dict[str, Any]:
    joints = np.round(segment.joints * scale, JOINT_DECIMALS) + 0.0  # never "-0.0"
    return {
        "name": segment.name,
        "kind": segment.kind,
        "joints": joints.tolist(),
        "times": (np.round(segment.times, TIME_DECIMALS) + 0.0).tolist(),
    }
