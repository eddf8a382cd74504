"""Where two solids may come near at all: pairs over pieces, culled by their boxes."""

from dataclasses import dataclass

import numpy as np

from .frames import Array
from .queries import Limits, Mask, Pairs
from .stage import Index, Stage, box_gap


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
    found = [_of_mover(stage, pairs, limits, enough, part) for part in np.unique(pairs.first)]
    pair, piece, lower = (
        np.concatenate([np.zeros(0, kind), *(entry[k] for entry in found)])
        for k, kind in enumerate((np.intp, np.intp, float))
    )
    order = np.argsort(pair, kind="stable")
    return Items(pair[order], piece[order], lower[order], np.full((len(pair), 3), np.nan))


def _of_mover(
    stage: Stage, pairs: Pairs, limits: Limits, enough: Array, part: int
) -> tuple[Index, Index, Array]:
    """Pairs, pieces and bounds of the margin of one moving part."""
    mine = np.flatnonzero(pairs.first == part)
    start = stage.pieces.start
    counts = start[pairs.segment[mine] + 1] - start[pairs.segment[mine]]
    pair = np.repeat(mine, counts)
    ahead = np.cumsum(counts) - counts
    piece = np.arange(len(pair)) + np.repeat(start[pairs.segment[mine]] - ahead, counts)
    wanted = enough + limits.full  # gaps from which on nothing is told apart
    low, high = stage.boxes(part)
    for axis in range(3):
        other_low, other_high = _others(stage, pairs.second[pair], piece, axis)
        gap = np.maximum(other_low - high[axis, piece], low[axis, piece] - other_high)
        near = gap < wanted[pairs.query[pair]]
        pair, piece = pair[near], piece[near]
    others = [_others(stage, pairs.second[pair], piece, axis) for axis in range(3)]
    other_low, other_high = (np.stack(side) for side in zip(*others, strict=True))
    gap = box_gap(low[:, piece], high[:, piece], other_low, other_high)
    query = pairs.query[pair]
    lower = gap - limits.full[query]
    near = lower < enough[query]
    # boxes that overlap prove nothing: their solids may overlap by any amount
    lower[gap <= 0.0] = -np.inf
    return pair[near], piece[near], lower[near]


def _others(stage: Stage, second: Index, piece: Index, axis: int) -> tuple[Array, Array]:
    """Lower and upper sides of the other parts' boxes along an axis, (n,) each."""
    still_low, still_high = stage.still_boxes()
    low, high = still_low[axis, second], still_high[axis, second]
    moving = np.flatnonzero(stage.link[second])
    for part in np.unique(second[moving]):
        those = moving[second[moving] == part]
        part_low, part_high = stage.boxes(int(part))
        low[those], high[those] = part_low[axis, piece[those]], part_high[axis, piece[those]]
    return low, high
