"""Where two solids may come near at all: pairs over pieces, culled by their boxes."""

from dataclasses import dataclass

import numpy as np

from .components import dot
from .frames import Array
from .queries import Limits, Mask, Pairs
from .stage import Index, Stage

_BLOCK = 1 << 15  # pairs over pieces looked at at once: they stay in the cache


@dataclass(slots=True, eq=False)
class Items:
    """Pairs over intervals of pieces: what one level of the search works on.

    Attributes:
        pair: Index of the pair, shape (n,).
        interval: Index of the interval (at first: of the piece).
        lower: Proved bound of the margin over it [m].
        direction: Direction that was tried last, shape (n, 3); not a number at first.
    """

    pair: Index
    interval: Index
    lower: Array
    direction: Array

    def take(self, which: Index | Mask) -> "Items":
        """Some of the items."""
        return Items(
            self.pair[which], self.interval[which], self.lower[which], self.direction[which]
        )


def candidates(stage: Stage, pairs: Pairs, limits: Limits, enough: Array) -> Items:
    """Every pair over every piece of its segment, less those that stay farther than enough.

    Args:
        stage: The solids and their motion.
        pairs: What is to be watched.
        limits: What is asked for.
        enough: Margins above this are not told apart, by query [m].

    Returns:
        Items in the order of pairs, then pieces.
    """
    found = [
        _near(stage, pairs, limits, enough, some)
        for moves in (False, True)
        for some in _chunks(stage, pairs, np.flatnonzero((stage.link[pairs.second] > 0) == moves))
    ]
    pair, piece, lower = (
        np.concatenate([np.zeros(0, kind), *(entry[k] for entry in found)])
        for k, kind in enumerate((np.intp, np.intp, float))
    )
    order = np.argsort(pair, kind="stable")
    return Items(pair[order], piece[order], lower[order], np.full((len(pair), 3), np.nan))


def _chunks(stage: Stage, pairs: Pairs, which: Index) -> list[Index]:
    """Some of the pairs, in lots of about a block of pairs over pieces each."""
    segment, start = pairs.segment[which], stage.pieces.start
    lot = np.cumsum(start[segment + 1] - start[segment]) // _BLOCK
    return np.split(which, np.flatnonzero(np.diff(lot)) + 1) if len(which) else []


def _near(
    stage: Stage, pairs: Pairs, limits: Limits, enough: Array, mine: Index
) -> tuple[Index, Index, Array]:
    """Pairs, pieces and bounds of the margin of some pairs; the others all stand, or all move."""
    start = stage.pieces.start[pairs.segment[mine]]
    counts = stage.pieces.start[pairs.segment[mine] + 1] - start
    pair = np.repeat(mine, counts)
    piece = np.arange(len(pair)) + np.repeat(start - (np.cumsum(counts) - counts), counts)
    wanted = (enough + limits.full)[pairs.query]  # gaps from which on nothing is told apart
    for axis in range(3):
        near = _between(stage, pairs, pair, piece, axis) < wanted[pair]
        pair, piece = pair[near], piece[near]
    beside = [np.maximum(_between(stage, pairs, pair, piece, axis), 0.0) for axis in range(3)]
    gap = np.sqrt(dot(*[np.stack(beside)] * 2))
    query = pairs.query[pair]
    lower = gap - limits.full[query]
    # boxes that overlap prove nothing: their solids may overlap by any amount
    lower[gap <= 0.0] = -np.inf
    near = lower < enough[query]
    return pair[near], piece[near], lower[near]


def _between(stage: Stage, pairs: Pairs, pair: Index, piece: Index, axis: int) -> Array:
    """Gap between the boxes of pairs along an axis, below zero where they overlap, (n,)."""
    low, high = stage.sides(pairs.first[pair], piece, axis)
    other_low, other_high = stage.sides(pairs.second[pair], piece, axis)
    return np.maximum(other_low - high, low - other_high)
