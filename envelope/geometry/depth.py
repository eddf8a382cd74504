"""How deep two solids overlap: a polytope grown inside their difference.

While the origin lies inside the polytope, the ball around it that the
polytope holds proves an upper end, and the outermost point along the normal
of the nearest face gives a direction for the lower one.

Source: van den Bergen, "Proximity queries and penetration depth computation
on 3D game objects", Game Developers Conference 2001 (expanding polytopes).
"""

import numpy as np

from .frames import Array
from .gjk import difference_point
from .posed import Posed
from .solids import Index

MOST_ROUNDS = 120
FLAT = 1e-12
"""Height [m] under which a point counts as lying in the plane of a face."""

_FIRST = np.array(
    [[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]], dtype=float
)
_DIAGONALS = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], dtype=float)


def depths(a: Posed, b: Posed, direction: Array, floor: Array, tight: float) -> tuple[Array, Array]:
    """Bracket the signed distance of cores that overlap.

    Args:
        a: the first solids, m items.
        b: the second ones.
        direction: the best seen so far, shape (3, m).
        floor: upper ends below this need no more work, shape (m,) [m].
        tight: width of a finished bracket [m].

    Returns:
        Directions to be proved, shape (3, m), and upper ends, shape (m,) [m]:
        0 where the overlap has no depth (the solids only touch, or are both flat).
    """
    direction, count = direction.copy(), direction.shape[1]
    # the gap is -max over n.w; a point lowest along d is outermost along n = -d
    length = np.sqrt((direction * direction).sum(axis=0))
    known = (difference_point(a, b, direction) * direction).sum(axis=0) / length
    lower, upper = np.where(np.isfinite(known), known, -np.inf), np.zeros(count)
    seeds = _seeds(a, b, _FIRST)
    grown = ((k, InnerHull.around(seeds[:, :, k])) for k in range(count))
    hulls = {k: hull for k, hull in grown if hull is not None}
    flat = np.array([k for k in range(count) if k not in hulls], np.intp)
    if len(flat):
        # of an upright box the same corner may be outermost along many axes at once
        seeds = np.concatenate([seeds[:, :, flat], _seeds(a.take(flat), b.take(flat), _DIAGONALS)])
        grown = ((int(k), InnerHull.around(seeds[:, :, i])) for i, k in enumerate(flat))
        hulls |= {k: hull for k, hull in grown if hull is not None}
    active = list(hulls)
    for _ in range(MOST_ROUNDS):
        if not active:
            break
        rows = np.array(active)
        normals = np.stack([hulls[k].nearest_face()[0] for k in active], axis=1)
        points = difference_point(a.take(rows), b.take(rows), -normals)
        remaining: list[int] = []
        for column, k in enumerate(active):
            hull, normal, point = hulls[k], normals[:, column], points[:, column]
            outermost = float((normal * point).sum())
            if -outermost > lower[k]:
                lower[k], direction[:, k] = -outermost, -normal
            upper[k] = min(upper[k], -hull.nearest_face()[1])
            open_ = upper[k] - lower[k] > tight and upper[k] >= floor[k]
            if open_ and hull.add(point):
                remaining.append(k)
        active = remaining
    return direction, upper


def _seeds(a: Posed, b: Posed, directions: Array) -> Array:
    """Outermost points of the difference along directions, shape (d, 3), as (d, 3, m)."""
    count = a.position.shape[1]
    return np.stack(
        [difference_point(a, b, np.repeat(-d[:, None], count, axis=1)) for d in directions]
    )


class InnerHull:
    """A closed surface of triangles spanned by points of one difference body."""

    __slots__ = ("faces", "normals", "offsets", "points")

    def __init__(self, points: Array, faces: Index) -> None:
        """From points (p, 3) and outward faces (f, 3) of indices."""
        self.points = points
        self.faces = faces
        self.normals: Array
        self.offsets: Array
        self.normals, self.offsets = self._planes(faces)

    @staticmethod
    def around(points: Array) -> "InnerHull | None":
        """The hull of points (p, 3); None when they are flat."""
        from_first = points - points[0]
        second = int((from_first**2).sum(axis=1).argmax())
        edge = from_first[second]
        third = int((np.cross(from_first, edge) ** 2).sum(axis=1).argmax())
        normal = np.cross(edge, from_first[third])
        length = np.sqrt((normal * normal).sum())
        if not length > FLAT * FLAT:
            return None
        heights = (from_first * normal).sum(axis=1) / length
        fourth = int(np.abs(heights).argmax())
        if not abs(heights[fourth]) > 1e-9:
            return None
        p, q, r, s = 0, second, third, fourth
        if heights[fourth] > 0.0:
            q, r = r, q
        hull = InnerHull(points, np.array([[p, q, r], [p, s, q], [q, s, r], [r, s, p]]))
        for index in range(len(points)):
            if index not in (p, q, r, s):
                hull._cover(index)
        return hull

    def nearest_face(self) -> tuple[Array, float]:
        """Outward normal and height over the origin of the face nearest to it."""
        k = int(self.offsets.argmin())
        return self.normals[k], float(self.offsets[k])

    def add(self, point: Array) -> bool:
        """Grow to a point; False when it is not outside, or too near a face to tell."""
        self.points = np.concatenate([self.points, point[None]])
        return self._cover(len(self.points) - 1)

    def _cover(self, index: int) -> bool:
        height = (self.normals * self.points[index]).sum(axis=1) - self.offsets
        if not height.max() > FLAT:
            return False
        # faces in the same plane go too, else slivers of no area would stay
        seen = height > -FLAT
        gone = self.faces[seen]
        edges = {(int(f[i]), int(f[i - 2])) for f in gone for i in range(3)}
        rim = [(i, j) for i, j in sorted(edges) if (j, i) not in edges]
        if not rim:
            return False
        fresh = np.array([[i, j, index] for i, j in rim])
        normals, offsets = self._planes(fresh)
        if not np.isfinite(offsets).all():
            return False
        self.faces = np.concatenate([self.faces[~seen], fresh])
        self.normals = np.concatenate([self.normals[~seen], normals])
        self.offsets = np.concatenate([self.offsets[~seen], offsets])
        return True

    def _planes(self, faces: Index) -> tuple[Array, Array]:
        first, second, third = (self.points[faces[:, i]] for i in (0, 1, 2))
        edge, other = second - first, third - first
        # written out: numpy's own takes ten times as long on a few rows
        normal: Array = np.empty_like(edge)
        for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
            normal[:, i] = edge[:, j] * other[:, k] - edge[:, k] * other[:, j]
        length = np.sqrt((normal * normal).sum(axis=1))
        # no area, no normal: infinite offsets make the caller refuse the faces
        normal = normal / np.where(length > 1e-18, length, np.nan)[:, None]
        return normal, (normal * first).sum(axis=1)
