"""A grid of upright columns in which convex solids on straight ways are marked."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from .frames import Array

_AT_ONCE = 60_000  # lines looked at in one go: what stays in the cache
_STEP = 6  # [cells]: sizes of tiles are rounded up to this, so that few differ
_MOST = 400_000_000  # cells of a grid, beyond which there is no memory for it

Mask = NDArray[np.bool_]
Index = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Grid:
    """Cells of a box of space.

    Attributes:
        origin: Lowest corner (x, y, z) [m].
        side: Edge of a cell in plan [m]; height: its height [m].
        count: Cells in x, y, z.
    """

    origin: tuple[float, float, float]
    side: float
    height: float
    count: tuple[int, int, int]

    @staticmethod
    def around(low: Array, high: Array, side: float, height: float) -> "Grid":
        """The grid on whole multiples of its cells that holds a box, with a cell to spare.

        Raises:
            ValueError: There would be too many cells.
        """
        size = np.array([side, side, height])
        first = np.floor(low / size) - 1
        count = np.ceil(high / size) + 1 - first
        if float(np.prod(count)) > _MOST:
            raise ValueError(f"{float(np.prod(count)):.3g} cells are too many")
        origin = [float(value) for value in first * size]
        x, y, z = (int(value) for value in count)
        return Grid((origin[0], origin[1], origin[2]), side, height, (x, y, z))

    def centres(self, axis: int) -> Array:
        """Middles of the cells along an axis [m]."""
        size = self.height if axis == 2 else self.side
        return self.origin[axis] + (np.arange(self.count[axis], dtype=float) + 0.5) * size

    def edges(self, axis: int) -> Array:
        """Where cells meet along an axis, both ends included [m]."""
        size = self.height if axis == 2 else self.side
        return self.origin[axis] + np.arange(self.count[axis] + 1, dtype=float) * size


class Marks:
    """Cells that are taken up, column by column."""

    def __init__(self, grid: Grid) -> None:
        self.grid = grid
        nx, ny, nz = grid.count
        self._changes = np.zeros(nx * ny * (nz + 1), dtype=np.int32)

    def columns(
        self,
        low: Array,
        high: Array,
        inside: Callable[[Index, Array, Array], tuple[Array, Array]],
    ) -> None:
        """Mark what solids take up of every column.

        Args:
            low: Lowest corners of boxes around the solids, shape (n, 3) [m].
            high: Highest corners.
            inside: From some of the solids, (m,), and where upright lines are, x (m, a) and
                y (m, b), to the lowest and highest point on each, (m, a, b) [m].
        """
        grid = self.grid
        origin = np.array(grid.origin[:2])
        first = np.floor((low[:, :2] - origin) / grid.side).astype(np.intp) - 1
        last = np.floor((high[:, :2] - origin) / grid.side).astype(np.intp) + 1
        first = first.clip(0)
        last = np.minimum(last, np.array(grid.count[:2]) - 1)
        tile = -(-(last - first + 1) // _STEP) * _STEP
        for some, (a, b) in _tiles(tile):
            columns = [first[some, axis, None] + np.arange(n) for axis, n in ((0, a), (1, b))]
            x, y = (grid.centres(k)[0] + columns[k].astype(float) * grid.side for k in (0, 1))
            bottom, top = inside(some, x, y)
            there = bottom <= top
            for k, shape in ((0, (-1, a, 1)), (1, (-1, 1, b))):
                there &= (columns[k] < grid.count[k]).reshape(shape)
            self._mark(there, columns, bottom, top)

    def _mark(self, there: Mask, columns: list[Index], bottom: Array, top: Array) -> None:
        grid = self.grid
        nz = grid.count[2]
        who, a, b = np.nonzero(there)
        column = columns[0][who, a] * grid.count[1] + columns[1][who, b]
        for sign, height, more in ((1, bottom, 0), (-1, top, 1)):
            level = np.floor((height[who, a, b] - grid.origin[2]) / grid.height).astype(np.intp)
            place = column * (nz + 1) + (level + more).clip(0, nz)
            np.add.at(self._changes, place, np.int32(sign))

    def counted(self) -> Index:
        """How many cells are taken up below each corner of the grid, (nx + 1, ny + 1, nz + 1)."""
        nx, ny, nz = self.grid.count
        count = np.zeros((nx + 1, ny + 1, nz + 1), dtype=np.intp)
        count[1:, 1:, 1:] = self.taken()
        for axis in range(3):
            np.cumsum(count, axis=axis, out=count)
        return count

    def full(self, counted: Index, low: Array, high: Array) -> Mask:
        """Whether all cells that boxes touch are taken up; see `counted`.

        Args:
            counted: The count, as it was when it was asked for.
            low: Lowest corners, shape (n, 3) [m].
            high: Highest corners.
        """
        size = np.array([self.grid.side, self.grid.side, self.grid.height])
        origin, most = np.array(self.grid.origin), np.array(self.grid.count)
        first = np.floor((low - origin) / size).astype(np.intp).clip(0, most)
        last = (np.floor((high - origin) / size).astype(np.intp) + 1).clip(0, most)
        inside = np.zeros(len(low), dtype=np.intp)
        for x, y, z in product((0, 1), repeat=3):
            sign = 1 if (x + y + z) % 2 else -1
            inside += (
                sign
                * counted[(first, last)[x][:, 0], (first, last)[y][:, 1], (first, last)[z][:, 2]]
            )
        return inside == (last - first).prod(axis=1)

    def taken(self) -> Mask:
        """Which cells are taken up, shape (nx, ny, nz)."""
        nx, ny, nz = self.grid.count
        return np.cumsum(self._changes.reshape(nx, ny, nz + 1), axis=2)[:, :, :nz] > 0


def _tiles(size: Index) -> Iterator[tuple[Index, tuple[int, int]]]:
    """Indices of what has one size of tile, a handful at a time, with that size."""
    order = np.lexsort((size[:, 1], size[:, 0]))
    edges = np.flatnonzero((np.diff(size[order], axis=0) != 0).any(axis=1)) + 1
    for same in np.split(order, edges):
        if len(same) == 0:
            continue
        a, b = (int(value) for value in size[same[0]])
        most = max(1, _AT_ONCE // (a * b))
        for start in range(0, len(same), most):
            yield same[start : start + most], (a, b)


def surface(grid: Grid, taken: Mask) -> tuple[Array, Index]:
    """The faces between cells that are taken up and cells that are not.

    Returns:
        Points, shape (n, 3) [m], and corners of each triangle, counter-clockwise from outside,
        shape (m, 3).
    """
    padded = np.pad(taken, 1)
    nx, ny, nz = (count + 1 for count in grid.count)
    quads: list[Index] = []
    for axis in range(3):
        one, other = (axis + 1) % 3, (axis + 2) % 3
        ahead = np.roll(padded, -1, axis=axis)
        for sign, at in ((1, padded & ~ahead), (-1, ~padded & ahead)):
            # the face lies between a cell and the next along the axis
            cell = np.stack(np.nonzero(at), axis=1) - 1
            corner = cell.copy()
            corner[:, axis] += 1
            steps = np.zeros((4, 3), dtype=np.intp)
            steps[1, one] = steps[2, one] = 1
            steps[2, other] = steps[3, other] = 1
            quad = corner[:, None] + (steps if sign > 0 else steps[::-1])
            quads.append(quad)
    corners = np.concatenate(quads)
    number = np.ravel_multi_index(tuple(corners.reshape(-1, 3).T), (nx, ny, nz))
    unique, back = np.unique(number, return_inverse=True)
    back = back.reshape(-1, 4)
    points = np.stack(np.unravel_index(unique, (nx, ny, nz)), axis=1).astype(float)
    size = np.array([grid.side, grid.side, grid.height])
    triangles = np.concatenate([back[:, [0, 1, 2]], back[:, [0, 2, 3]]])
    return points * size + np.array(grid.origin), triangles.astype(np.intp)
