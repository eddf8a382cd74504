"""What is asked of moving solids, and what is answered: pairs, limits, brackets."""

from dataclasses import dataclass

import numpy as np

from .frames import Array
from .stage import Index, Mask


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """Two parts over one segment; arrays of shape (n,). A part on link 0 stands still."""

    segment: Index
    first: Index
    second: Index
    query: Index

    def take(self, which: Index | Mask) -> "Pairs":
        """Some of the pairs."""
        return Pairs(self.segment[which], self.first[which], self.second[which], self.query[which])


@dataclass(frozen=True, slots=True, eq=False)
class Limits:
    """What each query asks for; shape (queries,) [m].

    At a height h still to go the limit is min(full, rest + (full - rest) * h / taper).

    Attributes:
        wanted: Extra room below which a query is marginal.
    """

    full: Array
    rest: Array
    wanted: Array
    taper: float

    def at(self, query: Index, to_go: Array) -> Array:
        """Limit of queries at heights still to go, shapes (n,)."""
        return np.minimum(self.full[query], self.sloped(query, to_go))

    def sloped(self, query: Index, to_go: Array) -> Array:
        """The tapering line alone: never below the limit where it counts."""
        full, rest = self.full[query], self.rest[query]
        return rest + (full - rest) * (to_go / self.taper)


@dataclass(frozen=True, slots=True, eq=False)
class Brackets:
    """The answer to each query; arrays of shape (queries,).

    Attributes:
        lower, upper: Bracket on the least margin [m]; `upper` is inf where nothing came near.
        near: Whether any solid came within the cap; where not, the rest is meaningless.
        pair: Index of the pair at `upper`; piece and share: when.
        limit: Limit in force at that instant [m].
        direction: Unit direction from the first to the second solid there, shape (queries, 3),
            in the frame of the link they are seen from: the base, where one of them stands.
    """

    lower: Array
    upper: Array
    near: Mask
    pair: Index
    piece: Index
    share: Array
    limit: Array
    direction: Array
