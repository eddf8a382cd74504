"""Who stands where at one instant, as facets in the world frame."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..cell.model import Cell, Pallet
from ..checks.cast import SEGMENTS, Actor, Cast, Role, cast_of, name_carried
from ..checks.finding import Finding, Judged
from ..geometry.frames import Array
from ..motion.cycle import Cycle, Segment
from ..motion.options import Task, tasks_of
from .facets import Facets, facets_of

_FLOOR_TOP = 0.002  # [m]: what lies this low and is this wide is floor, and not drawn
_FLOOR_WIDE = 4.0  # [m]
_ROOF_WIDE = 2.4  # [m]: a body this wide both ways is part of the building, drawn as an outline


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """One body as it stands; actor: its index in the cast."""

    name: str
    role: Role
    actor: int
    facets: Facets


@dataclass(frozen=True, slots=True, eq=False)
class Moment:
    """An instant of a task.

    Attributes:
        joints: Shape (dof,) [rad or m].
        event: How many placements of the pallet are down.
        segment: Name of the segment, as the cast tells them apart.
        carried: Indices of the group's cartons that hang on the tool.
        turn: Turn of the tool over the group [rad].
    """

    task: Task
    joints: Array
    event: int
    segment: str
    carried: tuple[int, ...]
    turn: float


class Scenery:
    """All bodies of one pallet's job, ready to be put where they are at any instant."""

    def __init__(self, cell: Cell, pallet: Pallet) -> None:
        self.cell, self.pallet = cell, pallet
        self.tasks = tasks_of(pallet)
        self.cast: Cast = cast_of(cell, pallet, self.tasks)
        self._facets = [facets_of(body) for body in self.cast.bodies]
        self._task = {p.id: task for task in self.tasks for p in task.placements}

    def task(self, placement: str) -> Task:
        """The task that brings a placement, by its id."""
        return self._task[placement]

    def frames(self, joints: Array) -> Array:
        """Poses world_from_link of all links, shape (links, 4, 4), at joints, shape (dof,)."""
        base_from_link = self.cell.mounted.arm.chain.link_poses(joints[None])[0]
        return np.array([self.cell.mounted.world_from_base @ frame for frame in base_from_link])

    def at(self, moment: Moment) -> list[Shown]:
        """Everything that is there at a moment, but the floor."""
        frames = self.frames(moment.joints)
        there = [i for i, actor in enumerate(self.cast.actors) if _stands(actor, moment)]
        shown = [
            Shown(
                name_carried(self.cast, i, moment.task.placements),
                self.cast.actors[i].role,
                i,
                self.placed(i, frames),
            )
            for i in there
        ]
        return [entry for entry in shown if not is_floor(entry.facets)]

    def own(self, actor: int) -> Facets:
        """One body in the frame of the link that carries it."""
        return self._facets[actor]

    def placed(self, actor: int, frames: Array) -> Facets:
        """One body in the world at poses of all links, shape (links, 4, 4)."""
        return self._facets[actor].moved(frames[self.cast.actors[actor].link])


def is_floor(facets: Facets) -> bool:
    """Whether a body is a floor: its top at the ground, and too wide to be anything else."""
    low, high = facets.points.min(axis=0), facets.points.max(axis=0)
    return bool(high[2] <= _FLOOR_TOP and min(high[:2] - low[:2]) >= _FLOOR_WIDE)


def is_building(facets: Facets) -> bool:
    """Whether a body is so wide, as a ceiling is, that it would hide the cell or dwarf it."""
    extent = facets.points.max(axis=0) - facets.points.min(axis=0)
    return bool(extent[:2].min() >= _ROOF_WIDE)


def _stands(actor: Actor, moment: Moment) -> bool:
    if actor.carried is not None:
        group, turn, item = actor.carried
        return group == moment.task.group.name and turn == moment.turn and item in moment.carried
    if not actor.since <= moment.event < actor.until:
        return False
    if not actor.segments >> SEGMENTS.index(moment.segment) & 1:  # pyright: ignore[reportArgumentType]
        return False
    return actor.group in ("", moment.task.group.name)


def segment_of(cycle: Cycle, finding: Finding) -> Segment | None:
    """The segment of a cycle in which a finding's instant lies."""
    named = [s for s in cycle.segments if finding.segment in (None, s.name)]
    at = finding.at
    if at is None:
        return named[0] if finding.segment and named else None
    late = [max(float(s.times[0]) - at, at - float(s.times[-1]), 0.0) for s in named]
    return named[int(np.argmin(late))] if named else None


def moment_of(task: Task, cycle: Cycle, segment: Segment, at: float | None) -> Moment:
    """The moment of a cycle at an instant [s] within a segment; its end by default."""
    when = float(segment.times[-1]) if at is None else at
    row = int(
        np.clip(np.searchsorted(segment.times, when, side="right") - 1, 0, len(segment.times) - 2)
    )
    since, until = (float(time) for time in segment.times[row : row + 2])
    share = min(max((when - since) / max(until - since, 1e-12), 0.0), 1.0)
    return Moment(
        task,
        between_rows(segment.joints, np.array([row + share]))[0],
        task.first + segment.release,
        segment.name,
        segment.carried,
        cycle.pick_turn,
    )


def between_rows(joints: Array, rows: Array) -> Array:
    """Joints, shape (k, dof), at row numbers with fractions, shape (n,); shape (n, dof)."""
    low = np.floor(rows).astype(np.intp).clip(0, max(len(joints) - 2, 0))
    high = np.minimum(low + 1, len(joints) - 1)
    return joints[low] + (rows - low)[:, None] * (joints[high] - joints[low])


def waiting(task: Task, event: int, joints: Array) -> Moment:
    """A moment at which the arm waits, its tool empty, and `event` placements are down."""
    return Moment(task, joints, event, "return", (), task.group.turns[0])


def resting_joints(cell: Cell, judged: Sequence[Judged], pallet: str | None = None) -> Array:
    """Where the arm waits: above the pick if any cycle was found, else near the zero pose."""
    for entry in judged:
        if entry.cycle is not None and pallet in (None, entry.placement.pallet):
            return entry.cycle.segments[0].joints[0]
    usable = np.array(cell.mounted.usable)
    return np.clip(np.zeros(len(usable)), usable[:, 0], usable[:, 1])
