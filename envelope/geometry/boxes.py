"""Distance between boxes, exactly: separating axes, then vertices and edges.

Works on core boxes, component first, in the frame of the first box. Half
extents may be 0: a segment or a point is a box too.
"""

from dataclasses import dataclass

import numpy as np

from .components import cross, dot, rotate, rotate_back
from .frames import Array
from .solids import Index

PARALLEL = 1e-8
"""Sine under which two edges count as parallel: their common normal is noise."""

AXES_SLACK = 1e-7
"""What leaving nearly parallel edges out of the axes may cost an overlap [m]."""

_NEXT = np.array([1, 2, 0])
_AFTER = np.array([2, 0, 1])
_SIGNS = np.array([[i, j, k] for i in (-1.0, 1.0) for j in (-1.0, 1.0) for k in (-1.0, 1.0)]).T


@dataclass(frozen=True, slots=True, eq=False)
class BoxPair:
    """m pairs of core boxes in the frame of the first.

    Attributes:
        half_a, half_b: half extents, shape (3, m) [m].
        turn: first_from_second, shape (3, 3, m).
        offset: centre of the second in the frame of the first, shape (3, m) [m].
    """

    half_a: Array
    half_b: Array
    turn: Array
    offset: Array

    @staticmethod
    def between(a: tuple[Array, Array, Array], b: tuple[Array, Array, Array]) -> "BoxPair":
        """From (half, rotation, position) of the first and of the second boxes."""
        turn = np.stack([rotate_back(a[1], b[1][:, j]) for j in range(3)], axis=1)
        return BoxPair(a[0], b[0], turn, rotate_back(a[1], b[2] - a[2]))

    def take(self, rows: Index) -> "BoxPair":
        """The pairs at rows."""
        return BoxPair(
            self.half_a[:, rows], self.half_b[:, rows], self.turn[:, :, rows], self.offset[:, rows]
        )


def widest_axis(pair: BoxPair) -> tuple[Array, Array]:
    """Largest gap over the 15 separating axes, and the axis it is found on.

    Never larger than the signed distance; equal to it when the boxes overlap
    (any three of the edges may have length 0).

    Returns:
        Gap, shape (m,) [m], and the unit axis from first to second in the
        frame of the first, shape (3, m).

    Source: Gottschalk, Lin & Manocha, "OBBTree", SIGGRAPH 1996 (the 15 axes).
    """
    turn, offset, half_a, half_b = pair.turn, pair.offset, pair.half_a, pair.half_b
    size = np.abs(turn)
    in_b = rotate_back(turn, offset)
    gap_a = np.abs(offset) - half_a - rotate(size, half_b)
    gap_b = np.abs(in_b) - half_b - rotate_back(size, half_a)
    gap_ab, along = _crossed_gaps(pair, size)
    gaps = np.concatenate([gap_a, gap_b, gap_ab.reshape(9, -1)])
    # an edge pair is taken only where it is wider than the faces by more than rounding
    gaps[6:] -= 1e-13
    best = gaps.argmax(axis=0)
    axis = np.zeros_like(offset)
    column = np.arange(offset.shape[1])
    rows = np.flatnonzero(best < 3)
    axis[best[rows], rows] = np.where(offset[best[rows], rows] < 0.0, -1.0, 1.0)
    rows = np.flatnonzero((best >= 3) & (best < 6))
    j = best[rows] - 3
    axis[:, rows] = turn[:, j, rows] * np.where(in_b[j, rows] < 0.0, -1.0, 1.0)
    rows = np.flatnonzero(best >= 6)
    i, j = np.divmod(best[rows] - 6, 3)
    edge = turn[:, j, rows]
    sign = np.where(along[i, j, rows] < 0.0, -1.0, 1.0)
    first, second = _NEXT[i], _AFTER[i]
    k = np.arange(len(rows))
    length = np.sqrt(edge[first, k] ** 2 + edge[second, k] ** 2)
    axis[first, rows] = -sign * edge[second, k] / length
    axis[second, rows] = sign * edge[first, k] / length
    return gaps[best, column], axis


def _crossed_gaps(pair: BoxPair, size: Array) -> tuple[Array, Array]:
    """Gaps along e_i x (edge j of the second), and the centre's height; both (3, 3, m)."""
    next_, after = pair.turn[_NEXT], pair.turn[_AFTER]
    size_next, size_after = size[_NEXT], size[_AFTER]
    along = pair.offset[_AFTER][:, None] * next_ - pair.offset[_NEXT][:, None] * after
    reach_a = pair.half_a[_NEXT][:, None] * size_after + pair.half_a[_AFTER][:, None] * size_next
    reach_b = pair.half_b[_NEXT] * size[:, _AFTER] + pair.half_b[_AFTER] * size[:, _NEXT]
    sine = np.sqrt(next_ * next_ + after * after)
    with np.errstate(divide="ignore", invalid="ignore"):
        gap = (np.abs(along) - reach_a - reach_b) / sine
    return np.where(sine > PARALLEL, gap, -np.inf), along


def gap_of_cores(pair: BoxPair, direction: Array) -> Array:
    """Gap along unit directions in the frame of the first, (3, m), to (m,)."""
    in_b = rotate_back(pair.turn, direction)
    return (
        dot(pair.offset, direction)
        - dot(pair.half_a, np.abs(direction))
        - dot(pair.half_b, np.abs(in_b))
    )


