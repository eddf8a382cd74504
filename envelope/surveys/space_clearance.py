"""How near the job comes to each thing that stands around it: one proved bracket for each."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..cell.model import Cell, Pallet
from ..checks.cast import Cast, cast_of, name_carried
from ..checks.finding import Result
from ..checks.inside import starting_inside
from ..checks.meetings import Meetings
from ..checks.stretches import Planned, Stretches, along
from ..geometry.queries import Limits, Pairs
from ..geometry.stage import Index, Stage
from ..geometry.sweep import FLOOR, certify
from .space_motions import cycles_of

FARTHEST = 0.5  # [m]: clearances beyond are told as "more than"


@dataclass(frozen=True, slots=True)
class Nearest:
    """The smallest clearance to one thing that stands.

    Attributes:
        lower, upper: Proved bracket [m]; upper is None beyond the farthest that is told.
            Below `FLOOR` it is deeper than that.
        mover: What comes that near; placement and segment: when. Empty beyond the farthest.
    """

    name: str
    lower: float
    upper: float | None
    mover: str = ""
    placement: str = ""
    segment: str = ""


def nearest(cell: Cell, result: Result) -> tuple[Nearest, ...]:
    """The smallest clearance of arm, tool and groups to each fixed obstacle, in their order.

    Obstacles are what the cell names around it: surroundings, pedestal, floor. Pallets and
    infeed are touched by design; the check judges them.
    """
    names = [fixture.body.name for fixture in cell.fixtures]
    best = {name: Nearest(name, FARTHEST, None) for name in names}
    for pallet in cell.pallets:
        cycles = [Planned(task, cycle) for task, cycle in cycles_of(pallet, result)]
        if cycles and names:
            for found in _along(cell, pallet, cycles, names):
                if found.lower < best[found.name].lower:
                    best[found.name] = found
    return tuple(best.values())


def _along(
    cell: Cell, pallet: Pallet, planned: Sequence[Planned], names: Sequence[str]
) -> list[Nearest]:
    """The same over the cycles of one pallet; what stays far is left out."""
    cast = cast_of(cell, pallet, [plan.task for plan in planned])
    stretches = along(cast.travel, planned)
    stage = Stage(cast.travel, cast.parts, cast.link, stretches.pieces)
    pairs, segment = _pairs(cell, cast, planned, stretches, stage, names)
    if not len(pairs.query):
        return []
    none = np.zeros(len(names))
    found = certify(stage, pairs, Limits(none, none, none, 1.0), cap=FARTHEST, floor=FLOOR)
    begin = stage.frames[stage.at[0][stage.pieces.start[:-1]]]
    inside = starting_inside(cast, begin, pairs)
    nearest_: list[Nearest] = []
    for query, name in enumerate(names):
        if query in inside:
            nearest_.append(Nearest(name, -np.inf, -np.inf))
        elif found.near[query]:
            pair = int(found.pair[query])
            number, _, what = stretches.segments[int(segment[pair])]
            task = planned[number].task
            mover = name_carried(cast, int(cast.parts.owner[pairs.first[pair]]), task.placements)
            release = min(what.release, len(task.placements) - 1)
            bracket = float(found.lower[query]), float(found.upper[query])
            place = task.placements[release].id
            nearest_.append(Nearest(name, *bracket, mover, place, what.name))
    return nearest_


def _pairs(
    cell: Cell,
    cast: Cast,
    planned: Sequence[Planned],
    stretches: Stretches,
    stage: Stage,
    names: Sequence[str],
) -> tuple[Pairs, Index]:
    """Moving parts and parts of obstacles, each motion once; and a segment for each pair."""
    meetings = Meetings(cast, planned, stretches, stage, cell.clearances)
    meetings.far = FARTHEST
    segment, first, second = meetings.near_pairs()
    query_of = np.full(len(cast.actors), -1)
    for index, actor in enumerate(cast.actors):
        if actor.name in names and actor.link == 0 and actor.role != "arm":
            query_of[index] = names.index(actor.name)
    query = query_of[cast.parts.owner[second]]
    asked = (query >= 0) & (cast.link[first] != 0)
    keys = np.stack([stretches.motion[segment], first, second, query])[:, asked]
    _, once = np.unique(keys, axis=1, return_index=True)
    motion, first, second, query = keys[:, once]
    return Pairs(motion, first, second, query), segment[asked][once]
