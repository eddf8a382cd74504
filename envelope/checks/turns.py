"""Cycles as production sees them: how long each takes, and when it lets the next cartons up."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..cell.model import Cell
from ..motion.cycle import Cycle
from ..motion.pace import pace_of
from ..motion.rounding import saved_by_rounding
from ..motion.timing import timed_moves
from ..palletizing.group import Group, Placement
from .finding import Judged
from .production import Turn


@dataclass(frozen=True, slots=True, eq=False)
class Job:
    """One cycle that was planned, with the first placement that it brings.

    Attributes:
        slow: Its duration at the reduced speed that the line states [s].
        saved: Seconds saved at full speed by rounding corners.
    """

    placement: Placement
    cycle: Cycle
    turn: Turn
    slow: float
    saved: float


def jobs_of(cell: Cell, judged: Sequence[Judged]) -> list[Job]:
    """The cycles of placements in the order of work, each once.

    Where a pallet's cycles start from another posture than those of the pallet before, the move
    between the two counts with the last cycle; so does the way back to the first pallet.

    Args:
        cell: The cell.
        judged: Placements with a motion each.
    """
    cycles: dict[tuple[str, int], tuple[Placement, Cycle]] = {}
    for entry in judged:
        if entry.cycle is not None:
            key = (entry.cycle.pallet, entry.cycle.number)
            cycles.setdefault(key, (entry.placement, entry.cycle))
    listed = list(cycles.values())
    saved = saved_by_rounding(cell, [cycle for _, cycle in listed])
    between = _between(cell, [cycle for _, cycle in listed])
    return [
        _job(cell, placement, cycle, less, more)
        for (placement, cycle), less, more in zip(listed, saved, between, strict=True)
    ]


def _between(cell: Cell, cycles: Sequence[Cycle]) -> list[float]:
    """Seconds from where each cycle ends to where the next one starts."""
    pace = pace_of(cell.mounted.arm, cell.motion, loaded=False)
    moves = [
        np.stack([cycle.segments[-1].joints[-1], following.segments[0].joints[0]])
        for cycle, following in pairwise([*cycles, *cycles[:1]])
    ]
    return [float(timed.times[-1]) for timed in timed_moves(pace, moves)]


def _job(cell: Cell, placement: Placement, cycle: Cycle, saved: float, more: float) -> Job:
    """A cycle with the share of time at reduced speed spread over all cycles.

    Over a long time cycles come at the mean of the two rates, full speed and reduced, each
    weighted by the time spent in it.

    Args:
        cell: The cell.
        placement: The first that the cycle brings.
        cycle: As it was timed, with a stop at every corner.
        saved: Seconds saved by rounding corners.
        more: Seconds for the way to where the next cycle starts.
    """
    line, group = cell.line, placement.group
    timed = sum(float(segment.times[-1] - segment.times[0]) for segment in cycle.segments)
    standing, moving = cycle.seconds - timed, timed - saved
    slow = standing + moving / (1.0 if line is None else line.reduced_speed)
    share = 0.0 if line is None else line.reduced_share
    mean = 1.0 / ((1.0 - share) / (standing + moving) + share / slow)
    at, still = _clear(cell, group, cycle)
    stretch = max(1.0, (mean - standing) / timed)  # corners before it are not counted as rounded
    turn = Turn(
        cycle.pallet,
        placement.layer,
        len(group.items),
        _length(cell, group),
        mean + more,
        (at - still) * stretch + still,
    )
    return Job(placement, cycle, turn, slow + more, saved)


def _clear(cell: Cell, group: Group, cycle: Cycle) -> tuple[float, float]:
    """When the next cartons may move up: instant in the cycle, and time standing still before.

    The lowest carton then hangs above the tops of all kinds of cartons, and above the guides;
    where it is not lifted so high, it has been carried away.
    """
    high = max(carton.size[2] for carton in cell.cartons)
    sag = max(item.carton.growth()[1] for item in group.items)
    wanted = max(high, cell.infeed.guide_height) + sag
    lift = next(segment for segment in cycle.segments if segment.name == "lift off")
    away = next(segment for segment in cycle.segments if segment.name == "transfer")
    above = np.flatnonzero(lift.to_go >= wanted)
    at = float(lift.times[above[0]] if len(above) else away.times[-1])
    before = [s for s in cycle.segments if s.times[-1] <= lift.times[0] and s is not lift]
    return at, float(lift.times[0] - max(s.times[-1] for s in before))


def _length(cell: Cell, group: Group) -> float:
    """Extent of a group along the infeed [m]."""
    low, high = group.extent()
    size, yaw = high - low, cell.infeed.carton_yaw
    return float(abs(np.cos(yaw)) * size[0] + abs(np.sin(yaw)) * size[1])
