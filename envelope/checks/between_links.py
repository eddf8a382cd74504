"""Room between the arm's own links, worked out once over the joints between them.

How two links lie to each other depends on the joints between them alone. Where these are
one or two, their usable ranges are cut into fields, and the distance of two parts is bounded
over each field that a motion passes: parts that stay apart in all of them need not be
watched along it.

Errs: on the safe side. The bounds are proved (see `geometry.sweep`); what is outside the
ranges, on meshes, or depends on more joints counts as near.
"""

import pickle
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np

from ..arm.arm import Arm
from ..arm.travel import Travel
from ..geometry.frames import Array
from ..geometry.queries import Limits, Mask, Pairs
from ..geometry.solids import TRIANGLE, Solids
from ..geometry.stage import Index, Pieces, Stage
from ..geometry.sweep import at_a_glance

_FOLLOWED = 0.11  # [m]: distances above this are not told apart: a little over the usual cap
_FIELD = {1: np.radians(5.0), 2: np.radians(10.0)}  # sides of fields over so many joints, about
_SLID = 0.1  # [m]: the same for sliding joints
_WORTH = 3
_MOST = 64  # fields along one joint
_MOST_PARTS = 60  # of an arm: finer models are watched motion by motion
_EDGE = 1e-9  # [rad or m]: by which fields overlap, so that rounding leaves no gap


@dataclass(frozen=True, slots=True, eq=False)
class _Links:
    """An arm's parts on its links, and joints in the middle of their ranges."""

    travel: Travel
    parts: Solids
    link: Index
    middle: Array


class Fields:
    """Fields over the ranges of one or two joints, and the room of parts over each.

    What is known of a field does not depend on which motion asked for it first.

    Args:
        links: The arm's parts.
        joints: Which joints, by number.
        ranges: Their usable ranges, shape (k, 2) [rad or m].
        sides: Sides of a field along each, about, shape (k,).
        pairs: The parts, shape (rows, 2).
    """

    def __init__(
        self, links: _Links, joints: tuple[int, ...], ranges: Array, sides: Array, pairs: Index
    ) -> None:
        self._links, self._joints, self._pairs = links, joints, pairs
        self._low, self._high = ranges.T
        span = self._high - self._low
        counts = np.minimum(np.maximum(np.ceil(span / sides), 1.0), _MOST)
        self._counts: tuple[int, ...] = tuple(counts.astype(int).tolist())
        self._size = np.maximum(span / counts, _EDGE)
        self._known = np.zeros(int(counts.prod()), bool)
        self._room = np.zeros((len(pairs), len(self._known)))
        count = len(links.link)
        self._row = np.full((count, count), -1, np.intp)
        self._row[pairs[:, 0], pairs[:, 1]] = np.arange(len(pairs))
        self._row[pairs[:, 1], pairs[:, 0]] = np.arange(len(pairs))

    def note(self, near: Mask, pieces: Pieces, pairs: Index, far: float) -> None:
        """Clear entries of `near`, (motions, pairs), where parts stay at least `far` apart."""
        count = len(self._row)
        column = np.flatnonzero((pairs < count).all(axis=1))
        row = self._row[pairs[column, 0], pairs[column, 1]]
        column, row = column[row >= 0], row[row >= 0]
        if len(column):
            passed, outside = self._passed(pieces)
            self._learn(np.flatnonzero(passed.any(axis=0) & ~self._known))
            # counts of fields are small whole numbers: exact in single precision, and fast
            close = (self._room[row] < far).T.astype(np.float32)
            near[:, column] = (passed.astype(np.float32) @ close > 0.5) | outside[:, None]

    def _passed(self, pieces: Pieces) -> tuple[Mask, Mask]:
        """Fields that each motion may touch, (motions, fields); whether it leaves the ranges."""
        corners = np.stack(pieces.corners)[:, :, list(self._joints)]
        counts = np.array(self._counts)
        lowest, highest = corners.min(axis=0), corners.max(axis=0)
        outside = ((lowest < self._low - _EDGE) | (highest > self._high + _EDGE)).any(axis=1)
        first, last = (
            np.floor((end - self._low) / self._size).astype(np.intp)
            for end in (lowest - _EDGE, highest + _EDGE)
        )
        # at an end of a range rounding may put a joint a trifle past it
        first, last = (np.minimum(np.maximum(at, 0), counts - 1) for at in (first, last))
        motion = np.repeat(np.arange(len(pieces.start) - 1), np.diff(pieces.start))
        passed = np.zeros((len(pieces.start) - 1, len(self._known)), bool)
        wide: list[int] = (last - first).max(axis=0).tolist()
        for step in product(*(range(1 + most) for most in wide)):
            field = np.minimum(first + np.array(step), last)
            passed[motion, np.ravel_multi_index(tuple(field.T), self._counts)] = True
        return passed, np.bincount(motion[outside], minlength=len(passed)) > 0

    def _learn(self, fields: Index) -> None:
        """Bound the room of all pairs over some fields."""
        if not len(fields):
            return
        pieces = self._triangles(fields)
        links, many = self._links, len(pieces.first)
        stage = Stage(links.travel, links.parts, links.link, pieces)
        query = np.arange(many * len(self._pairs))
        first, second = np.repeat(self._pairs, many, axis=0).T
        asked = Pairs(query % many, first, second, query)
        none = np.zeros(len(query))
        room = at_a_glance(stage, asked, Limits(none, none, none, 1.0), cap=_FOLLOWED)
        self._room[:, fields] = room.reshape(len(self._pairs), len(fields), 2).min(axis=2)
        self._known[fields] = True

    def _triangles(self, fields: Index) -> Pieces:
        """Two triangles of joints for each field; along one joint, its whole length twice."""
        at = np.stack(np.unravel_index(fields, self._counts), axis=1)
        sides = np.stack([at, at + 1]) * self._size + self._low
        sides += np.array([-_EDGE, _EDGE])[:, None, None]
        corners: list[Array] = []
        # by joint, then by triangle, 0 where the field begins and 1 where it ends
        for ends in ((0, 1), (0, 1)), ((1, 1), (0, 0)), ((0, 0), (1, 1)):
            q = np.repeat(self._links.middle[None], 2 * len(fields), axis=0)
            for triangle in (0, 1):
                for place, joint in enumerate(self._joints):
                    q[triangle::2, joint] = sides[ends[place][triangle], :, place]
            corners.append(q)
        count = len(corners[0])
        to_go = np.zeros((count, 2))
        return Pieces(np.arange(count + 1), corners[0], corners[1], to_go, corners[2])


