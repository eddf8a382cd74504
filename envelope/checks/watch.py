"""Watches every pair of bodies along cycles: one batch of certified brackets."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..cell.model import Cell
from ..geometry.bodies import Mesh
from ..geometry.queries import Brackets, Limits, Pairs
from ..geometry.stage import Stage
from ..geometry.sweep import certify, floor_under
from .cast import SEGMENTS, Actor, Cast, Index, Mask
from .inside import starting_inside
from .meetings import Meetings, Planned, cap_of
from .rules import Meeting, Rule, Rules
from .stretches import Stretches, along, around_corners

_SAME_LEVEL = 5e-4  # [m]: a carton whose top is this near the bottom carries it


@dataclass(frozen=True, slots=True)
class Watched:
    """The least margin of one moving body under one rule over one segment [m, s].

    Attributes:
        planned: Index of the cycle; segment: index of the segment in it.
        mover, other: Indices of the actors; other is the nearest, None beyond the cap.
        margin: Proved bracket on clearance less limit, lower and upper.
        limit: The limit in force at the worst instant.
        gain: Unit direction in the base frame in which the mover gains room, or None.
        row: Row of the segment, and share of the way to the next, at the worst instant.
        inside: Whether the body is inside a mesh (or the mesh around it).
        depthless: Whether a mesh is involved, so that an overlap has no depth.
        corner: Whether it is met where a corner is rounded.
    """

    planned: int
    segment: int
    mover: int
    rule: Rule
    other: int | None
    margin: tuple[float, float]
    limit: float
    at: float
    gain: tuple[float, float, float] | None
    row: tuple[int, float]
    inside: bool = False
    depthless: bool = False
    corner: bool = False


def watch_cycles(
    cell: Cell, cast: Cast, planned: Sequence[Planned], *, values: bool = True
) -> list[Watched]:
    """The least margins along planned cycles, and around their corners where these are rounded.

    With values=False only whether limits are kept, and only those that are not.
    """
    found = Watch(cell, cast, planned).brackets(values=values)
    corners = around_corners(cell, planned)
    if corners is not None:
        found += Watch(cell, cast, planned, corners).brackets(values=values)
    return found


class Watch:
    """Everything along a batch of planned cycles.

    Args:
        cell: The cell.
        cast: Everything that moves or stands.
        planned: The cycles.
        stretches: What to watch of them; by default all segments.
    """

    def __init__(
        self,
        cell: Cell,
        cast: Cast,
        planned: Sequence[Planned],
        stretches: Stretches | None = None,
    ) -> None:
        stretches = stretches or along(cast.travel, planned)
        self.cast, self.planned = cast, planned
        self.rules = Rules(cell)
        self.clearances = cell.clearances
        self.segments = stretches.segments
        self._pieces, self._rows = stretches.pieces, stretches.rows
        self.stage = Stage(cast.travel, cast.parts, cast.link, self._pieces)
        self.meetings = Meetings(cast, planned, self.segments, self.stage, cell.clearances)
        self._rules: list[Rule] = []

    def brackets(self, *, values: bool = True) -> list[Watched]:
        """The least margin of every moving body under every rule over every segment.

        With values=False only whether it keeps its limit, and only those that do not.
        """
        segment, first, second = self.meetings.near_pairs()
        rule = self._ruled(segment, first, second)
        segment, first, second, rule = self._with_contact(segment, first, second, rule)
        mover = self.cast.parts.owner[first]
        arm = np.array([actor.role == "arm" for actor in self.cast.actors], dtype=bool)
        pair = np.where(
            arm[mover] & (self.cast.link[second] != 0), self.cast.parts.owner[second] + 1, 0
        )
        keys = np.stack([segment, mover, rule, pair], axis=1)
        unique, query = np.unique(keys, axis=0, return_inverse=True)
        pairs = Pairs(segment, first, second, query.reshape(-1))
        numbers: list[int] = unique[:, 2].tolist()
        asked = [self._rules[number] for number in numbers]
        full = np.array([rule.full for rule in asked], dtype=float)
        rest = np.array([rule.rest for rule in asked], dtype=float)
        touching = np.array([rule.touching for rule in asked], dtype=bool)
        wanted = np.where(touching, 0.0, self.clearances.margin)
        limits = Limits(full, rest, wanted, self.clearances.taper_height)
        found = certify(
            self.stage,
            pairs,
            limits,
            cap=cap_of(self.clearances),
            floor=self._floor(),
            values=values,
        )
        begin = self.stage.ends[0][self._pieces.start[:-1]]
        inside = starting_inside(self.cast, begin, pairs)
        wanted_queries = (
            range(len(unique))
            if values
            else sorted({*np.flatnonzero(found.lower < 0.0).tolist(), *inside})
        )
        return [self._watched(q, unique[q], pairs, found, inside) for q in wanted_queries]

    def _floor(self) -> float:
        """Overlap that is told as "deeper than" whatever is watched: below all limits [m]."""
        actors = self.cast.actors
        least = min(-actor.stroke - actor.slack for actor in actors) + 2 * self.rules.contact
        return floor_under(least)

    # --- under which rule -----------------------------------------------------------------------

    def _ruled(self, segment: Index, first: Index, second: Index) -> Index:
        """Number of the rule for each pair; it depends on the kinds of bodies only."""
        owner = self.cast.parts.owner
        name = np.array([SEGMENTS.index(s.name) for _, _, s in self.segments])[segment]
        own, below = self._relations(segment, owner[first], owner[second])
        kind, example = self._kinds()
        keys = np.stack([kind[owner[first]], kind[owner[second]], name, own, below], axis=1)
        unique, back = np.unique(keys, axis=0, return_inverse=True)
        numbers: list[int] = []
        rows: list[list[int]] = unique.tolist()
        for mover, other, segment_name, is_own, is_below in rows:
            counterpart = replace(example[other], role="own") if is_own else example[other]
            rule = self.rules.of(
                Meeting(example[mover], counterpart, SEGMENTS[segment_name], bool(is_below))
            )
            if rule not in self._rules:
                self._rules.append(rule)
            numbers.append(self._rules.index(rule))
        return np.array(numbers, dtype=np.intp)[back.reshape(-1)]

    def _with_contact(
        self, segment: Index, first: Index, second: Index, rule: Index
    ) -> tuple[Index, Index, Index, Index]:
        """Tapering pairs once more, to see whether they touch: the least clearance itself.

        Where a limit tapers, the least margin may lie at another instant than the least
        clearance.
        """
        contact = np.array([self._contact_rule(number) for number in range(len(self._rules))])
        again = np.flatnonzero(contact[rule] >= 0) if len(contact) else np.zeros(0, np.intp)
        return (
            np.concatenate([segment, segment[again]]),
            np.concatenate([first, first[again]]),
            np.concatenate([second, second[again]]),
            np.concatenate([rule, contact[rule[again]]]),
        )

    def _contact_rule(self, number: int) -> int:
        """Number of the rule that asks a tapering pair not to touch; -1 for others."""
        rule = self._rules[number]
        if rule.full == rule.rest:
            return -1
        limit = min(rule.rest, self.rules.contact)
        touching = Rule("collision", rule.pair, limit, limit, touching=True)
        if touching not in self._rules:
            self._rules.append(touching)
        return self._rules.index(touching)

    def _kinds(self) -> tuple[Index, list[Actor]]:
        """A number for each kind of actor that rules tell apart, and an actor of each kind."""
        numbers: dict[tuple[object, ...], int] = {}
        example: list[Actor] = []
        kind: list[int] = []
        for actor in self.cast.actors:
            key = (actor.role, actor.link, actor.stroke, actor.slack)
            if key not in numbers:
                numbers[key] = len(example)
                example.append(actor)
            kind.append(numbers[key])
        return np.array(kind, dtype=np.intp), example

    def _relations(self, segment: Index, mover: Index, other: Index) -> tuple[Mask, Mask]:
        """Whether the other is what this task has just put down; whether it lies below."""
        actors = self.cast.actors
        tasks = [self.planned[p].task for p, _, _ in self.segments]
        first = np.array([task.first for task in tasks])[segment]
        count = np.array([len(task.placements) for task in tasks])[segment]
        since = np.array([actor.since for actor in actors])[other]
        placed = np.array([actor.role == "placed" for actor in actors])[other]
        own = placed & (since > first) & (since <= first + count)
        item = np.array([-1 if a.carried is None else a.carried[2] for a in actors])[mover]
        bottom = np.full((len(self.segments), 1 + int(item.max(initial=0))), -np.inf)
        for row, (p, _, s) in enumerate(self.segments):
            task = self.planned[p].task
            placement = task.placements[min(s.release, len(task.placements) - 1)]
            for index, carton in enumerate(task.group.items):
                if index < bottom.shape[1]:
                    bottom[row, index] = placement.z - carton.carton.size[2]
        top = np.array([actor.top for actor in actors])[other]
        below = top <= bottom[segment, np.maximum(item, 0)] + _SAME_LEVEL
        return own, placed & (item >= 0) & below

    # --- answers --------------------------------------------------------------------------------

    def _watched(
        self, query: int, key: Index, pairs: Pairs, found: Brackets, inside: dict[int, int]
    ) -> Watched:
        """The answer to one query."""
        planned, number, segment = self.segments[int(key[0])]
        rule = self._rules[int(key[2])]
        owner = self.cast.parts.owner
        margin = (float(found.lower[query]), float(found.upper[query]))
        if query in inside:
            return Watched(
                planned,
                number,
                int(key[1]),
                rule,
                inside[query],
                (-np.inf, -np.inf),
                rule.full,
                float(segment.times[0]),
                None,
                (0, 0.0),
                inside=True,
            )
        if not found.near[query]:
            return Watched(
                planned,
                number,
                int(key[1]),
                rule,
                None,
                margin,
                rule.full,
                float(segment.times[0]),
                None,
                (0, 0.0),
            )
        pair = int(found.pair[query])
        rows = self._rows[int(found.piece[query])]
        row = float(rows[0] + (rows[1] - rows[0]) * found.share[query])
        other = int(pairs.second[pair])
        gain = None
        if self.cast.link[other] == 0:
            away = -found.direction[query]
            gain = (float(away[0]), float(away[1]), float(away[2]))
        shapes = (self.cast.bodies[int(owner[other])].shape, self.cast.bodies[int(key[1])].shape)
        return Watched(
            planned,
            number,
            int(key[1]),
            rule,
            int(owner[other]),
            margin,
            float(found.limit[query]),
            float(np.interp(row, np.arange(len(segment.times)), segment.times)),
            gain,
            (int(row), row - int(row)),
            depthless=any(isinstance(shape, Mesh) for shape in shapes),
            corner=bool(rows[0] == rows[1]),
        )
