"""Parts of pieces, halved again and again: the stretches of time the search works on."""

from dataclasses import dataclass

import numpy as np

from .frames import Array
from .stage import Index, Stage


@dataclass(slots=True, eq=False)
class Intervals:
    """Parts of pieces with the link poses at their corners and in the middle.

    Attributes:
        piece: The piece that each is part of, shape (n,).
        weights: Where its corners lie in the piece (see `Pieces.at`), one (n, 1 or 2) each.
        width: Its size as a share of the piece's, the same for all.
        ends: Link poses at the corners, (n, links, 4, 4) each.
        middle: Link poses in the middle.
    """

    piece: Index
    weights: tuple[Array, ...]
    width: float
    ends: tuple[Array, ...]
    middle: Array

    @staticmethod
    def whole(stage: Stage, piece: Index) -> "Intervals":
        """Whole pieces."""
        count = len(stage.ends)
        weights = tuple(
            np.repeat(corner[None], len(piece), axis=0) for corner in np.eye(count)[:, 1:]
        )
        ends = tuple(frames[piece] for frames in stage.ends)
        return Intervals(piece, weights, 1.0, ends, _middle(stage, piece, weights))

    def central(self) -> Array:
        """Weights of the middle, shape (n, 1 or 2)."""
        return sum(self.weights[1:], self.weights[0]) / len(self.weights)

    def halved(self, stage: Stage, kept: Index) -> tuple["Intervals", int]:
        """Parts of half the size that cover some of the intervals, and how many for each.

        The first parts of all come first, then the second parts, and so on.
        """
        piece = self.piece[kept]
        weights = [corner[kept] for corner in self.weights]
        ends = [frames[kept] for frames in self.ends]
        if len(weights) == 2:
            corners = [*weights, (weights[0] + weights[1]) / 2]
            poses = [*ends, self.middle[kept]]
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
        halves = Intervals(
            pieces, new_weights, self.width / 2, new_ends, _middle(stage, pieces, new_weights)
        )
        return halves, len(parts)


def _middle(stage: Stage, piece: Index, weights: tuple[Array, ...]) -> Array:
    centre = sum(weights[1:], weights[0]) / len(weights)
    return stage.mover.frames(stage.pieces.at(piece, centre))