@dataclass(frozen=True, slots=True, eq=False)
class BetweenLinks:
    """The fields of an arm, by the joints that they are over."""

    fields: tuple[Fields, ...]

    def near(self, pieces: Pieces, pairs: Index, far: float) -> Mask:
        """Whether parts may come nearer than `far` [m] in motions: (motions, pairs).

        Args:
            pieces: The motions.
            pairs: Two parts each, shape (pairs, 2); the arm's own parts come first of all.
            far: Distance.
        """
        near = np.ones((len(pieces.start) - 1, len(pairs)), bool)
        for fields in self.fields:
            fields.note(near, pieces, pairs, far)
        return near


_ARMS: dict[bytes, BetweenLinks] = {}
_MOST_ARMS = 8


def between_links(arm: Arm, usable: tuple[tuple[float, float], ...]) -> BetweenLinks:
    """The room between an arm's own links over its usable ranges [rad or m].

    Arms that are alike share what is known of them, whatever cell they stand in.
    """
    key = pickle.dumps((arm.chain, arm.bodies, arm.touching, usable))
    if key not in _ARMS:
        if len(_ARMS) >= _MOST_ARMS:
            _ARMS.clear()
        _ARMS[key] = _between_links(arm, usable)
    return _ARMS[key]


def _between_links(arm: Arm, usable: tuple[tuple[float, float], ...]) -> BetweenLinks:
    parts = Solids.of([entry.body for entry in arm.bodies])
    link = np.array([entry.link for entry in arm.bodies], np.intp)[parts.owner]
    if len(link) > _MOST_PARTS:
        return BetweenLinks(())
    ranges, travel = np.array(usable), Travel(arm.chain)
    links = _Links(travel, parts, link, ranges.mean(axis=1))
    pairs: dict[tuple[int, ...], list[tuple[int, int]]] = {}
    for first, second in _meeting(arm, parts, link):
        joints = travel.joints_between(int(link[first]), int(link[second]))
        if len(joints) <= 2:
            pairs.setdefault(joints, []).append((first, second))
    tables: list[Fields] = []
    for joints, mine in pairs.items():
        turns = np.array(arm.chain.turning())[list(joints)]
        sides = np.where(turns, _FIELD[len(joints)], _SLID)
        if len(joints) == 1 or len(mine) >= _WORTH:
            tables.append(Fields(links, joints, ranges[list(joints)], sides, np.array(mine)))
    return BetweenLinks(tuple(tables))


def _meeting(arm: Arm, parts: Solids, link: Index) -> Iterator[tuple[int, int]]:
    """Pairs of parts, no meshes, of different links that do not touch by construction."""
    touching = arm.touching_bodies
    owner: list[int] = parts.owner.tolist()
    solid: list[int] = np.flatnonzero(parts.kind != TRIANGLE).tolist()
    for first, second in combinations(solid, 2):  # parts stand in the order of their bodies
        if link[first] != link[second] and (owner[first], owner[second]) not in touching:
            yield first, second
