"""Distances by an independent library (coal), shape by shape: the oracle for clearances."""

import coal
import numpy as np
from scipy.spatial import ConvexHull

from envelope.geometry.bodies import Body, Box, Capsule, Cylinder, Hull, Mesh


def peer_shapes(body: Body) -> list:
    """The body's convex parts as the library's shapes, in the body's own frame."""
    shape = body.shape
    if isinstance(shape, Box):
        return [coal.Box(*(2.0 * shape.half))]
    if isinstance(shape, Capsule):
        return [coal.Capsule(shape.radius, 2.0 * shape.half)]
    if isinstance(shape, Cylinder):
        return [coal.Cylinder(shape.radius, 2.0 * shape.half)]
    if isinstance(shape, Hull):
        return [_convex(shape.vertices)]
    assert isinstance(shape, Mesh)
    return [_flat(corners) for corners in shape.triangles]


def _convex(vertices: np.ndarray) -> coal.Convex:
    hull = ConvexHull(vertices)
    points = coal.StdVec_Vec3s()
    for vertex in vertices[hull.vertices]:
        points.append(vertex)
    new = {old: k for k, old in enumerate(hull.vertices)}
    triangles = coal.StdVec_Triangle()
    for face, plane in zip(hull.simplices, hull.equations, strict=True):
        a, b, c = (vertices[k] for k in face)
        order = face if np.cross(b - a, c - a) @ plane[:3] > 0 else face[::-1]
        triangles.append(coal.Triangle(*(int(new[k]) for k in order)))
    return coal.Convex(points, triangles)


def _flat(corners: np.ndarray) -> coal.Convex:
    """A triangle: the library has no distance between its own triangle and other shapes."""
    points, sides = coal.StdVec_Vec3s(), coal.StdVec_Triangle()
    for corner in corners:
        points.append(corner)
    sides.append(coal.Triangle(0, 1, 2))
    sides.append(coal.Triangle(0, 2, 1))
    return coal.Convex(points, sides)


def signed_distance(first: list, first_pose: np.ndarray, second: list, second_pose: np.ndarray):
    """Least signed distance [m] of two lists of shapes at poses, shape (4, 4).

    Where the library gives up on how deep an overlap is, that pair of shapes is left out.
    """
    request = coal.DistanceRequest()
    request.enable_signed_distance = True
    request.gjk_tolerance = 1e-9
    request.epa_tolerance = 1e-9
    request.gjk_max_iterations = 500
    request.epa_max_iterations = 500
    one, two = _placed(first_pose), _placed(second_pose)
    found = (
        coal.distance(a, one, b, two, request, coal.DistanceResult()) for a in first for b in second
    )
    return min((value for value in found if value > -1e3), default=np.inf)


def _placed(pose: np.ndarray) -> coal.Transform3s:
    return coal.Transform3s(np.ascontiguousarray(pose[:3, :3]), pose[:3, 3].copy())
