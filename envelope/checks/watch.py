"""Watches every pair of bodies along cycles: one batch of certified brackets."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..cell.model import Cell
from ..geometry.queries import Limits, Pairs
from ..geometry.stage import Stage
from ..geometry.sweep import certify, floor_under
from .answers import Answers, Asked, Watched
from .cast import SEGMENTS, Actor, Cast, Index, Mask
from .inside import starting_inside
from .meetings import Meetings, cap_of
from .rules import Meeting, Rule, Rules
from .stretches import Planned, Stretches, along, around_corners

_SAME_LEVEL = 5e-4  # [m]: a carton whose top is this near the bottom carries it


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
        self._cell = cell
        self.segments = stretches.segments
        self._stretches = stretches
        self.stage = Stage(cast.travel, cast.parts, cast.link, stretches.pieces)
        self.meetings = Meetings(cast, planned, stretches, self.stage, cell.clearances)
        self._rules: list[Rule] = []

    def brackets(self, *, values: bool = True, every: bool = False) -> list[Watched]:
        """The least margins of moving bodies over segments that can matter to a check.

        With values=False only whether limits are kept, and only those that are not; with
        every=True also those that no check will tell.
        """
        segment, first, second = self.meetings.near_pairs(values=values)
        rule = self._ruled(segment, first, second)
        segment, first, second, rule = self._with_contact(segment, first, second, rule)
        unique, query = self._queries(segment, first, second, rule)
        pairs = Pairs(self._stretches.motion[segment], first, second, query)
        # what is asked several times of the same motion is worked out once
        pairs, like, asking = _once(pairs, unique)
        found = certify(
            self.stage,
            pairs,
            self._limits(unique[asking, 2]),
            cap=cap_of(self._cell.clearances),
            floor=self._floor(),
            values=values,
        )
        begin = self.stage.frames[self.stage.at[0][self.stage.pieces.start[:-1]]]
        inside = starting_inside(self.cast, begin, pairs)
        asked = Asked(self._rules, unique, like, pairs)
        answers = Answers(self._cell, self.cast, self._stretches, asked, found, inside)
        if every:
            return answers.some(np.arange(len(unique)))
        return answers.some(answers.tightest() if values else answers.broken())

    def _queries(
        self, segment: Index, first: Index, second: Index, rule: Index
    ) -> tuple[Index, Index]:
        """What is asked: segment, moving actor, rule and, of the arm itself, the other actor + 1.

        Returns:
            The different ones, shape (n, 4), and which of them each pair belongs to.
        """
        owner, actors = self.cast.parts.owner, self.cast.actors
        mover = owner[first]
        arm = np.array([actor.role == "arm" for actor in actors], dtype=bool)
        other = np.where(arm[mover] & (self.cast.link[second] != 0), owner[second] + 1, 0)
        sizes = (len(self.segments), len(actors), len(self._rules), len(actors) + 1)
        keys, query = np.unique(
            np.ravel_multi_index((segment, mover, rule, other), sizes), return_inverse=True
        )
        return np.stack(np.unravel_index(keys, sizes), axis=1), query

    def _limits(self, rules: Index) -> Limits:
        """What rules ask for, by their numbers."""
        full, rest = (
            np.array([getattr(rule, name) for rule in self._rules], dtype=float)[rules]
            for name in ("full", "rest")
        )
        touching = np.array([rule.touching for rule in self._rules], dtype=bool)[rules]
        wanted = np.where(touching, 0.0, self._cell.clearances.margin)
        return Limits(full, rest, wanted, self._cell.clearances.taper_height)

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
        sizes = (len(example), len(example), len(SEGMENTS), 2, 2)
        keys = (kind[owner[first]], kind[owner[second]], name, own, below)
        different, back = np.unique(
            np.ravel_multi_index(tuple(np.asarray(key, np.intp) for key in keys), sizes),
            return_inverse=True,
        )
        numbers: list[int] = []
        rows: list[list[int]] = np.stack(np.unravel_index(different, sizes), axis=1).tolist()
        for mover, other, segment_name, is_own, is_below in rows:
            counterpart = replace(example[other], role="own") if is_own else example[other]
            rule = self.rules.of(
                Meeting(example[mover], counterpart, SEGMENTS[segment_name], bool(is_below))
            )
            if rule not in self._rules:
                self._rules.append(rule)
            numbers.append(self._rules.index(rule))
        return np.array(numbers, dtype=np.intp)[back]

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


def _once(pairs: Pairs, keys: Index) -> tuple[Pairs, Index, Index]:
    """Ask once what several queries ask of the same motion with the same bodies about.

    Args:
        pairs: What is watched; segments are motions.
        keys: For each query its segment, mover, rule and other, shape (n, 4).

    Returns:
        The pairs that are left, with queries of their own numbers; which of these numbers
        answers each query, (n,); and for each number a query that it stands for.
    """
    order = np.argsort(pairs.query, kind="stable")
    counts = np.bincount(pairs.query, minlength=len(keys))
    begin = np.cumsum(counts) - counts
    named = np.stack([pairs.first[order], pairs.second[order]])
    asked = np.stack([pairs.segment[order][begin], *keys[:, 1:].T, counts])
    like = _first_alike(asked, named, begin, counts)
    asking = np.flatnonzero(like == np.arange(len(keys)))
    number = np.searchsorted(asking, like)
    left = pairs.take((like == np.arange(len(keys)))[pairs.query])
    return Pairs(left.segment, left.first, left.second, number[left.query]), number, asking


def _first_alike(asked: Index, named: Index, begin: Index, counts: Index) -> Index:
    """For each list the first that has the same head and entries.

    Args:
        asked: Heads, shape (k, n).
        named: Entries of all lists one after another, shape (m, sum of counts).
        begin: Where the lists begin in it, (n,).
        counts: How long they are, (n,); lists with the same head are as long as each other.
    """
    like = np.arange(len(counts))
    open_ = like
    mixed = np.add.reduceat(named * named[::-1] + named[-1:] * 3, begin, axis=1)[0]
    while len(open_):
        order = open_[np.lexsort((open_, mixed[open_], *asked[:, open_]))]
        new = np.ones(len(order), bool)
        new[1:] = (asked[:, order[1:]] != asked[:, order[:-1]]).any(axis=0)
        new[1:] |= mixed[order[1:]] != mixed[order[:-1]]
        leader = order[new][np.cumsum(new) - 1]
        size = counts[order]
        ahead = np.cumsum(size) - size
        entry = np.arange(len(np.repeat(size, size)))
        mine, theirs = (entry + np.repeat(begin[of] - ahead, size) for of in (order, leader))
        equal = np.logical_and.reduceat((named[:, mine] == named[:, theirs]).all(axis=0), ahead)
        like[order[equal]] = leader[equal]
        open_ = order[~equal]  # the sum is the same and the lists are not: once more
    return like
