"""Bodies as shaded triangles, for whoever draws them: a GLB viewer, or a browser."""

from dataclasses import dataclass

import numpy as np

from ..geometry.frames import Array
from .facets import SHARP, Facets, Index

_FLAT = 1e-12  # [m2]: twice the area of a triangle that has no direction
_NORMAL_DECIMALS = 4  # corners whose normals agree this well are one


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """A body as triangles whose corners carry normals.

    Attributes:
        points: Shape (n, 3) [m].
        normals: Outward unit normals at the points, shape (n, 3).
        triangles: Corners of each triangle, counter-clockwise from outside, shape (m, 3).
        edges: Ends of each sharp edge, as points, shape (e, 2).
        closed: Whether nothing but the outside can be seen.
    """

    points: Array
    normals: Array
    triangles: Index
    edges: Index
    closed: bool


def surface_of(facets: Facets) -> Surface:
    """Triangles that meet at less than the sharp angle are shaded as one round face."""
    corners = facets.points[facets.faces]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(across, axis=1)
    kept = np.flatnonzero(size > _FLAT)
    faces, across, size = facets.faces[kept], across[kept], size[kept]
    normals = _corner_normals(faces, across, across / size[:, None])
    rows = np.column_stack(
        [faces.reshape(-1, 1), np.round(normals.reshape(-1, 3), _NORMAL_DECIMALS) + 0.0]
    )
    unique, back = np.unique(rows, axis=0, return_inverse=True)
    vertex = unique[:, 0].astype(np.intp)
    first = np.full(len(facets.points), -1, dtype=np.intp)
    first[vertex[::-1]] = np.arange(len(vertex))[::-1]
    return Surface(
        facets.points[vertex],
        unique[:, 1:] / np.linalg.norm(unique[:, 1:], axis=1, keepdims=True),
        back.reshape(-1, 3).astype(np.intp),
        _sharp_edges(facets, first),
        facets.convex,
    )


def _corner_normals(faces: Index, across: Array, unit: Array) -> Array:
    """Normals at the corners of triangles, shape (m, 3, 3): the mean of those nearly as steep."""
    vertex = faces.reshape(-1)
    order = np.argsort(vertex, kind="stable")
    owner = order // 3
    starts = np.searchsorted(vertex[order], vertex, side="left")
    counts = np.searchsorted(vertex[order], vertex, side="right") - starts
    corner = np.repeat(np.arange(len(vertex)), counts)
    step = np.arange(len(corner)) - np.repeat(np.cumsum(counts) - counts, counts)
    other = owner[np.repeat(starts, counts) + step]
    alike = (unit[corner // 3] * unit[other]).sum(axis=1) >= SHARP
    total = np.zeros((len(vertex), 3))
    np.add.at(total, corner[alike], across[other[alike]])
    return (total / np.linalg.norm(total, axis=1, keepdims=True)).reshape(-1, 3, 3)


def _sharp_edges(facets: Facets, first: Index) -> Index:
    normal = facets.planes()[:, :3]
    alone = facets.beside[:, 0] == facets.beside[:, 1]
    sharp = (normal[facets.beside[:, 0]] * normal[facets.beside[:, 1]]).sum(axis=1) < SHARP
    ends = first[facets.edges[alone | sharp]]
    return ends[(ends >= 0).all(axis=1)]
