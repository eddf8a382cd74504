"""How deep a flat triangle overlaps a box, a capsule or another triangle: by all axes."""

import numpy as np
from numpy.typing import NDArray

from .boxes import AXES_SLACK, PARALLEL
from .components import cross, dot, rotate, unit
from .frames import Array
from .posed import Posed, corners, reach
from .solids import ROUNDED_BOX, TRIANGLE


def flat_pairs(a: Posed, b: Posed) -> NDArray[np.bool_]:
    """Which pairs `flat_depths` answers: a triangle with a rounded box or a triangle."""
    few_a = (a.kind == ROUNDED_BOX) | (a.kind == TRIANGLE)
    few_b = (b.kind == ROUNDED_BOX) | (b.kind == TRIANGLE)
    return few_a & few_b & ((a.kind == TRIANGLE) | (b.kind == TRIANGLE))


def flat_depths(a: Posed, b: Posed) -> tuple[Array, Array, Array]:
    """Signed distance of overlapping cores, over all faces and edge products.

    Args:
        a: the first solids, m items, each a triangle or a rounded box.
        b: the second ones.

    Returns:
        Direction of the largest gap of the cores, shape (3, m), that gap, shape (m,) [m],
        and an upper end of the signed
        distance of the cores, shape (m,) [m]: 0 where a triangle has no area, for
        then the axes may not be all there are.
    """
    edges_a, faces_a, sound_a = _features(a)
    edges_b, faces_b, sound_b = _features(b)
    axes = faces_a + faces_b
    for first in edges_a:
        for second in edges_b:
            normal = cross(first, second)
            axes.append(np.where(dot(normal, normal) > PARALLEL * PARALLEL, unit(normal), np.nan))
    rounding = a.rounding() + b.rounding()
    best, direction = np.full(len(a.kind), -np.inf), np.full_like(a.position, np.nan)
    offset = b.position - a.position
    for axis in axes:
        for d in (axis, -axis):
            gap = dot(offset, d) - reach(a, d) - reach(b, -d) + rounding
            better = gap > best
            best = np.where(better, gap, best)
            direction = np.where(better, d, direction)
    upper = np.where(sound_a & sound_b, np.minimum(best + AXES_SLACK, 0.0), 0.0)
    return direction, best, upper


def _features(item: Posed) -> tuple[list[Array], list[Array], NDArray[np.bool_]]:
    """Unit directions of edges and of face normals, and whether they are all there."""
    edges = [item.rotation[:, k].copy() for k in range(3)]
    faces = [edge.copy() for edge in edges]
    sound = np.ones(len(item.kind), dtype=bool)
    rows = np.flatnonzero(item.kind == TRIANGLE)
    if len(rows):
        points = np.moveaxis(corners(item, TRIANGLE, rows), 0, -1)
        turn = item.rotation[:, :, rows]
        sides = [unit(points[:, (k + 1) % 3] - points[:, k]) for k in range(3)]
        normal = cross(sides[0], sides[1])
        sound[rows] = dot(normal, normal) > 1e-12
        for edge, face, side in zip(edges, faces, sides, strict=True):
            edge[:, rows] = rotate(turn, side)
            face[:, rows] = rotate(turn, unit(normal))
    return edges, faces, sound
