"""Where upright lines pass through convex solids that are swept along straight ways.

A solid that is swept along a segment is its Minkowski sum with the segment, and one that is
grown by what a cell of a grid takes up is the sum with that cell. Sums of segments are
zonotopes, whose faces are spanned by two of the segments each; capsules become rounded
parallelograms, which are put together from spheres, cylinders and a slab.

Errs: never too small. Zonotopes, hulls and capsules are exact; a disc is a polygon around it.

Source: G. M. Ziegler, Lectures on Polytopes (1995), section 7.3 (zonotopes), from memory.
"""

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from .frames import Array

SIDES = 16  # of the polygon around a disc
DISC_EXCESS = 1.0 / float(np.cos(np.pi / SIDES)) - 1.0  # by which its corners stand out, of R
_UPRIGHT = 1e-7  # a face whose normal is this level is a wall
_ROUNDING = 1e-9  # [m]: all is grown by this
_NONE = 1e-12  # [m]: shorter segments are points

Pairs = Sequence[tuple[int, int]]
Interval = tuple[Array, Array]


def disc_generators(axis: Array, radius: float) -> Array:
    """Half-segments, shape (n, SIDES / 2, 3), whose sum is a polygon around discs.

    Args:
        axis: Unit normals of the discs, shape (n, 3).
        radius: Of all of them [m].
    """
    other = np.where(np.abs(axis[:, 2:]) < 0.9, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]])
    first = np.cross(axis, other)
    first /= np.sqrt((first * first).sum(axis=1, keepdims=True))
    second = np.cross(axis, first)
    angle = np.arange(SIDES // 2) * (2.0 * np.pi / SIDES)
    length = radius * np.tan(np.pi / SIDES)
    return length * (
        np.cos(angle)[:, None] * first[:, None] + np.sin(angle)[:, None] * second[:, None]
    )


def face_pairs(count: int, flat: int = 0) -> Pairs:
    """Which two of some segments span a face; the first `flat` of them lie in one plane."""
    pairs = [(a, b) for a, b in combinations(range(count), 2) if b >= flat]
    return [(0, flat // 2), *pairs] if flat else pairs


def zonotope(generators: Array, pairs: Pairs, x: Array, y: Array) -> Interval:
    """Intervals of upright lines in sums of segments about the origin.

    Args:
        generators: Half of each segment, shape (n, g, 3) [m].
        pairs: Which of them span faces.
        x: Where the lines are, shape (n, a) [m].
        y: The same, shape (n, b) [m].

    Returns:
        Lowest and highest, shape (n, a, b) [m]; lowest above highest where a line misses.
    """
    first, second = (generators[:, [pair[side] for pair in pairs]] for side in (0, 1))
    normals = np.cross(first, second)
    size = np.sqrt((normals * normals).sum(axis=2))
    normals = normals / np.maximum(size, 1e-30)[:, :, None]
    reach = np.abs((normals[:, :, None] * generators[:, None]).sum(axis=3)).sum(axis=2)
    reach = np.where(size > 1e-14, reach + _ROUNDING, np.inf)
    return _between(normals, -reach, reach, x, y)


def swept_hull(vertices: Array, segments: Array, x: Array, y: Array) -> Interval:
    """The same for convex hulls of points, shape (n, k, 3), plus segments, (n, g, 3) [m]."""
    normals = _hull_normals(vertices, segments)
    along = (normals[:, :, None] * vertices[:, None]).sum(axis=3)
    more = np.abs((normals[:, :, None] * segments[:, None]).sum(axis=3)).sum(axis=2) + _ROUNDING
    size = np.abs(normals).sum(axis=2)
    low = np.where(size > 0.5, along.min(axis=2) - more, -np.inf)
    high = np.where(size > 0.5, along.max(axis=2) + more, np.inf)
    return _between(normals, low, high, x, y)


def _hull_normals(vertices: Array, segments: Array) -> Array:
    """Unit normals of all faces of hulls plus segments, shape (n, m, 3); 0 where there is none.

    The hulls are one and the same, turned: faces are looked up in the first.
    """
    hull = ConvexHull(vertices[0])
    triangles = vertices[0][hull.simplices]
    seen = _different(hull.equations[:, :3])
    corners = vertices[:, hull.simplices[seen]]
    faces = np.cross(corners[:, :, 1] - corners[:, :, 0], corners[:, :, 2] - corners[:, :, 0])
    ends = np.stack([hull.simplices, np.roll(hull.simplices, 1, axis=1)], axis=2).reshape(-1, 2)
    sides = (triangles - np.roll(triangles, 1, axis=1)).reshape(-1, 3)
    ends = ends[_different(sides / np.sqrt((sides * sides).sum(axis=1, keepdims=True)))]
    edges = vertices[:, ends[:, 0]] - vertices[:, ends[:, 1]]
    edged = np.cross(edges[:, :, None], segments[:, None]).reshape(len(vertices), -1, 3)
    pairs = face_pairs(segments.shape[1])
    spanned = np.cross(segments[:, [a for a, _ in pairs]], segments[:, [b for _, b in pairs]])
    normals = np.concatenate([faces, edged, spanned], axis=1)
    size = np.sqrt((normals * normals).sum(axis=2, keepdims=True))
    return np.where(size > 1e-14, normals / np.maximum(size, 1e-30), 0.0)


def _different(units: Array) -> NDArray[np.intp]:
    """Which unit vectors differ from all before them, sign apart, shape (n, 3) to (m,).

    Errs: one that is left out leaves out a plane, by which solids only grow.
    """
    leading = np.take_along_axis(units, np.abs(units).argmax(axis=1)[:, None], axis=1)
    rows = np.round(units * np.sign(leading), 6) + 0.0
    return np.sort(np.unique(rows, axis=0, return_index=True)[1])


def _between(normals: Array, low: Array, high: Array, x: Array, y: Array) -> Interval:
    """Upright lines between pairs of parallel planes: low <= normal . point <= high."""
    n, a, b = len(x), x.shape[1], y.shape[1]
    lowest, highest = np.full((n, a, b), -np.inf), np.full((n, a, b), np.inf)
    for k in range(normals.shape[1]):
        nx, ny, nz = (normals[:, k, axis] for axis in range(3))
        sign = np.where(nz < 0.0, -1.0, 1.0)
        wall = np.abs(nz) < _UPRIGHT
        # a wall is leant over by less than what it is grown by
        steep = np.where(wall, _UPRIGHT, np.abs(nz))
        less, more = (np.where(sign < 0.0, -high[:, k], low[:, k]), None)
        more = np.where(sign < 0.0, -low[:, k], high[:, k])
        grown = np.where(wall, 1e2 * _UPRIGHT, 0.0)
        slope = (sign * nx / steep)[:, None] * x, (sign * ny / steep)[:, None] * y
        level = slope[0][:, :, None] + slope[1][:, None, :]
        np.maximum(lowest, ((less - grown) / steep)[:, None, None] - level, out=lowest)
        np.minimum(highest, ((more + grown) / steep)[:, None, None] - level, out=highest)
    return lowest, highest


def capsule(axis: Array, way: Array, radius: Array, x: Array, y: Array) -> Interval:
    """Intervals of upright lines in capsules about the origin, swept both ways.

    Args:
        axis: From the middle to one end of the capsule's segment, shape (n, 3) [m].
        way: Half of the sweep, shape (n, 3) [m].
        radius: Shape (n,) [m].
        x: Where the lines are, shape (n, a) [m].
        y: The same, shape (n, b) [m].

    Returns:
        As `zonotope` does.
    """
    radius = radius + _ROUNDING
    shape = (len(x), x.shape[1], y.shape[1])
    found = np.full(shape, np.inf), np.full(shape, -np.inf)
    corners = [s * axis + t * way for s, t in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    for corner in corners:
        _join(found, _sphere(corner, radius, x, y))
    for start, end in zip(corners, (*corners[1:], corners[0]), strict=True):
        if np.abs(end - start).max() > _NONE:
            _join(found, _round_side(start, end - start, radius, x, y))
    across = np.cross(axis, way)
    size = np.sqrt((across * across).sum(axis=1))
    if size.max() > 1e-14:
        unit = across / np.maximum(size, 1e-30)[:, None]
        spans = np.stack([axis, way, unit * radius[:, None]], axis=1)
        low, high = zonotope(spans, face_pairs(3), x, y)
        there = (size > 1e-14)[:, None, None]
        _join(found, (np.where(there, low, np.inf), np.where(there, high, -np.inf)))
    return found


def _join(found: Interval, more: Interval) -> None:
    """Widen intervals by others, where a line does not miss these."""
    hit = more[0] <= more[1]
    np.minimum(found[0], more[0], out=found[0], where=hit)
    np.maximum(found[1], more[1], out=found[1], where=hit)


def _sphere(centre: Array, radius: Array, x: Array, y: Array) -> Interval:
    away = (x - centre[:, :1])[:, :, None] ** 2 + (y - centre[:, 1:2])[:, None, :] ** 2
    square = (radius**2)[:, None, None] - away
    half = np.where(square >= 0.0, np.sqrt(np.maximum(square, 0.0)), -1.0)
    return centre[:, 2, None, None] - half, centre[:, 2, None, None] + half


def _round_side(start: Array, edge: Array, radius: Array, x: Array, y: Array) -> Interval:
    """Cylinders about edges, cut square at both ends."""
    length = np.sqrt((edge * edge).sum(axis=1))
    unit = edge / np.maximum(length, _NONE)[:, None]
    dx, dy = x - start[:, :1], y - start[:, 1:2]
    along = (unit[:, :1] * dx)[:, :, None] + (unit[:, 1:2] * dy)[:, None, :]
    up = unit[:, 2, None, None]
    lean = np.maximum(1.0 - up * up, 1e-9)
    away = dx[:, :, None] ** 2 + dy[:, None, :] ** 2
    square = (along * up) ** 2 - lean * (away - along**2 - (radius**2)[:, None, None])
    half = np.sqrt(np.maximum(square, 0.0))
    low, high = (along * up - half) / lean, (along * up + half) / lean
    steep = np.where(np.abs(up) < 1e-12, 1e-12, up)
    ends = -along / steep, (length[:, None, None] - along) / steep
    low = np.maximum(low, np.minimum(*ends))
    high = np.minimum(high, np.maximum(*ends))
    missed = (square < 0.0) | (length <= _NONE)[:, None, None]
    base = start[:, 2, None, None]
    return np.where(missed, np.inf, base + low), np.where(missed, -np.inf, base + high)
