"""Fills the cells of a grid with strides; those that cannot add anything are passed over.

Most strides of a job run through space that others have taken up already. A few, picked without
pattern, are filled in first; then the strides whose boxes lie in cells that are all taken up are
left out, and so on in rounds that double. What comes out is the same, cell by cell.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..geometry.bodies import Body, Box, Capsule, Cylinder, Shape, frozen
from ..geometry.frames import Array
from ..geometry.voxels import Grid, Index, Marks
from .space_marking import boxes, inside_of, reach_beyond
from .space_strides import Strides

_SLICE = 0.2  # [m]: longer bodies are cut into slices, each with a smaller box
_FIRST = 4000  # strides of the first round


@dataclass(frozen=True, slots=True, eq=False)
class Filled:
    """Which cells are taken up, shape as the grid's count.

    Attributes:
        worked: How many strides of slices were worked out, of how many.
    """

    taken: NDArray[np.bool_]
    worked: tuple[int, int]


def fill(
    grid: Grid, bodies: Sequence[Body], strides: Sequence[Strides], *, passing: bool = True
) -> Filled:
    """Fill a grid with what bodies sweep on their strides.

    Args:
        grid: The grid.
        bodies: The bodies.
        strides: Those of each.
        passing: Whether to pass over what cannot add anything; only for comparison.
    """
    slices = [
        part
        for body, way in zip(bodies, strides, strict=True)
        if len(way.stray)
        for part in _sliced(body, way)
    ]
    around = [boxes(body, way) for body, way in slices]
    owner = np.repeat(np.arange(len(slices)), [len(way.stray) for _, way in slices])
    number = np.concatenate([np.arange(len(way.stray)) for _, way in slices])
    left: Index = np.random.default_rng(0).permutation(len(owner))
    marks, worked, size = Marks(grid), 0, _FIRST if passing else len(owner)
    while len(left):
        now, left = left[:size], left[size:]
        for index in _different(owner[now]):
            body, way = slices[index]
            some = number[now[owner[now] == index]]
            low, high = (ends[some] for ends in around[index])
            marks.columns(low, high, inside_of(body, _picked(way, some), grid))
        worked += len(now)
        size *= 2
        if len(left):
            left = left[~_covered(marks, slices, around, owner[left], number[left])]
    return Filled(marks.taken(), (worked, len(owner)))


def _covered(
    marks: Marks,
    slices: Sequence[tuple[Body, Strides]],
    around: Sequence[tuple[Array, Array]],
    owner: Index,
    number: Index,
) -> NDArray[np.bool_]:
    """Whether all cells that strides could mark are taken up already."""
    count = marks.counted()
    covered = np.zeros(len(owner), dtype=bool)
    for index in _different(owner):
        mine = owner == index
        low, high = (ends[number[mine]] for ends in around[index])
        more = reach_beyond(slices[index][0], marks.grid)
        covered[mine] = marks.full(count, low - more, high + more)
    return covered


def _different(numbers: Index) -> list[int]:
    found: list[int] = np.unique(numbers).tolist()
    return found


def _picked(strides: Strides, some: Index) -> Strides:
    return Strides(
        strides.pose[some],
        strides.start[some],
        strides.end[some],
        strides.stray[some],
        strides.motion[some],
    )


def _sliced(body: Body, strides: Strides) -> list[tuple[Body, Strides]]:
    """A body in slices along its longest side, each with its strides."""
    axis, half = _longest(body.shape)
    count = max(1, int(np.ceil(2.0 * half / _SLICE)))
    if count == 1:
        return [(body, strides)]
    found: list[tuple[Body, Strides]] = []
    for k in range(count):
        offset = np.eye(4)
        offset[axis, 3] = half * ((2 * k + 1) / count - 1.0)
        part = Body(body.name, _shorter(body.shape, axis, half / count), frozen(np.eye(4)))
        found.append((part, replace(strides, pose=strides.pose @ offset)))
    return found


def _longest(shape: Shape) -> tuple[int, float]:
    """The axis along which a shape may be sliced, and half its length; 0 where it may not."""
    if isinstance(shape, Box):
        half = np.asarray(shape.half)
        return int(half.argmax()), float(half.max())
    if isinstance(shape, Capsule | Cylinder):
        return 2, shape.half
    return 2, 0.0


def _shorter(shape: Shape, axis: int, half: float) -> Shape:
    if isinstance(shape, Box):
        halves = np.array(shape.half)
        halves[axis] = half
        return Box(frozen(halves))
    if isinstance(shape, Capsule):
        return Capsule(shape.radius, half)
    if isinstance(shape, Cylinder):
        return Cylinder(shape.radius, half)
    raise TypeError(f"{type(shape).__name__} is not sliced")
