"""Batched search for the nearest points of two convex solids.

The nearest point to the origin in the difference (second minus first) of
their cores is walked to by simplices of support points. What comes out is a
direction to be proved and the length of a vector between two real points.

Source: Gilbert, Johnson & Keerthi, "A fast procedure for computing the
distance between complex objects in three-dimensional space", IEEE Journal of
Robotics and Automation 4, 1988.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .components import cross, dot
from .frames import Array
from .posed import Posed, farthest

TOUCH = 1e-9
"""Length [m] under which the cores count as touching: no direction is left in the vector."""
MOST_STEPS = 60


@dataclass(frozen=True, slots=True, eq=False)
class Nearest:
    """What the search found, for m pairs of cores.

    Attributes:
        direction: along which the largest gap was seen, any length, shape (3, m).
        lower: that gap, shape (m,) [m].
        upper: length of the shortest vector between points of the cores, shape (m,) [m].
    """

    direction: Array
    lower: Array
    upper: Array


def difference_point(a: Posed, b: Posed, direction: Array) -> Array:
    """The point of (second minus first), cores only, lowest along directions (3, m)."""
    offset = b.position - a.position
    return offset + farthest(b, -direction) - farthest(a, direction)


def nearest(a: Posed, b: Posed, start: Array, cap: Array, tight: float) -> Nearest:
    """Search until bracketed within `tight`, apart by more than `cap`, or touching.

    Args:
        a: the first solids, m items.
        b: the second ones.
        start: first directions to try, shape (3, m).
        cap: gaps above which a pair needs no more work, shape (m,) [m].
        tight: width of a finished bracket [m].
    """
    count = start.shape[1]
    direction, lower = start.copy(), np.full(count, -np.inf)
    upper = np.full(count, np.inf)
    rows = np.arange(count, dtype=np.intp)
    simplex, alive = np.zeros((4, 3, count)), np.zeros((4, count), dtype=bool)
    heading = start
    for step in range(MOST_STEPS):
        point = difference_point(a, b, heading)
        length = np.sqrt(dot(heading, heading))
        gap = dot(point, heading) / length
        better = gap > lower[rows]
        lower[rows[better]] = gap[better]
        direction[:, rows[better]] = heading[:, better]
        known = (dot_each(simplex - point) == 0.0) & alive
        going = (upper[rows] - lower[rows] > tight) & (lower[rows] <= cap[rows])
        # a point seen before cannot bring the simplex nearer
        going &= ~known.any(axis=0) & np.isfinite(gap)
        if step == 0:
            upper[rows] = np.sqrt(dot(point, point))
        slot = np.argmin(alive, axis=0)
        column = np.arange(len(rows))
        simplex[slot, :, column] = point.T
        alive[slot, column] = True
        weights = closest_weights(simplex, alive)
        heading = (weights[:, None] * simplex).sum(axis=0)
        alive = weights > 0.0
        length = np.sqrt(dot(heading, heading))
        before = upper[rows]
        going &= (length < before) | (step == 0)
        upper[rows] = np.fmin(before, length)
        going &= length > TOUCH
        keep = np.flatnonzero(going)
        if not len(keep):
            break
        if len(keep) < len(rows):
            rows, a, b = rows[keep], a.take(keep), b.take(keep)
            heading, simplex, alive = heading[:, keep], simplex[:, :, keep], alive[:, keep]
    return Nearest(direction, lower, upper)


def dot_each(vectors: Array) -> Array:
    """Squared lengths of vectors (k, 3, m), shape (k, m)."""
    x, y, z = vectors[:, 0], vectors[:, 1], vectors[:, 2]
    return x * x + y * y + z * z


_EDGES = np.array([[0, 1], [0, 2], [0, 3], [1, 2], [1, 3], [2, 3]])
_FACES = np.array([[0, 1, 2], [0, 1, 3], [0, 2, 3], [1, 2, 3]])


def closest_weights(simplex: Array, alive: NDArray[np.bool_]) -> Array:
    """Weights of the point of each simplex nearest to the origin.

    All 15 faces are tried (4 vertices, 6 edges, 4 triangles, the inside); those whose
    own nearest point lies within them are candidates, and the nearest one wins.

    Args:
        simplex: points, shape (4, 3, m).
        alive: which of them count, at least one each, shape (4, m).

    Returns:
        Not negative, sum 1, shape (4, m).
    """
    count = simplex.shape[2]
    table = np.zeros((15, 4, count))
    distance = np.full((15, count), np.inf)
    _vertices(simplex, alive, table, distance)
    most = int(alive.sum(axis=0).max())
    for least, faces in ((2, _edges), (3, _triangles), (4, _inside)):
        if most >= least:
            faces(simplex, alive, table, distance)
    best = np.argmin(distance, axis=0)
    return table[best, :, np.arange(count)].T


def _vertices(simplex: Array, alive: NDArray[np.bool_], table: Array, distance: Array) -> None:
    table[np.arange(4), np.arange(4)] = 1.0
    distance[:4] = np.where(alive, dot_each(simplex), np.inf)


def _edges(simplex: Array, alive: NDArray[np.bool_], table: Array, distance: Array) -> None:
    first, second = _EDGES.T
    tail = simplex[first]
    span = simplex[second] - tail
    length = dot_each(span)
    share = -_dots(tail, span) / length
    valid = alive[first] & alive[second] & (share > 0.0) & (share < 1.0)
    point = tail + share[:, None] * span
    rows = np.arange(4, 10)
    table[rows, first] = 1.0 - share
    table[rows, second] = share
    distance[4:10] = np.where(valid, dot_each(point), np.inf)


def _triangles(simplex: Array, alive: NDArray[np.bool_], table: Array, distance: Array) -> None:
    i, j, k = _FACES.T
    corner = simplex[i]
    first, second = simplex[j] - corner, simplex[k] - corner
    normal = _crosses(first, second)
    area = dot_each(normal)
    share_j = -_dots(normal, _crosses(corner, second)) / area
    share_k = -_dots(normal, _crosses(first, corner)) / area
    share_i = 1.0 - share_j - share_k
    valid = alive[i] & alive[j] & alive[k] & (share_i > 0.0) & (share_j > 0.0) & (share_k > 0.0)
    point = corner + share_j[:, None] * first + share_k[:, None] * second
    rows = np.arange(10, 14)
    table[rows, i], table[rows, j], table[rows, k] = share_i, share_j, share_k
    distance[10:14] = np.where(valid, dot_each(point), np.inf)


def _inside(simplex: Array, alive: NDArray[np.bool_], table: Array, distance: Array) -> None:
    whole = np.flatnonzero(alive.all(axis=0))
    if not len(whole):
        return
    p, q, r, s = simplex[:, :, whole]
    shares = np.stack(
        [dot(q, cross(r, s)), -dot(p, cross(r, s)), dot(p, cross(q, s)), -dot(p, cross(q, r))]
    )
    volume = shares[0] + shares[1] + shares[2] + shares[3]
    shares = shares / volume
    inside = (shares > 0.0).all(axis=0) & np.isfinite(shares).all(axis=0)
    table[14][:, whole] = shares
    distance[14, whole[inside]] = 0.0


def _dots(first: Array, second: Array) -> Array:
    return first[:, 0] * second[:, 0] + first[:, 1] * second[:, 1] + first[:, 2] * second[:, 2]


def _crosses(first: Array, second: Array) -> Array:
    x, y, z = first[:, 0], first[:, 1], first[:, 2]
    u, v, w = second[:, 0], second[:, 1], second[:, 2]
    return np.stack([y * w - z * v, z * u - x * w, x * v - y * u], axis=1)
