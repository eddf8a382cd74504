"""Bodies that start inside a closed mesh: its triangles alone would not notice them."""

import numpy as np

from ..geometry.bodies import Mesh
from ..geometry.distance import inside_mesh
from ..geometry.frames import Array, invert
from ..geometry.queries import Pairs
from ..geometry.solids import HULL, TRIANGLE, Solids
from .cast import Cast


def closed_meshes(cast: Cast) -> list[int]:
    """Indices of the bodies that are closed meshes."""
    return [
        index
        for index, body in enumerate(cast.bodies)
        if isinstance(body.shape, Mesh) and body.shape.closed
    ]


def starting_inside(cast: Cast, frames: Array, pairs: Pairs) -> dict[int, int]:
    """Queries in which a body starts inside a closed mesh, or has one of its own inside.

    A body cannot get inside without crossing the surface, and crossings are found by the
    triangles; so one look at the start of each segment is enough.

    Args:
        cast: All bodies.
        frames: Link poses at the start of each segment, shape (segments, links, 4, 4).
        pairs: What is watched.

    Returns:
        The other body, by query.
    """
    owner, inside = cast.parts.owner, dict[int, int]()
    for mesh in closed_meshes(cast):
        for around, within in ((pairs.first, pairs.second), (pairs.second, pairs.first)):
            rows = np.flatnonzero(owner[around] == mesh)
            cases = np.stack([pairs.segment[rows], within[rows], pairs.query[rows]], axis=1)
            for segment, part, query in np.unique(cases, axis=0).tolist():
                if query not in inside and _is_inside(cast, frames[segment], mesh, part):
                    inside[query] = int(owner[part]) if around is pairs.first else mesh
    return inside


def _is_inside(cast: Cast, frames: Array, mesh: int, part: int) -> bool:
    """Whether a point of a part lies inside a closed mesh, at link poses (links, 4, 4)."""
    parts, shape = cast.parts, cast.bodies[mesh].shape
    if not isinstance(shape, Mesh):
        return False
    centre = parts.rotation[part] @ _inner_point(parts, part) + parts.position[part]
    link = frames[cast.link[part]]
    point = link[:3, :3] @ centre + link[:3, 3]
    around = frames[cast.actors[mesh].link] @ cast.bodies[mesh].pose
    local = invert(around) @ np.append(point, 1.0)
    corners = shape.triangles.reshape(-1, 3)
    if (local[:3] < corners.min(axis=0)).any() or (local[:3] > corners.max(axis=0)).any():
        return False
    return bool(inside_mesh(shape.triangles, local[None, :3])[0])


def _inner_point(parts: Solids, part: int) -> Array:
    """A point of a part, in its own frame: of a hull or a triangle the box's centre is none."""
    if parts.kind[part] == HULL:
        return parts.hulls[parts.row[part]].mean(axis=1)
    if parts.kind[part] == TRIANGLE:
        return parts.triangles[parts.row[part]].mean(axis=1)
    return parts.box_centre[part]
