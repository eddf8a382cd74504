"""One segment of one cycle, told plainly: who moves, who stands, what is asked of a pair.

The checks themselves work on all segments at once. This is the same told one body at a time,
so that another engine can be asked about it without leaning on the tables of the checks.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..cell.model import Cell
from ..geometry.frames import Array
from ..motion.cycle import Cycle, Segment
from ..motion.options import Task
from .cast import Actor, Cast, during, name_carried
from .rules import Meeting, Rule, Rules

_SAME_LEVEL = 5e-4  # [m]: a carton whose top is this near the bottom carries it
FINEST = float(np.radians(5.0))  # no joint turns more between configurations that are asked


@dataclass(frozen=True, slots=True, eq=False)
class Occasion:
    """One segment, with all that moves and stands in it.

    Attributes:
        moving: Actors that move, and the arm's own base.
        standing: Actors that stand.
        names: Scene name of each of these actors.
    """

    cell: Cell
    cast: Cast
    task: Task
    cycle: Cycle
    segment: Segment
    moving: tuple[int, ...]
    standing: tuple[int, ...]
    names: dict[int, str]

    @classmethod
    def of(cls, cell: Cell, cast: Cast, task: Task, cycle: Cycle, segment: Segment) -> "Occasion":
        """Find out who takes part in a segment of a task's cycle."""
        numbered = list(enumerate(cast.actors))
        moving = tuple(i for i, actor in numbered if _moves(actor, task, cycle, segment))
        standing = tuple(i for i, actor in numbered if _stands(actor, task, segment))
        names = {i: name_carried(cast, i, task.placements) for i in (*moving, *standing)}
        return cls(cell, cast, task, cycle, segment, moving, standing, names)

    def called(self, name: str) -> list[int]:
        """All actors of this name; a link may be several bodies."""
        return [i for i, other in self.names.items() if other == name]

    def pairs(self) -> int:
        """How many pairs of bodies are watched at once."""
        actors = self.cast.actors
        able = [i for i in self.moving if actors[i].link]
        each_other = sum(
            self.is_watched(i, j) for k, i in enumerate(self.moving) for j in self.moving[k + 1 :]
        )
        return len(able) * len(self.standing) + each_other

    def is_watched(self, first: int, second: int) -> bool:
        """Whether two actors may be said to meet at all."""
        one, other = self.cast.actors[first], self.cast.actors[second]
        if not (one.link or other.link):
            return False
        return (min(first, second), max(first, second)) not in self.cast.together

    def in_order(self, first: int, second: int) -> tuple[int, int]:
        """The mover of a pair, and the other: what is carried moves against tool and arm."""
        actors = self.cast.actors
        if bool(actors[first].link) != bool(actors[second].link):
            return (first, second) if actors[first].link else (second, first)
        return max(first, second), min(first, second)

    def rule(self, mover: int, other: int) -> Rule:
        """What is asked of a moving body and another."""
        mine, theirs = self.cast.actors[mover], self.cast.actors[other]
        task = self.task
        placed = theirs.role == "placed"
        below = placed and mine.role == "carried" and theirs.top <= self._bottom(mine) + _SAME_LEVEL
        if placed and task.first < theirs.since <= task.first + len(task.placements):
            theirs = replace(theirs, role="own")
        return Rules(self.cell).of(Meeting(mine, theirs, self.segment.name, below))

    def _bottom(self, mover: Actor) -> float:
        """Height of a carried carton's bottom at rest, in the pallet's frame [m]."""
        if mover.carried is None:
            return -np.inf
        release = min(self.segment.release, len(self.task.placements) - 1)
        height = self.task.group.items[mover.carried[2]].carton.size[2]
        return self.task.placements[release].z - height

    def least_limit(self, rule: Rule) -> float:
        """The least clearance that a rule asks for anywhere on the segment [m]."""
        if rule.full == rule.rest:
            return rule.full
        lowest = float(self.segment.to_go.min())
        share = min(lowest / self.cell.clearances.taper_height, 1.0)
        return rule.rest + (rule.full - rule.rest) * share

    def rows(self) -> Array:
        """Rows to be asked about, shape (n,); between rows too, where joints turn far."""
        far = np.abs(np.diff(self.segment.joints, axis=0)).max(axis=1, initial=0.0)
        parts = [max(1, int(count)) for count in np.ceil(far / FINEST)]
        rows = [k + part / n for k, n in enumerate(parts) for part in range(n)]
        return np.array([*rows, len(parts)], dtype=float)

    def joints_at(self, rows: Array) -> Array:
        """Joints at rows, fractions included, shape (n, dof)."""
        return _between(self.segment.joints, rows)

    def row_at(self, instant: float) -> float:
        """Row, fraction included, at an instant [s]."""
        times = self.segment.times
        return float(np.interp(instant, times, np.arange(len(times))))

    def instant_at(self, row: float) -> float:
        """Instant at a row [s]."""
        return float(np.interp(row, np.arange(len(self.segment.times)), self.segment.times))


def _between(joints: Array, rows: Array) -> Array:
    before = np.floor(rows).astype(int).clip(0, max(len(joints) - 2, 0))
    after = np.minimum(before + 1, len(joints) - 1)
    share = (rows - before)[:, None]
    return (1.0 - share) * joints[before] + share * joints[after]  # at rows: exactly theirs


def _moves(actor: Actor, task: Task, cycle: Cycle, segment: Segment) -> bool:
    """Whether it moves with the arm: links and tool do, cartons while they hang."""
    if actor.carried is None:
        return bool(actor.link) or actor.role == "arm"
    group, turn, item = actor.carried
    return group == task.group.name and turn == cycle.pick_turn and item in segment.carried


def _stands(actor: Actor, task: Task, segment: Segment) -> bool:
    """Whether it stands still and is there at that time."""
    if actor.link or actor.role == "arm":
        return False
    there = actor.since <= task.first + segment.release < actor.until
    return (
        there
        and bool(actor.segments & during(segment.name))
        and actor.group in ("", task.group.name)
    )
