"""Brackets told as what was watched."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..cell.model import Cell
from ..geometry.bodies import Mesh
from ..geometry.components import component_first, rotate
from ..geometry.frames import Array
from ..geometry.queries import Brackets, Pairs
from .cast import Cast, Index, Mask
from .rules import Rule
from .stretches import Stretches


class Watched(NamedTuple):
    """The least margin of one moving body under one rule over one segment [m, s].

    Attributes:
        planned: Index of the cycle; segment: index of the segment in it.
        mover, other: Indices of the actors; other is the nearest, None beyond the cap.
        margin: Proved bracket on clearance less limit, lower and upper.
        limit: The limit in force at the worst instant.
        gain: Unit direction in the world frame in which the mover gains room, or None.
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


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """What was asked of a batch of motions.

    Attributes:
        rules: The rules by their numbers.
        keys: For each query its segment, mover, rule and other, shape (n, 4).
        number: Number of the bracket that answers it, (n,).
        pairs: The pairs that brackets were found for.
    """

    rules: Sequence[Rule]
    keys: Index
    number: Index
    pairs: Pairs


class Answers:
    """Brackets told as what was watched.

    Args:
        cell: The cell.
        cast: Everything that moves or stands.
        stretches: The motions.
        asked: What was asked of them.
        found: The brackets.
        inside: The mesh a body is in, or that is in it, by the number of the bracket.
    """

    def __init__(
        self,
        cell: Cell,
        cast: Cast,
        stretches: Stretches,
        asked: Asked,
        found: Brackets,
        inside: dict[int, int],
    ) -> None:
        self._cell, self._cast, self._stretches = cell, cast, stretches
        self._asked, self._found = asked, found
        self._still = np.zeros(len(found.near), bool)
        self._other = np.full(len(found.near), -1, np.intp)
        if len(asked.pairs.second):
            second = asked.pairs.second[found.pair]
            self._still = cast.link[second] == 0
            self._other[found.near] = cast.parts.owner[second[found.near]]
        self._inside = np.zeros(len(found.near), bool)
        self._inside[list(inside)] = True
        self._other[list(inside)] = list(inside.values())
        self._lower = np.where(self._inside, -np.inf, found.lower)

    def broken(self) -> Index:
        """The queries whose limit is not kept."""
        return np.flatnonzero(self._lower[self._asked.number] < 0.0)

    def tightest(self) -> Index:
        """The queries that can matter to a check; every one where tolerances may reorder them.

        That is the tightest of each moving body under each check in each segment, against the
        arm itself for each of its links, and all that lack ample room. In the order of the
        first query about the same.
        """
        if self._cell.tolerances.stated:
            return np.arange(len(self._asked.keys))
        segment, mover, rule, _ = self._asked.keys.T
        lower, other = self._lower[self._asked.number], self._other[self._asked.number]
        arm = np.array([actor.role == "arm" for actor in self._cast.actors], dtype=bool)
        partner = np.where(arm[mover] & arm[other] & (other >= 0), other + 1, 0)
        check = np.array([of.check == "approach" for of in self._asked.rules])[rule]
        order = np.lexsort((lower, partner, check, mover, segment))
        alike = np.stack([segment, mover, check, partner])[:, order]
        first = np.ones(len(order), bool)
        first[1:] = (alike[:, 1:] != alike[:, :-1]).any(axis=0)
        told = lower < self._cell.clearances.margin
        told[order[first]] = True
        began = np.empty_like(order)
        began[order] = np.minimum.reduceat(order, np.flatnonzero(first))[np.cumsum(first) - 1]
        which = np.flatnonzero(told)
        return which[np.lexsort((which, began[which]))]

    def some(self, which: Index) -> list[Watched]:
        """Some of the answers, by query."""
        asked, found = self._asked, self._found
        segment, mover, rule, _ = asked.keys[which].T
        number = asked.number[which]
        inside, other = self._inside[number], self._other[number]
        met = (other >= 0) & ~inside
        upper = np.where(inside, -np.inf, found.upper[number])
        full = np.array([of.full for of in asked.rules])[rule]
        limit = np.where(met, found.limit[number], full)
        row, corner = self._rows(number, met)
        planned, place = (
            np.array([part[k] for part in self._stretches.segments])[segment] for k in (0, 1)
        )
        mesh = np.array([isinstance(body.shape, Mesh) for body in self._cast.bodies])
        return list(
            map(
                Watched,
                planned.tolist(),
                place.tolist(),
                mover.tolist(),
                [asked.rules[k] for k in rule.tolist()],
                [None if actor < 0 else actor for actor in other.tolist()],
                zip(self._lower[number].tolist(), upper.tolist(), strict=True),
                limit.tolist(),
                self._instants(segment, row).tolist(),
                self._gains(number, met),
                [(int(part), part - int(part)) for part in row.tolist()],
                inside.tolist(),
                (met & (mesh[mover] | mesh[other])).tolist(),
                corner.tolist(),
            )
        )

    def _rows(self, number: Index, met: Mask) -> tuple[Array, Mask]:
        """Rows of the segment, fractions included, and whether it is at a corner; 0 if not met."""
        between = self._stretches.rows[self._found.piece[number]]
        row = between[:, 0] + (between[:, 1] - between[:, 0]) * self._found.share[number]
        return np.where(met, row, 0.0), met & (between[:, 0] == between[:, 1])

    def _instants(self, segment: Index, row: Array) -> Array:
        """Times at rows of segments [s]."""
        times = [part.times for _, _, part in self._stretches.segments]
        count = np.array([len(own) for own in times])
        before = np.minimum(row.astype(np.intp), count[segment] - 2)
        every, first = np.concatenate(times), (np.cumsum(count) - count)[segment]
        begin, end = every[first + before], every[first + before + 1]
        return begin + (end - begin) * (row - before)

    def _gains(self, number: Index, met: Mask) -> list[tuple[float, float, float] | None]:
        """Directions in which movers gain room; None where both move, or nothing is met."""
        turn = self._cell.mounted.world_from_base[:3, :3]
        direction = component_first(-self._found.direction[number])
        x, y, z = rotate(turn[:, :, None], direction).tolist()
        known = (met & self._still[number]).tolist()
        gains = zip(x, y, z, strict=True)
        return [gain if there else None for gain, there in zip(gains, known, strict=True)]
