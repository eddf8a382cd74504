"""Which bodies move along which motions in a checked cell: every different motion once."""

from dataclasses import dataclass, field

from ..cell.model import Cell, Pallet
from ..checks.cast import Actor, Cast, cast_of
from ..checks.finding import Result
from ..geometry.bodies import Body
from ..geometry.frames import Array
from ..motion.cycle import Cycle, Segment
from ..motion.options import Task, tasks_of


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """Joint-linear rows that one or more segments follow.

    Attributes:
        joints: Shape (rows, dof) [rad or m].
        placement: Id of the first placement that it is a part of, and segment: of which part.
    """

    joints: Array
    placement: str
    segment: str


@dataclass(slots=True, eq=False)
class Moving:
    """A body of arm, tool or group, and the motions in which it takes part.

    Attributes:
        actor: What it is; the names of carried cartons are those of their group.
        body: In the frame of its link.
        motions: Indices of motions as keys, in order; none for what does not move.
    """

    actor: Actor
    body: Body
    motions: dict[int, None] = field(default_factory=dict[int, None])


@dataclass(frozen=True, slots=True, eq=False)
class Motions:
    """All motion of a job.

    Attributes:
        without: Ids of placements that have no motion: what they take up is not known.
    """

    motions: tuple[Motion, ...]
    moving: tuple[Moving, ...]
    without: tuple[str, ...]


def cycles_of(pallet: Pallet, result: Result) -> list[tuple[Task, Cycle]]:
    """The cycles of a pallet that have a motion, each with its task, in order."""
    tasks = {task.number: task for task in tasks_of(pallet)}
    found: dict[int, Cycle] = {}
    for judged in result.placements:
        if judged.placement.pallet == pallet.name and judged.cycle is not None:
            found.setdefault(judged.cycle.number, judged.cycle)
    return [(tasks[number], cycle) for number, cycle in found.items()]


def motions_of(cell: Cell, result: Result) -> Motions:
    """Collect the motions of all cycles of a result, and what takes part in them."""
    gathered = _Gathered()
    for pallet in cell.pallets:
        cycles = cycles_of(pallet, result)
        cast = cast_of(cell, pallet, [task for task, _ in cycles])
        gathered.bodies(cast)
        for task, cycle in cycles:
            for segment in cycle.segments:
                gathered.add(task, cycle, segment)
    without = [judged.placement.id for judged in result.placements if judged.cycle is None]
    return Motions(tuple(gathered.motions), tuple(gathered.moving.values()), tuple(without))


class _Gathered:
    """Motions and bodies under collection."""

    def __init__(self) -> None:
        self.motions: list[Motion] = []
        self.moving: dict[tuple[object, ...], Moving] = {}
        self._numbers: dict[bytes, int] = {}

    def bodies(self, cast: Cast) -> None:
        """Arm, tool and groups of a pallet's cast, those that are known left alone."""
        for index, (actor, body) in enumerate(zip(cast.actors, cast.bodies, strict=True)):
            if actor.role in ("arm", "tool", "lips", "carried"):
                # bodies of one name come in the same order for every pallet
                key = (actor.carried,) if actor.carried else (actor.name, index)
                self.moving.setdefault(key, Moving(actor, body))

    def add(self, task: Task, cycle: Cycle, segment: Segment) -> None:
        """A segment: a motion that is new or known, for all that takes part in it."""
        key = segment.joints.tobytes()
        if key not in self._numbers:
            self._numbers[key] = len(self.motions)
            release = min(segment.release, len(task.placements) - 1)
            self.motions.append(Motion(segment.joints, task.placements[release].id, segment.name))
        number = self._numbers[key]
        for moving in self.moving.values():
            if _takes_part(moving.actor, task, cycle, segment):
                moving.motions.setdefault(number)


def _takes_part(actor: Actor, task: Task, cycle: Cycle, segment: Segment) -> bool:
    if actor.carried is None:
        return actor.link != 0
    group, turn, item = actor.carried
    return group == task.group.name and turn == cycle.pick_turn and item in segment.carried
