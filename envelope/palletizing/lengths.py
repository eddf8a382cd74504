"""The lengths that matter when rectangles of one size fill a room, and a bound on their count."""

import numpy as np
from numpy.typing import NDArray

Lengths = NDArray[np.int64]


def normal_lengths(total: int, cell: tuple[int, int]) -> Lengths:
    """All sums of whole numbers of the cell's two sides up to a total, rising, from 0.

    In any packing the cells can be pushed to the origin until each stands at such a distance.
    """
    a, b = cell
    sums = [i * a + j * b for i in range(total // a + 1) for j in range((total - i * a) // b + 1)]
    return np.unique(np.array(sums, dtype=np.int64))


def raster_lengths(total: int, cell: tuple[int, int]) -> Lengths:
    """Fewer lengths at which cells need to stand: a normal length left over by a normal one.

    x -> [total - [total - x]], [.] rounding down to a normal length, keeps cells apart that
    were apart, as [x + side] >= [x] + side, and keeps them in the room.
    """
    normal = normal_lengths(total, cell)
    return np.unique(normal[rounded_down(normal, total - normal)])


def rounded_down(normal: Lengths, lengths: Lengths | int) -> NDArray[np.intp]:
    """Indices of the greatest normal lengths that are not above the lengths."""
    return np.searchsorted(normal, lengths, side="right") - 1


def count_bound(room: tuple[int, int], cell: tuple[int, int]) -> int:
    """No packing has more cells than this.

    A cell is made of bars of width 1 as long as either of its sides, and of such bars the
    waste is known.

    Source: P. Barnes, Discrete Mathematics 26 (1979), from memory.
    """
    p, q = (int(normal_lengths(side, cell)[-1]) for side in room)
    waste = 0
    for bar in cell:
        r, s = p % bar, q % bar
        waste = max(waste, min(r * s, (bar - r) * (bar - s)))
    return (p * q - waste) // (cell[0] * cell[1])
