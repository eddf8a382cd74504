"""What comes near what at one instant: looked at, not proved over the motion."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..checks.inside import closed_meshes, starting_inside
from ..checks.occasion import Occasion
from ..checks.rules import Rule
from ..geometry.distance import separation
from ..geometry.frames import Array
from ..geometry.queries import Pairs
from ..geometry.solids import Index
from ..geometry.sweep import CAP, FLOOR

_CONTACT = 1e-4  # [m]: nearer than this two bodies are said to touch


@dataclass(frozen=True, slots=True)
class Near:
    """Two bodies at one instant.

    Attributes:
        actors: Indices of the two in the cast, the moving one first.
        names: Their scene names.
        distance: Positive apart, negative overlapping [m]; -inf: one is inside the other.
        limit: The clearance asked for at this height [m]; below zero contact is intended.
    """

    actors: tuple[int, int]
    names: tuple[str, str]
    distance: float
    limit: float

    @property
    def room(self) -> float:
        """How much more than asked for [m]."""
        return self.distance - self.limit

    @property
    def meant(self) -> bool:
        """Whether they touch, and may."""
        return self.limit < 0.0 and self.room >= 0.0 and self.distance <= _CONTACT


class Nearness:
    """The distances of one segment's bodies at any instant of it."""

    def __init__(self, occasion: Occasion) -> None:
        self._occasion = occasion
        self._cast = occasion.cast
        self._rule = lru_cache(maxsize=None)(occasion.rule)
        owner, link = self._cast.parts.owner, self._cast.link
        moving = np.isin(owner, occasion.moving)
        self._movers: Index = np.flatnonzero(moving & (link != 0))
        self._others: Index = np.flatnonzero(moving | np.isin(owner, occasion.standing))
        count = len(self._cast.actors)
        watched = np.ones((count, count), dtype=bool)
        for first, second in self._cast.together:
            watched[first, second] = watched[second, first] = False
        first, second = np.meshgrid(self._movers, self._others, indexing="ij")
        twice = (link[second] != 0) & (second <= first)
        keep = watched[owner[first], owner[second]] & (owner[first] != owner[second]) & ~twice
        self._first, self._second = first[keep], second[keep]

    def at(self, frames: Array, to_go: float) -> list[Near]:
        """All pairs nearer than 100 mm, the least room first, each pair of names once.

        Args:
            frames: Poses world_from_link, shape (links, 4, 4).
            to_go: Height still to go, or gained [m].
        """
        found = self._distances(frames)
        told: dict[tuple[str, str], Near] = {}
        names = self._occasion.names
        for (one, other), distance in found.items():
            pair = self._occasion.in_order(one, other)
            limit = self._limit(self._rule(*pair), to_go)
            near = Near(pair, (names[pair[0]], names[pair[1]]), distance, limit)
            if near.names not in told or near.room < told[near.names].room:
                told[near.names] = near
        return sorted(told.values(), key=lambda near: (near.meant, near.room, near.names))

    def _limit(self, rule: Rule, to_go: float) -> float:
        taper = self._occasion.cell.clearances.taper_height
        share = min(to_go / taper, 1.0) if taper else 1.0
        return min(rule.full, rule.rest + (rule.full - rule.rest) * share)

    def _distances(self, frames: Array) -> dict[tuple[int, int], float]:
        """Least distance of each pair of actors that are near [m]."""
        parts, owner = self._cast.parts, self._cast.parts.owner
        poses = frames[self._cast.link]
        rotation = poses[:, :3, :3] @ parts.rotation
        position = np.einsum("nij,nj->ni", poses[:, :3, :3], parts.position) + poses[:, :3, 3]
        centre = np.einsum("nij,nj->ni", rotation, parts.box_centre) + position
        half = np.einsum("nij,nj->ni", np.abs(rotation), parts.box_half)
        apart = np.abs(centre[self._first] - centre[self._second])
        apart -= half[self._first] + half[self._second]
        rows = np.flatnonzero((apart < CAP).all(axis=1))
        first, second = self._first[rows], self._second[rows]
        found: dict[tuple[int, int], float] = {}
        if len(rows):
            gap = separation(
                parts, first, rotation[first], position[first],
                parts, second, rotation[second], position[second],
                cap=CAP, floor=FLOOR,
            ).lower  # fmt: skip
            for one, other, value in zip(
                owner[first].tolist(), owner[second].tolist(), gap.tolist(), strict=True
            ):
                if value < min(found.get((one, other), CAP), CAP):
                    found[one, other] = value
        return found | self._inside(frames)

    def _inside(self, frames: Array) -> dict[tuple[int, int], float]:
        """Pairs of which one is wholly inside the other, a closed mesh: no distance tells it."""
        if not closed_meshes(self._cast):
            return {}
        owner = self._cast.parts.owner
        pairs = np.stack([owner[self._first], owner[self._second]], axis=1)
        unique, query = np.unique(pairs, axis=0, return_inverse=True)
        zero = np.zeros(len(pairs), dtype=np.intp)
        asked = Pairs(zero, self._first, self._second, query.reshape(-1))
        inside = starting_inside(self._cast, frames[None], asked)
        return {(int(unique[q][0]), int(unique[q][1])): -np.inf for q in inside}