def nearest_points(pair: BoxPair) -> tuple[Array, Array]:
    """Nearest points of boxes that are apart: vertices, then supporting edges.

    Errs: the points are of the boxes, so their distance is never too small.

    Args:
        pair: m pairs.

    Returns:
        Vector from the point of the first to that of the second, shape (3, m), and
        its length, shape (m,) [m].
    """
    turn, offset, half_a, half_b = pair.turn, pair.offset, pair.half_a, pair.half_b
    signed = half_b[:, None] * _SIGNS[:, :, None]
    vertex_b = rotate(turn[:, :, None], signed) + offset[:, None]
    limit = half_a[:, None]
    from_a = vertex_b - np.minimum(np.maximum(vertex_b, -limit), limit)
    vertex_a = half_a[:, None] * _SIGNS[:, :, None]
    in_b = rotate_back(turn[:, :, None], vertex_a - offset[:, None])
    limit = half_b[:, None]
    from_b = np.minimum(np.maximum(in_b, -limit), limit) - in_b
    from_b = rotate(turn[:, :, None], from_b)
    edges = _facing_edges(pair)
    return shortest(np.concatenate([from_a, from_b, edges], axis=1))


def shortest(vectors: Array) -> tuple[Array, Array]:
    """The shortest of k vectors, (3, k, m), and its length: (3, m) and (m,)."""
    length = dot(vectors, vectors)
    best = length.argmin(axis=0)
    column = np.arange(len(best))
    return vectors[:, best, column], np.sqrt(length[best, column])


def _facing_edges(pair: BoxPair) -> Array:
    """Shortest vectors between the 9 pairs of edges that face each other, (3, 9, m)."""
    turn, offset = pair.turn, pair.offset
    rows_i, rows_j = np.repeat(np.arange(3), 3), np.tile(np.arange(3), 3)
    edge_b = turn[:, rows_j]
    edge_a = np.zeros_like(edge_b)
    edge_a[rows_i, np.arange(9)] = 1.0
    normal = cross(edge_a, edge_b)
    normal = normal * np.where(dot(normal, offset[:, None]) < 0.0, -1.0, 1.0)
    # along its own edge each midpoint stays in the middle of the box
    point_a = np.copysign(pair.half_a[:, None], normal)
    point_a = np.where(edge_a > 0.0, 0.0, point_a)
    facing = np.copysign(pair.half_b[:, None], -rotate_back(turn[:, :, None], normal))
    facing[rows_j, np.arange(9)] = 0.0
    point_b = rotate(turn[:, :, None], facing) + offset[:, None]
    between = point_b - point_a
    return _segment_gap(
        between, (edge_a, pair.half_a[rows_i]), (edge_b, pair.half_b[rows_j])
    )


def _segment_gap(between: Array, a: tuple[Array, Array], b: tuple[Array, Array]) -> Array:
    """Shortest vectors between segments given by midpoint, unit direction, half length.

    Args:
        between: from the first midpoint to the second, shape (3, ...).
        a: direction (3, ...) and half length (...) of the first.
        b: the same of the second.

    Source: Lumelsky, "On fast computation of distance between line segments",
    Information Processing Letters 21, 1985.
    """
    (edge_a, half_a), (edge_b, half_b) = a, b
    cosine = dot(edge_a, edge_b)
    along_a, along_b = dot(edge_a, between), dot(edge_b, between)
    sine_squared = np.maximum(1.0 - cosine * cosine, 1e-30)
    s = (along_a - cosine * along_b) / sine_squared
    s = np.minimum(np.maximum(s, -half_a), half_a)
    t = cosine * s - along_b
    t = np.minimum(np.maximum(t, -half_b), half_b)
    s = along_a + cosine * t
    s = np.minimum(np.maximum(s, -half_a), half_a)
    return between + edge_b * t - edge_a * s


def nearest_on_all_edges(pair: BoxPair) -> Array:
    """Shortest vector over all 144 pairs of edges, shape (3, m); for the few left over."""
    best = np.full_like(pair.offset, np.inf)
    for i, p, q in _TWELVE:
        edge_a = np.zeros_like(pair.offset)
        edge_a[i] = 1.0
        point_a = np.zeros_like(pair.offset)
        point_a[_NEXT[i]] = p * pair.half_a[_NEXT[i]]
        point_a[_AFTER[i]] = q * pair.half_a[_AFTER[i]]
        vectors = [best[:, None]]
        for j, r, s in _TWELVE:
            point_b = np.zeros_like(pair.offset)
            point_b[_NEXT[j]] = r * pair.half_b[_NEXT[j]]
            point_b[_AFTER[j]] = s * pair.half_b[_AFTER[j]]
            between = rotate(pair.turn, point_b) + pair.offset - point_a
            edge_b = (pair.turn[:, j], pair.half_b[j])
            vectors.append(_segment_gap(between, (edge_a, pair.half_a[i]), edge_b)[:, None])
        best = shortest(np.concatenate(vectors, axis=1))[0]
    return best


_TWELVE = [(i, p, q) for i in range(3) for p in (-1.0, 1.0) for q in (-1.0, 1.0)]
