"""Outlines of the operating space: on the floor, and seen from the sides.

Each stride is seen as a convex polygon; the outline is what all of them cover together. It
contains the exact outline and exceeds it by little more than twice the stray of the strides,
which is well under the tolerance of the solid.
"""

from dataclasses import dataclass
from importlib import import_module
from typing import Any

import numpy as np

from ..geometry.bodies import Body, Capsule, Cylinder
from ..geometry.frames import Array
from .space import Swept
from .space_strides import Strides, skeleton_of

_SIDES = 24  # of the polygons around circles
_AROUND = 1.0 / float(np.cos(np.pi / _SIDES))
_QUARTER = 6  # sides of a quarter circle when a polygon is grown
# An arc is cut into whole sides, their number rounded: one may span up to half as much again.
_GROWN = 1.0 / float(np.cos(1.5 * np.pi / (4 * _QUARTER)))
_AT_ONCE = 300  # polygons put together in one go
_SIMPLER = 1e-3  # [m]: what the outline is grown by, to be drawn with fewer corners


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """What a solid covers when it is seen along an axis.

    Attributes:
        rings: Closed rings, shape (n, 2) each [m]: outer ones anticlockwise, holes clockwise.
        area: [m2].
        low, high: Corners of a box around it, shape (2,) [m].
    """

    rings: tuple[Array, ...]
    area: float
    low: Array
    high: Array


def outline(found: Swept, axes: tuple[int, int]) -> Outline:
    """The outline of what is swept, in two of the axes x, y, z.

    Errs: never too small.

    Args:
        found: The solid.
        axes: Which axis goes to the right, and which one up.
    """
    shapely = _shapely()
    polygons = np.concatenate(
        [
            _polygons(moving.body, strides, axes)
            for moving, strides in zip(found.motions.moving, found.strides, strict=True)
        ]
    )
    # in any order but that of the motion: the first few then cover most of the others
    left: Any = polygons[np.random.default_rng(0).permutation(len(polygons))]
    covered: Any = shapely.Polygon()
    while len(left):
        covered = shapely.union_all([covered, *left[:_AT_ONCE]])
        shapely.prepare(covered)
        left = left[_AT_ONCE:]
        left = left[~shapely.covers(covered, left)]
    # grown first, so that fewer corners do not cut anything off
    smooth = shapely.simplify(shapely.buffer(covered, _SIMPLER, quad_segs=8), 0.9 * _SIMPLER)
    return _as_outline(smooth)


def offset(seen: Outline, distance: float) -> tuple[Array, ...]:
    """Closed rings at a distance [m] outside of an outline, (n, 2) each; holes are left out.

    Errs: never too near.
    """
    shapely = _shapely()
    outer = shapely.union_all([shapely.Polygon(ring) for ring in seen.rings])
    grown = shapely.buffer(outer, distance * _GROWN, quad_segs=_QUARTER)
    return tuple(
        np.array(shapely.get_coordinates(shapely.get_exterior_ring(part)))
        for part in shapely.get_parts(grown)
    )


def _shapely() -> Any:
    """The library, which comes without types; loaded when it is needed."""
    return import_module("shapely")


def _polygons(body: Body, strides: Strides, axes: tuple[int, int]) -> Any:
    """One convex polygon for each stride."""
    shapely = _shapely()
    if not len(strides.stray):
        return np.array([], dtype=object)
    points = _seen(body, strides)[:, :, list(axes)]
    ways = np.stack([strides.start, strides.end], axis=1)[:, :, list(axes)]
    both = (points[:, None] + ways[:, :, None]).reshape(len(points), -1, 2)
    ring = shapely.multipoints(
        both.reshape(-1, 2), indices=np.repeat(range(len(both)), both.shape[1])
    )
    hulls = shapely.convex_hull(ring)
    grown = strides.stray * _GROWN + 1e-6
    if isinstance(body.shape, Capsule):
        grown = grown + body.shape.radius * _GROWN
    return shapely.buffer(hulls, grown, quad_segs=_QUARTER)


def _seen(body: Body, strides: Strides) -> Array:
    """Points of the body at the middle of each stride, discs as polygons, (n, k, 3)."""
    points = skeleton_of(body).points
    if isinstance(body.shape, Cylinder):
        angle = np.arange(_SIDES) * (2.0 * np.pi / _SIDES)
        radius = body.shape.radius * _AROUND
        ring = np.stack([np.cos(angle), np.sin(angle), 0.0 * angle], axis=1) * radius
        points = (points[:, None] + ring).reshape(-1, 3)
    turned = np.einsum("nij,kj->nki", strides.pose[:, :3, :3], points)
    return turned + strides.pose[:, None, :3, 3]


def _as_outline(covered: Any) -> Outline:
    shapely = _shapely()
    rings: list[Array] = []
    for polygon in shapely.get_parts(covered):
        oriented = shapely.orient_polygons(polygon)
        rings.append(np.array(shapely.get_coordinates(shapely.get_exterior_ring(oriented))))
        for number in range(int(shapely.get_num_interior_rings(oriented))):
            hole = shapely.get_interior_ring(oriented, number)
            rings.append(np.array(shapely.get_coordinates(hole)))
    low_x, low_y, high_x, high_y = (float(value) for value in shapely.bounds(covered))
    return Outline(
        tuple(rings),
        float(shapely.area(covered)),
        np.array([low_x, low_y]),
        np.array([high_x, high_y]),
    )
