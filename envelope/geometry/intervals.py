"""Parts of pieces, halved again and again: the stretches of time the search works on."""

from dataclasses import dataclass

import numpy as np

from .frames import Array
from .queries import Mask
from .stage import Index, Stage


@dataclass(slots=True, eq=False)
class Intervals:
    """Parts of pieces with the link poses at their corners and in the middle.

    Attributes:
        piece: The piece that each is part of, shape (n,).
        weights: Where its corners lie in the piece (see `Pieces.at`), one (n, 1 or 2) each.
        width: Its size as a share of the piece's, the same for all.
        ends: Link poses at the corners, (n, links, 4, 4) each.
        known: Which poses in the middle were asked for already, (n,).
        middle: These poses, (n, links, 4, 4); see `poses_between`.
    """

    piece: Index
    weights: tuple[Array, ...]
    width: float
    ends: tuple[Array, ...]
    known: Mask
    middle: Array

    @staticmethod
    def _of(
        piece: Index, weights: tuple[Array, ...], width: float, ends: tuple[Array, ...]
    ) -> "Intervals":
        return Intervals(
            piece, weights, width, ends, np.zeros(len(piece), bool), np.empty_like(ends[0])
        )

    @staticmethod
    def whole(stage: Stage, piece: Index) -> "Intervals":
        """Whole pieces."""
        count = len(stage.at)
        weights = tuple(
            np.repeat(corner[None], len(piece), axis=0) for corner in np.eye(count)[:, 1:]
        )
        ends = tuple(stage.frames[at[piece]] for at in stage.at)
        return Intervals._of(piece, weights, 1.0, ends)

    def central(self) -> Array:
        """Weights of the middle, shape (n, 1 or 2)."""
        return sum(self.weights[1:], self.weights[0]) / len(self.weights)

    def poses_between(self, stage: Stage, wanted: Index) -> Array:
        """Link poses in the middle, right for the intervals wanted, (n, links, 4, 4)."""
        asked = np.zeros(len(self.piece), bool)
        asked[wanted] = True
        new = np.flatnonzero(asked & ~self.known)
        if len(new):
            joints = stage.pieces.at(self.piece[new], self.central()[new])
            self.middle[new] = stage.mover.frames(joints)
            self.known[new] = True
        return self.middle

    def halved(self, stage: Stage, kept: Index) -> tuple["Intervals", int]:
        """Parts of half the size that cover some of the intervals, and how many for each.

        The first parts of all come first, then the second parts, and so on.
        """
        piece = self.piece[kept]
        weights = [corner[kept] for corner in self.weights]
        ends = [frames[kept] for frames in self.ends]
        if len(weights) == 2:
            corners = [*weights, (weights[0] + weights[1]) / 2]
            poses = [*ends, self.poses_between(stage, kept)[kept]]
            parts = [(0, 2), (2, 1)]
        else:
            halfway = [(weights[a] + weights[b]) / 2 for a, b in ((0, 1), (1, 2), (2, 0))]
            between = [stage.mover.frames(stage.pieces.at(piece, w)) for w in halfway]
            corners, poses = [*weights, *halfway], [*ends, *between]
            parts = [(0, 3, 5), (3, 1, 4), (5, 4, 2), (3, 4, 5)]
        pieces = np.concatenate([piece] * len(parts))
        new_weights, new_ends = (
            tuple(np.concatenate([of[part[k]] for part in parts]) for k in range(len(weights)))
            for of in (corners, poses)
        )
        return Intervals._of(pieces, new_weights, self.width / 2, new_ends), len(parts)
