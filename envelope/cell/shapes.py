"""Shapes of the files as bodies, and the space they take."""

import math
from typing import Any

import numpy as np

from ..geometry.bodies import Body, Box, Capsule, Cylinder, Hull, Mesh, frozen
from ..geometry.frames import Array, pose, transform, turn
from .errors import Key
from .meshes import read_mesh
from .schema import Place, Round, Shape, Stand
from .sources import Sources
from .yaml_reading import Document

_FEW = 32  # points of a hull of which all are kept


def stand_pose(stand: Stand) -> Array:
    """world_from_thing, shape (4, 4)."""
    return pose(stand.x, stand.y, stand.z, stand.yaw)


def place_pose(place: Place) -> Array:
    """outer_from_inner, shape (4, 4): turned about the fixed axes, roll first."""
    matrix = np.eye(4)
    matrix[:3, :3] = turn("z", place.yaw) @ turn("y", place.pitch) @ turn("x", place.roll)
    matrix[:3, 3] = place.x, place.y, place.z
    return matrix


def read_shape(
    shape: Shape,
    name: str,
    document: Document,
    key: Key,
    sources: Sources,
    world_from_outer: Array | None = None,
) -> Body | None:
    """A shape as a body, in its outer frame or moved by a pose.

    Returns:
        None where the shape is wrong; the problem is then in `sources`.
    """
    made = _made(shape, name, document, key, sources)
    if made is None:
        return None
    solid, local = made
    outer = place_pose(shape.at) @ local
    if world_from_outer is not None:
        outer = world_from_outer @ outer
    return Body(name, solid, frozen(outer))


def box_body(name: str, low: Array, high: Array, world_from_outer: Array) -> Body:
    """An upright box between two corners of a frame, as a body in the world."""
    local = np.eye(4)
    local[:3, 3] = (low + high) / 2
    return Body(name, Box(frozen((high - low) / 2)), frozen(world_from_outer @ local))


def _made(
    shape: Shape, name: str, document: Document, key: Key, sources: Sources
) -> tuple[Box | Capsule | Cylinder | Hull | Mesh, Array] | None:
    if shape.box is not None:
        return Box(frozen(np.array(shape.box) / 2)), np.eye(4)
    if shape.block is not None:
        return Box(frozen(np.array(shape.block) / 2)), pose(z=shape.block[2] / 2)
    for kind, round_ in ((Cylinder, shape.cylinder), (Capsule, shape.capsule)):
        if round_ is not None:
            length = math.dist(round_.from_, round_.to)
            return kind(round_.diameter / 2, length / 2), _between(round_)
    if shape.hull is not None:
        corners = _corners(np.array(shape.hull).reshape(-1, 3))
        if corners is None:
            found = "the points lie in one plane, or are fewer than four"
            sources.add(document.problem((*key, "hull"), found, "write points around a solid"))
            return None
        return Hull(corners), np.eye(4)
    here: Key = (*key, "mesh")
    mesh = read_mesh(str(shape.mesh), shape.mesh_unit, name, document, here, sources)
    return None if mesh is None else (mesh, np.eye(4))


def _between(round_: Round) -> Array:
    """Pose whose z runs from one end to the other, at their middle."""
    start, end = np.array(round_.from_), np.array(round_.to)
    z = (end - start) / np.linalg.norm(end - start)
    helper = np.eye(3)[int(np.argmin(np.abs(z)))]
    x = np.cross(helper, z)
    x /= np.linalg.norm(x)
    matrix = np.eye(4)
    matrix[:3, :3] = np.column_stack([x, np.cross(z, x), z])
    matrix[:3, 3] = (start + end) / 2
    return matrix


def _corners(points: Array) -> Array | None:
    """Points with the convex hull of the given ones; None where they span no solid.

    Of many points only the corners are kept; of few all, as what lies inside changes nothing.
    """
    if len(points) < 4 or np.linalg.matrix_rank(points[1:] - points[0], tol=1e-6) < 3:
        return None
    if len(points) <= _FEW:
        return frozen(points)
    # Slow to import, and few files have hulls of so many points.
    from scipy.spatial import ConvexHull, QhullError  # pyright: ignore[reportMissingTypeStubs]

    try:
        corners: Any = ConvexHull(points).vertices
    except QhullError:  # too thin for its size
        return None
    return frozen(points[np.sort(corners)])


def bounds(body: Body, frame_from_outer: Array | None = None) -> Array:
    """Bounding box of a body in a frame, shape (2, 3): lower and upper corner [m].

    Exact for every kind of shape.
    """
    outer = np.eye(4) if frame_from_outer is None else frame_from_outer
    matrix, shape = outer @ body.pose, body.shape
    if isinstance(shape, Hull | Mesh):
        points = shape.vertices if isinstance(shape, Hull) else shape.triangles.reshape(-1, 3)
        moved = transform(matrix, points)
        return np.stack([moved.min(axis=0), moved.max(axis=0)])
    rotation, centre = matrix[:3, :3], matrix[:3, 3]
    if isinstance(shape, Box):
        reach = np.abs(rotation) @ shape.half
    elif isinstance(shape, Capsule):
        reach = np.abs(rotation[:, 2]) * shape.half + shape.radius
    else:
        across = np.sqrt(np.clip(1.0 - rotation[:, 2] ** 2, 0.0, None))
        reach = np.abs(rotation[:, 2]) * shape.half + across * shape.radius
    return np.stack([centre - reach, centre + reach])
