"""Bodies as flat facets, for drawing and for asking what hides what."""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from ..geometry.bodies import Body, Box, Capsule, Cylinder, Hull
from ..geometry.frames import Array, transform
from .polyhedra import hull_of_few, turned

Index = NDArray[np.intp]
Mask = NDArray[np.bool_]

_AROUND = 36  # corners of a circle, as drawn
_ALONG = 8  # rings of a half-sphere, as drawn
SHARP = float(np.cos(np.radians(28.0)))  # facets that meet at a larger angle show an edge


class FlatError(ValueError):
    """Points span no solid."""


@dataclass(frozen=True, slots=True, eq=False)
class Facets:
    """A body as triangles.

    Attributes:
        points: Shape (n, 3) [m].
        faces: Corners of each triangle, counter-clockwise from outside, shape (m, 3).
        edges: Ends of each edge, shape (e, 2).
        beside: The triangles on both sides of each edge, shape (e, 2); twice the same one
            where there is no other.
        convex: Whether the body is all that lies behind its triangles.
    """

    points: Array
    faces: Index
    edges: Index
    beside: Index
    convex: bool = True

    def moved(self, matrix: Array) -> "Facets":
        """The same at a pose, shape (4, 4)."""
        return Facets(
            transform(matrix, self.points), self.faces, self.edges, self.beside, self.convex
        )

    def planes(self) -> Array:
        """Outward unit normals and offsets of all triangles, shape (m, 4): n.x + d <= 0."""
        corners = self.points[self.faces]
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        length = np.linalg.norm(normal, axis=1, keepdims=True)
        normal = normal / np.maximum(length, 1e-15)
        offset = -(normal * corners[:, 0]).sum(axis=1)
        return np.column_stack([normal, offset])

    def lines(self, towards: Array) -> Index:
        """Edges to be drawn when looked at along a direction: sharp ones and the outline.

        Args:
            towards: Direction of view, shape (3,).

        Returns:
            Ends of the edges, shape (k, 2).
        """
        normal = self.planes()[:, :3]
        first, second = normal[self.beside[:, 0]], normal[self.beside[:, 1]]
        alone = self.beside[:, 0] == self.beside[:, 1]
        sharp = (first * second).sum(axis=1) < SHARP
        outline = ((first @ towards) < 0.0) != ((second @ towards) < 0.0)
        return self.edges[alone | sharp | outline]


def facets_of(body: Body) -> Facets:
    """The facets of a body, in the frame in which it is fixed."""
    shape = body.shape
    if isinstance(shape, Box):
        unit = _unit_box()
        facets = Facets(unit.points * shape.half, unit.faces, unit.edges, unit.beside, True)
    elif isinstance(shape, Capsule):
        facets = _with_edges(*turned(_capsule(shape), _AROUND), convex=True)
    elif isinstance(shape, Cylinder):
        ends = np.array([(shape.radius, height) for height in (-shape.half, shape.half)])
        facets = _with_edges(*turned(ends, _AROUND), convex=True)
    elif isinstance(shape, Hull):
        corners = np.asarray(shape.vertices, float)
        few = hull_of_few(corners)
        facets = hull(corners) if few is None else _with_edges(*few, convex=True)
    else:
        facets = _from_triangles(np.asarray(shape.triangles, float))
    return facets.moved(body.pose)


@cache
def _unit_box() -> Facets:
    """The facets of the box with corners at +-1: those of any box, but for its size."""
    sides = (-1.0, 1.0)
    few = hull_of_few(np.array([(x, y, z) for x in sides for y in sides for z in sides]))
    assert few is not None  # a box is a solid of eight corners
    return _with_edges(*few, convex=True)


