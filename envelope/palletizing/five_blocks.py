"""Many rectangles of one size in a rectangle, in tidy blocks.

Rooms cut straight through, over and over, by dynamic programming over normal lengths; then
once into five rooms around a hole. Not always the most: `packing` says how that is settled.

Source: R. Morabito, S. Morales, "A simple and effective recursive procedure for the
manufacturer's pallet loading problem", JORS 49 (1998), from memory; here one level of it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .lengths import Lengths, count_bound, normal_lengths, rounded_down

Cell = tuple[int, int]
Block = tuple[int, int, int, int]
Rooms = tuple[tuple[int, int, int, int], ...]  # x, y of the corner, extent along x, along y
Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    """Counts by straight cuts, shape (len(xs), len(ys)), and the cut that each comes from.

    cut: 0 for rows and columns; k > 0 for a cut at xs[k]; k < 0 for a cut at ys[-k].
    """

    cell: Cell
    xs: Lengths
    ys: Lengths
    count: NDArray[np.int64]
    cut: NDArray[np.int64]


def pack_five_blocks(room: Cell, cell: Cell) -> list[Block]:
    """Cells in a room, all numbers whole; cells may be turned by 90 degrees."""
    table = _straight_cuts(room, cell)
    straight = int(table.count[-1, -1])
    if straight < count_bound(room, cell):
        around, rooms = _around_a_hole(table)
        if around > straight:
            return [block for part in rooms for block in _cells_in(table, part)]
    return _cells_in(table, (0, 0, room[0], room[1]))


def in_rows(room: Cell, cell: Cell) -> list[Block]:
    """Rows and columns of cells, all the way round that gives more."""
    (a, b), (p, q) = room, cell
    if (a // q) * (b // p) > (a // p) * (b // q):
        p, q = q, p
    return [(k * p, m * q, p, q) for k in range(a // p) for m in range(b // q)]


def _straight_cuts(room: Cell, cell: Cell) -> _Table:
    """The table for all rooms of normal lengths up to the room."""
    xs, ys = (normal_lengths(side, cell) for side in room)
    long, wide = cell
    count = np.maximum(
        np.outer(xs // long, ys // wide),
        np.outer(xs // wide, ys // long),
    )
    cut = np.zeros_like(count)
    rest_x = [rounded_down(xs, xs[i] - xs[: i + 1]) for i in range(len(xs))]
    rest_y = [rounded_down(ys, ys[j] - ys[: j + 1]) for j in range(len(ys))]
    for i in range(len(xs)):
        for j in range(len(ys)):
            by_x = count[: i + 1, j] + count[rest_x[i], j]
            by_y = count[i, : j + 1] + count[i, rest_y[j]]
            a, b = int(by_x.argmax()), int(by_y.argmax())
            if max(by_x[a], by_y[b]) > count[i, j]:
                cut[i, j] = a if by_x[a] >= by_y[b] else -b
                count[i, j] = max(by_x[a], by_y[b])
    return _Table(cell, xs, ys, count, cut)


def _around_a_hole(table: _Table) -> tuple[int, Rooms]:
    """The best way to cut the whole room into five around a hole.

    The rooms turn like a wheel: x2 x y1 at the origin, beside it one up to y2, above that one
    from x1 on, above the first one up to x1, and what is left in the middle.
    """
    count, xs, ys = table.count, table.xs, table.ys
    length, width = int(xs[-1]), int(ys[-1])
    rest_x, rest_y = rounded_down(xs, length - xs), rounded_down(ys, width - ys)
    high = np.arange(len(ys))
    hole_y = rounded_down(ys, np.maximum(ys[None, :] - ys[:, None], 0))
    best: tuple[int, Rooms] = (-1, ())
    for i1 in range(len(xs)):
        i2 = np.arange(i1, len(xs))
        hole_x = rounded_down(xs, xs[i2] - xs[i1])
        total = (
            count[i2][:, :, None]
            + count[rest_x[i2]][:, None, :]
            + count[rest_x[i1]][rest_y][None, None, :]
            + count[i1][rest_y][None, :, None]
            + count[hole_x[:, None, None], hole_y[None]]
        )
        total = np.where(high[:, None] <= high[None, :], total, -1)
        top = int(total.max())
        if top > best[0]:
            p, q, r = (int(v) for v in np.unravel_index(int(total.argmax()), total.shape))
            x1, x2, y1, y2 = (int(v) for v in (xs[i1], xs[i2[p]], ys[q], ys[r]))
            best = (top, _wheel(x1, x2, y1, y2, length, width))
    return best


def _wheel(x1: int, x2: int, y1: int, y2: int, length: int, width: int) -> Rooms:
    """The five rooms."""
    return (
        (0, 0, x2, y1),
        (x2, 0, length - x2, y2),
        (x1, y2, length - x1, width - y2),
        (0, y1, x1, width - y1),
        (x1, y1, x2 - x1, y2 - y1),
    )


def _cells_in(table: _Table, room: Block) -> list[Block]:
    """The cells of the table's answer for a room."""
    x, y, a, b = room
    i, j = int(rounded_down(table.xs, a)), int(rounded_down(table.ys, b))
    cut = int(table.cut[i, j])
    a, b = int(table.xs[i]), int(table.ys[j])
    if cut > 0:
        at = int(table.xs[cut])
        parts = ((x, y, at, b), (x + at, y, a - at, b))
    elif cut < 0:
        at = int(table.ys[-cut])
        parts = ((x, y, a, at), (x, y + at, a, b - at))
    else:
        return [(x + u, y + v, c, d) for u, v, c, d in in_rows((a, b), table.cell)]
    return [block for part in parts for block in _cells_in(table, part)]
