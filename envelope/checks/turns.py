"""Cycles as production sees them: how long each takes, and when it lets the next cartons up."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from ..cell.model import Cell, Line
from ..motion.cycle import Cycle
from ..motion.pace import pace_of
from ..motion.profile import duration
from ..motion.timing import joint_phases
from ..palletizing.group import Group, Placement
from .finding import Judged
from .production import Turn


@dataclass(frozen=True, slots=True, eq=False)
class Job:
    """One cycle that was planned, with the first placement that it brings."""

    placement: Placement
    cycle: Cycle
    turn: Turn


def jobs_of(cell: Cell, judged: Sequence[Judged]) -> list[Job]:
    """The cycles of placements in the order of work, each once.

    Where a pallet's cycles start from another posture than those of the pallet before, the move
    between the two counts with the last cycle; so does the way back to the first pallet.

    Args:
        cell: The cell.
        judged: Placements with a motion each.
    """
    jobs: dict[tuple[str, int], Job] = {}
    for entry in judged:
        cycle = entry.cycle
        if cycle is not None and (cycle.pallet, cycle.number) not in jobs:
            turn = _turn(cell, entry.placement, cycle)
            jobs[cycle.pallet, cycle.number] = Job(entry.placement, cycle, turn)
    listed = list(jobs.values())
    return [
        replace(job, turn=replace(job.turn, seconds=job.turn.seconds + extra))
        for job, extra in zip(listed, _between(cell, listed), strict=True)
    ]


def _between(cell: Cell, jobs: Sequence[Job]) -> list[float]:
    """Seconds from where each cycle ends to where the next one starts."""
    pace = pace_of(cell.mounted.arm, cell.motion, loaded=False)
    taken: list[float] = []
    for job, following in pairwise([*jobs, *jobs[:1]]):
        rows = np.stack([job.cycle.segments[-1].joints[-1], following.cycle.segments[0].joints[0]])
        profile = joint_phases(pace, rows)
        taken.append(duration(profile) if len(profile) else 0.0)
    return taken


def slowed(cycle: Cycle, line: Line | None) -> float:
    """Duration of a cycle at the reduced speed that the line states [s]."""
    moving = moving_time(cycle)
    return cycle.seconds - moving + moving / (1.0 if line is None else line.reduced_speed)


def moving_time(cycle: Cycle) -> float:
    """How long the arm moves in a cycle [s]."""
    return float(sum(segment.times[-1] - segment.times[0] for segment in cycle.segments))


def _turn(cell: Cell, placement: Placement, cycle: Cycle) -> Turn:
    """A cycle with the share of time at reduced speed spread over all cycles.

    Over a long time cycles come at the mean of the two rates, full speed and reduced, each
    weighted by the time spent in it.
    """
    line = cell.line
    share = 0.0 if line is None else line.reduced_share
    slow, moving = slowed(cycle, line), moving_time(cycle)
    seconds = 1.0 / ((1.0 - share) / cycle.seconds + share / slow)
    stretch = 1.0 + (seconds - cycle.seconds) / moving
    at, still = _clear(cell, placement.group, cycle)
    return Turn(
        cycle.pallet,
        placement.layer,
        len(placement.group.items),
        _length(cell, placement.group),
        seconds,
        (at - still) * stretch + still,
    )


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