def hull(points: Array, *, edges: bool = True) -> Facets:
    """The convex hull of points, shape (n, 3) [m]; without edges where only its shade counts.

    Raises:
        FlatError: They span no solid.
    """
    # Slow to import, and few of the bodies one begins with need it.
    from scipy.spatial import ConvexHull, QhullError

    try:
        found = ConvexHull(points)
    except QhullError as error:
        raise FlatError from error
    used = np.unique(found.simplices)
    number = np.zeros(len(points), dtype=np.intp)
    number[used] = np.arange(len(used))
    faces = number[found.simplices]
    corners = points[found.simplices]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    inward = (normal * found.equations[:, :3]).sum(axis=1) < 0.0
    faces[inward] = faces[inward][:, ::-1]
    if not edges:
        nothing = np.zeros((0, 2), dtype=np.intp)
        return Facets(points[used], faces, nothing, nothing)
    return _with_edges(points[used], faces, convex=True)


def _capsule(shape: Capsule) -> Array:
    """Radius and height of its rings, from the foot up."""
    rise = np.linspace(0.0, np.pi / 2, _ALONG, endpoint=False)
    cap = np.column_stack([np.append(np.cos(rise), 0.0), np.append(np.sin(rise), 1.0)])
    cap = cap * shape.radius + np.array([0.0, shape.half])
    foot = cap[::-1] if shape.half > 0.0 else cap[:0:-1]  # a ball has one ring in its middle
    return np.concatenate([foot * [1.0, -1.0], cap])


def _from_triangles(triangles: Array) -> Facets:
    corners = np.round(triangles.reshape(-1, 3), 7)
    points, back = np.unique(corners, axis=0, return_inverse=True)
    faces = back.reshape(-1, 3).astype(np.intp)
    return _with_edges(points, faces, convex=False)


def _with_edges(points: Array, faces: Index, *, convex: bool) -> Facets:
    ends = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(faces)), 3)
    edges, first, back = np.unique(ends, axis=0, return_index=True, return_inverse=True)
    beside = np.repeat(owner[first][:, None], 2, axis=1)
    beside[back.reshape(-1), 1] = np.where(
        owner != beside[back.reshape(-1), 0], owner, beside[back.reshape(-1), 1]
    )
    return Facets(points, faces, edges.astype(np.intp), beside.astype(np.intp), convex)


def crosses(facets: Facets, origin: Array, direction: Array) -> Mask:
    """Which rays meet a body ahead of their origin.

    Args:
        facets: The body.
        origin: Where the rays start, shape (n, 3) [m].
        direction: Where they go, shape (n, 3).

    Returns:
        Shape (n,).
    """
    if not facets.convex:
        return _crosses_triangles(facets, origin, direction)
    planes = np.round(facets.planes(), 9)
    room = -(origin @ planes[:, :3].T + planes[:, 3])
    rate = direction @ planes[:, :3].T
    with np.errstate(divide="ignore", invalid="ignore"):
        share = room / rate
    leaves = np.where(rate > 1e-12, share, np.inf).min(axis=1)
    enters = np.where(rate < -1e-12, share, -np.inf).max(axis=1)
    outside = ((np.abs(rate) <= 1e-12) & (room < 0.0)).any(axis=1)
    return (leaves > np.maximum(enters, 0.0) + 1e-6) & ~outside


def _crosses_triangles(facets: Facets, origin: Array, direction: Array) -> Mask:
    """As `crosses`. Source: Moeller and Trumbore, ray-triangle intersection, 1997."""
    corners = facets.points[facets.faces]
    side, other = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    hit = np.zeros(len(origin), dtype=bool)
    for row, (start, ray) in enumerate(zip(origin, direction, strict=True)):
        across = np.cross(ray, other)
        volume = (side * across).sum(axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            away = start - corners[:, 0]
            u = (away * across).sum(axis=1) / volume
            turned = np.cross(away, side)
            v = (turned @ ray) / volume
            ahead = (other * turned).sum(axis=1) / volume
        hit[row] = bool(((u >= 0) & (v >= 0) & (u + v <= 1) & (ahead > 1e-6)).any())
    return hit
