"""Triangles of round bodies and of hulls of few points, without the library that knows all hulls.

That library takes longer to load than a whole cell takes to be drawn, and the arms, tools and
cartons of most cells are boxes, cylinders, capsules and hulls of some eight points.
"""

from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray

from ..geometry.frames import Array

Index = NDArray[np.intp]

FEW = 24  # points of which all triples are looked at: some two thousand
_FLAT = 1e-9  # of the largest extent: points this near a plane lie on it


def turned(profile: Array, around: int) -> tuple[Array, Index]:
    """The body of a convex profile turned about the z-axis.

    Args:
        profile: Radius and height of the rings from the foot up, shape (n, 2) [m]. A first or
            last ring of radius 0 is a point; otherwise the end is flat.
        around: Corners of a ring.

    Returns:
        Corners, shape (m, 3) [m], and triangles counter-clockwise from outside, shape (k, 3).
    """
    angle = np.arange(around) * (2.0 * np.pi / around)
    circle = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(around)])
    points: list[Array] = []
    rings: list[Index] = []
    for radius, height in profile.tolist():
        ring = circle * radius if radius > 0.0 else np.zeros((1, 3))
        rings.append(np.arange(len(ring)) + sum(map(len, points)))
        points.append(ring + np.array([0.0, 0.0, height]))
    faces: list[Index] = []
    for below, above in pairwise(rings):
        faces += _band(below, above)
    faces += [_fan(rings[0][::-1]), _fan(rings[-1])]
    return np.concatenate(points), np.concatenate(faces)


def _band(below: Index, above: Index) -> list[Index]:
    """Triangles between two rings, either of which may be a point."""
    after, over = np.roll(below, -1), np.roll(above, -1)
    faces: list[Index] = []
    if len(below) > 1:
        faces.append(np.column_stack([below, after, np.broadcast_to(above, len(below))]))
    if len(above) > 1:
        foot = after if len(below) > 1 else np.broadcast_to(below, len(above))
        faces.append(np.column_stack([above, foot, over]))
    return faces


def _fan(ring: Index) -> Index:
    """Triangles of a convex polygon, shape (corners - 2, 3); none of a point."""
    if len(ring) < 3:
        return np.zeros((0, 3), dtype=np.intp)
    first = np.full(len(ring) - 2, ring[0])
    return np.column_stack([first, ring[1:-1], ring[2:]])


def hull_of_few(points: Array) -> tuple[Array, Index] | None:
    """The convex hull of at most `FEW` points, from the planes through any three of them.

    Args:
        points: Shape (n, 3) [m].

    Returns:
        Its corners, shape (m, 3) [m], and triangles counter-clockwise from outside, shape (k, 3);
        None where there are too many points, or they span no solid.
    """
    if not 4 <= len(points) <= FEW:
        return None
    near = _FLAT * float(np.ptp(points, axis=0).max())
    corners = points[np.array(list(combinations(range(len(points)), 3)))]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1)
    wide = length > near * float(np.ptp(points, axis=0).max())
    normal = normal[wide] / length[wide, None]
    height = normal @ points.T - (normal * corners[wide, 0]).sum(axis=1)[:, None]
    planes: dict[tuple[int, ...], Array] = {}
    for sign in (1.0, -1.0):
        outer = (sign * height <= near).all(axis=1)
        for way, on in zip(sign * normal[outer], np.abs(height[outer]) <= near, strict=True):
            planes.setdefault(tuple(np.flatnonzero(on).tolist()), way)
    faces = [_fan(_outline(points, np.array(on), way)) for on, way in planes.items()]
    if len(faces) < 4:
        return None
    found = np.concatenate(faces)
    used, back = np.unique(found, return_inverse=True)
    return points[used], back.reshape(found.shape).astype(np.intp)


def _outline(points: Array, on: Index, normal: Array) -> Index:
    """Corners of the convex polygon of points in one plane, counter-clockwise about a normal."""
    across = np.eye(3)[np.abs(normal).argmin()]
    x = np.cross(across, normal)
    flat = points[on] @ np.column_stack([x, np.cross(normal, x)])
    order = np.lexsort((flat[:, 1], flat[:, 0])).tolist()
    size = float(np.ptp(flat, axis=0).max())
    ring: list[int] = []
    for chain in (order, order[::-1]):
        start = len(ring)
        for k in chain:
            while len(ring) >= start + 2 and _turn(flat, ring[-2], ring[-1], k) <= _FLAT * size**2:
                ring.pop()
            ring.append(k)
        ring.pop()
    return on[ring]


def _turn(flat: Array, first: int, second: int, third: int) -> float:
    """Positive where one turns left from the first over the second to the third."""
    a, b = flat[second] - flat[first], flat[third] - flat[first]
    return float(a[0] * b[1] - a[1] * b[0])
