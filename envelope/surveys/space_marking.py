"""Strides of bodies as what they take up of upright lines, of heights, and of views."""

from collections.abc import Callable

import numpy as np

from ..geometry.bodies import Body, Box, Capsule, Cylinder
from ..geometry.columns import DISC_EXCESS, capsule, disc_generators, face_pairs, swept_hull
from ..geometry.columns import zonotope as zonotope_columns
from ..geometry.frames import Array
from ..geometry.voxels import Grid, Index
from .space_strides import Strides, skeleton_of

Inside = Callable[[Index, Array, Array], tuple[Array, Array]]


def boxes(body: Body, strides: Strides) -> tuple[Array, Array]:
    """Lowest and highest corners of boxes around strides, stray included, (n, 3) each [m]."""
    half = _extent(body, strides) + strides.stray[:, None]
    centre = _centres(body, strides)
    way = (strides.end - strides.start) / 2.0
    half = half + np.abs(way)
    return centre - half, centre + half


def inside_of(body: Body, strides: Strides, grid: Grid) -> Inside:
    """What strides take up of the columns of a grid: their intervals, see `Marks.columns`.

    A line stands for all of its column, so the solid is grown by half a cell in plan.
    """
    centre, way = _centres(body, strides), (strides.end - strides.start) / 2.0
    rotation, stray = strides.pose[:, :3, :3], strides.stray
    shape = body.shape

    def inside(some: Index, x: Array, y: Array) -> tuple[Array, Array]:
        at, along, turned, more = centre[some], way[some], rotation[some], stray[some]
        x, y = x - at[:, :1], y - at[:, 1:2]
        if isinstance(shape, Capsule):
            grown = shape.radius + more + grid.side * np.sqrt(0.5)
            low, high = capsule(turned[:, :, 2] * shape.half, along, grown, x, y)
        elif isinstance(shape, Box | Cylinder):
            spans = _spans(shape, turned)
            flat = len(spans[0]) - 1 if isinstance(shape, Cylinder) else 0
            spans = np.concatenate([spans, along[:, None], _cells(grid, more)], axis=1)
            low, high = zonotope_columns(spans, face_pairs(spans.shape[1], flat), x, y)
        else:
            points = skeleton_of(body).points
            corners = np.einsum("nij,kj->nki", turned, points - _middle(points))
            spans = np.concatenate([along[:, None], _cells(grid, more)], axis=1)
            low, high = swept_hull(corners, spans, x, y)
        height = at[:, 2, None, None]
        return low + height, high + height

    return inside


def reach_beyond(body: Body, grid: Grid) -> Array:
    """How far beyond the boxes around its strides a body may mark cells, shape (3,) [m]."""
    more = np.sqrt(0.5) if isinstance(body.shape, Capsule) else 0.5
    up = more if isinstance(body.shape, Capsule) else 0.0
    return grid.side * np.array([more, more, up]) + 1e-6


def excess(body: Body) -> float:
    """By how much a body is drawn larger than it is, apart from stray and cells [m]."""
    shape = body.shape
    return shape.radius * DISC_EXCESS if isinstance(shape, Cylinder) else 0.0


def _spans(shape: Box | Cylinder, turned: Array) -> Array:
    """Half-segments that a box or a cylinder is the sum of, discs first, (n, g, 3)."""
    if isinstance(shape, Box):
        return np.swapaxes(turned, 1, 2) * np.asarray(shape.half)[:, None]
    axis = turned[:, :, 2]
    return np.concatenate([disc_generators(axis, shape.radius), axis[:, None] * shape.half], axis=1)


def _cells(grid: Grid, stray: Array) -> Array:
    """Half a cell in plan, and the stray all round, as half-segments along the axes."""
    spans = np.zeros((len(stray), 3, 3))
    spans[:, 0, 0] = spans[:, 1, 1] = grid.side / 2.0 + stray
    spans[:, 2, 2] = stray
    return spans


def _middle(points: Array) -> Array:
    return (points.min(axis=0) + points.max(axis=0)) / 2.0


def _centres(body: Body, strides: Strides) -> Array:
    """Middles of the strides of a body, shape (n, 3)."""
    at = strides.pose[:, :3, 3] + (strides.start + strides.end) / 2.0
    if isinstance(body.shape, Box | Capsule | Cylinder):
        return at
    middle = _middle(skeleton_of(body).points)
    return at + np.einsum("nij,j->ni", strides.pose[:, :3, :3], middle)


def _extent(body: Body, strides: Strides) -> Array:
    """Half of the box around the body alone, about its centre, shape (n, 3)."""
    shape, rotation = body.shape, strides.pose[:, :3, :3]
    if isinstance(shape, Capsule):
        return np.abs(rotation[:, :, 2]) * shape.half + shape.radius
    if isinstance(shape, Cylinder):
        level = np.sqrt(np.maximum(1.0 - rotation[:, :, 2] ** 2, 0.0))
        return np.abs(rotation[:, :, 2]) * shape.half + shape.radius * level
    points = skeleton_of(body).points
    turned = np.einsum("nij,kj->nki", rotation, points - _middle(points))
    return np.abs(turned).max(axis=1)
