"""Distance between boxes, exactly: separating axes, then vertices and edges.

Works on core boxes, component first, in the frame of the first box. Half
extents may be 0: a segment or a point is a box too.
"""

from dataclasses import dataclass

import numpy as np

from .components import dot, rotate, rotate_back
from .frames import Array
from .solids import Index

PARALLEL = 1e-8
"""Sine under which two edges count as parallel: their common normal is noise."""

AXES_SLACK = 1e-7
"""What leaving nearly parallel edges out of the axes may cost an overlap [m]."""

_NEXT = np.array([1, 2, 0])
_AFTER = np.array([2, 0, 1])


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


@dataclass(frozen=True, slots=True, eq=False)
class WidestAxis:
    """The axis of the largest gap, for m pairs.

    Attributes:
        gap: gap of the boxes along it, shape (m,) [m].
        direction: unit axis from first to second, frame of the first, shape (3, m).
        number: 0-2 a face of the first, 3-5 of the second, 6 + 3 i + j edges i and j, shape (m,).
    """

    gap: Array
    direction: Array
    number: Index

    def take(self, rows: Index) -> "WidestAxis":
        """The axes at rows."""
        return WidestAxis(self.gap[rows], self.direction[:, rows], self.number[rows])


def widest_axis(pair: BoxPair) -> WidestAxis:
    """Largest gap over the 15 separating axes, and the axis it is found on.

    Never larger than the signed distance; equal to it when the boxes overlap
    (any three of the edges may have length 0).

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
    column = np.arange(offset.shape[1], dtype=np.intp)
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
    return WidestAxis(gaps[best, column], axis, best)


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


def nearest_points(pair: BoxPair, axis: WidestAxis) -> tuple[Array, Array]:
    """Nearest points of boxes that are apart: from vertices, or between two edges.

    Two edges that are nearest between their ends lie along the widest axis, which
    is then their common normal, and face each other: so one pair of edges is enough.
    (With faces in parallel there may be a choice of edges: then the points may be
    other than the nearest, and `nearest_on_all_edges` remains.)

    Errs: the points are of the boxes, so their distance is never too small.

    Args:
        pair: m pairs.
        axis: their widest axes.

    Returns:
        Vector from the point of the first to that of the second, shape (3, m), and
        its length, shape (m,) [m].
    """
    vector, length = _from_vertices(pair)
    rows = np.flatnonzero(axis.number >= 6)
    if len(rows):
        i, j = np.divmod(axis.number[rows] - 6, 3)
        between = _facing_edges(pair.take(rows), axis.direction[:, rows], i, j)
        distance = np.sqrt(dot(between, between))
        nearer = np.flatnonzero(distance < length[rows])
        vector[:, rows[nearer]], length[rows[nearer]] = between[:, nearer], distance[nearer]
    return vector, length


def _from_vertices(pair: BoxPair) -> tuple[Array, Array]:
    """Shortest of the vectors between a vertex of one box and the other box."""
    in_b = rotate_back(pair.turn, pair.offset)
    vertex_b = _vertices(pair.offset, pair.turn * pair.half_b)
    from_a = vertex_b - _clamped(vertex_b, pair.half_a[:, None])
    vertex_a = _vertices(-in_b, np.swapaxes(pair.turn * pair.half_a[:, None], 0, 1))
    from_b = _clamped(vertex_a, pair.half_b[:, None]) - vertex_a
    (vector, length), (other, other_length) = shortest(from_a), shortest(from_b)
    second = other_length < length
    vector = np.where(second, rotate(pair.turn, other), vector)
    return vector, np.where(second, other_length, length)


def _vertices(centre: Array, edges: Array) -> Array:
    """The 8 corners centre +- edges[:, 0] +- edges[:, 1] +- edges[:, 2], (3, 8, m)."""
    corners = centre[:, None]
    for k in range(3):
        edge = edges[:, k, None]
        corners = np.concatenate([corners - edge, corners + edge], axis=1)
    return corners


def _clamped(points: Array, half: Array) -> Array:
    return np.minimum(np.maximum(points, -half), half)


def shortest(vectors: Array) -> tuple[Array, Array]:
    """The shortest of k vectors, (3, k, m), and its length: (3, m) and (m,)."""
    length = dot(vectors, vectors)
    best = length.argmin(axis=0)
    column = np.arange(len(best))
    return vectors[:, best, column], np.sqrt(length[best, column])


def _facing_edges(pair: BoxPair, normal: Array, i: Index, j: Index) -> Array:
    """Shortest vectors between edge i of the first and j of the second, (3, m).

    Args:
        pair: m pairs.
        normal: the common normal, from the first to the second, shape (3, m).
        i: direction of the edge of the first, shape (m,).
        j: of the second, shape (m,).
    """
    column = np.arange(len(i))
    edge_a = np.zeros_like(normal)
    edge_a[i, column] = 1.0
    point_a = np.copysign(pair.half_a, normal)
    point_a[i, column] = 0.0
    point_b = np.copysign(pair.half_b, -rotate_back(pair.turn, normal))
    point_b[j, column] = 0.0
    between = rotate(pair.turn, point_b) + pair.offset - point_a
    edge_b = pair.turn[:, j, column]
    return _segment_gap(between, (edge_a, pair.half_a[i, column]), (edge_b, pair.half_b[j, column]))


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


def nearest_on_all_edges(pair: BoxPair) -> tuple[Array, Array]:
    """Shortest vector over all 144 pairs of edges, (3, m), and its length, (m,)."""
    count = pair.offset.shape[1]
    centre, half_a = np.zeros((3, 12, count)), pair.half_a[_ALONG]
    edge_a = np.zeros((3, 12, 1))
    edge_a[_ALONG, np.arange(12)] = 1.0
    for place, sign in _ACROSS:
        axis = (_ALONG + place) % 3
        centre[axis, np.arange(12)] = sign[:, None] * pair.half_a[axis]
    vectors: list[Array] = []
    for j, p, q in _TWELVE:
        point_b = np.zeros_like(pair.offset)
        point_b[_NEXT[j]] = p * pair.half_b[_NEXT[j]]
        point_b[_AFTER[j]] = q * pair.half_b[_AFTER[j]]
        between = (rotate(pair.turn, point_b) + pair.offset)[:, None] - centre
        edge_b = (pair.turn[:, j, None], pair.half_b[j])
        vectors.append(shortest(_segment_gap(between, (edge_a, half_a), edge_b))[0])
    return shortest(np.stack(vectors, axis=1))


_TWELVE = [(i, p, q) for i in range(3) for p in (-1.0, 1.0) for q in (-1.0, 1.0)]
_ALONG = np.array([edge[0] for edge in _TWELVE])
_ACROSS = [(k, np.array([edge[k] for edge in _TWELVE])) for k in (1, 2)]
