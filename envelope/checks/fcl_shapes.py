"""Bodies as shapes of python-fcl, as they are or made smaller all around.

A body made smaller by d keeps the points whose ball of radius d lies inside. Two bodies of
which one is convex and that overlap by less than d come apart when it is made smaller by d.
"""

from functools import cache
from importlib import import_module
from typing import Any

import numpy as np
from scipy import optimize
from scipy.spatial import ConvexHull, HalfspaceIntersection

from ..geometry.bodies import Body, Box, Capsule, Cylinder, Hull, Mesh, Shape
from ..geometry.frames import Array


@cache
def engine() -> Any:
    """The module of python-fcl, which is loaded when it is asked and not before."""
    return import_module("fcl")


def shape_of(body: Body, smaller: float = 0.0) -> Any:
    """The shape for python-fcl.

    Meshes are hollow: what is wholly inside one does not touch it.

    Args:
        body: The body; its pose is left out.
        smaller: By how much it is made smaller all around [m].

    Returns:
        A collision geometry, or None where nothing is left of the body.

    Raises:
        ValueError: A mesh cannot be made smaller.
    """
    fcl = engine()
    shape = body.shape
    if isinstance(shape, Mesh):
        if smaller:
            raise ValueError(f"{body.name}: a mesh cannot be made smaller")
        return _mesh(shape.triangles)
    if isinstance(shape, Hull):
        vertices = shape.vertices if not smaller else _eroded(shape.vertices, smaller)
        return None if vertices is None else _hull(vertices)
    least = _thickness(shape)
    if smaller and least <= smaller:
        return None
    if isinstance(shape, Box):
        return fcl.Box(*(2.0 * (shape.half - smaller)))
    if isinstance(shape, Capsule):
        return fcl.Capsule(shape.radius - smaller, 2.0 * shape.half)
    return fcl.Cylinder(shape.radius - smaller, 2.0 * (shape.half - smaller))


def _thickness(shape: Shape) -> float:
    """Half the least thickness of a body with a formula [m]."""
    if isinstance(shape, Box):
        return float(shape.half.min())
    if isinstance(shape, Cylinder):
        return min(shape.radius, shape.half)
    return shape.radius if isinstance(shape, Capsule) else 0.0


def _mesh(triangles: Array) -> Any:
    fcl = engine()
    model = fcl.BVHModel()
    model.beginModel(len(triangles), 3 * len(triangles))
    model.addSubModel(triangles.reshape(-1, 3), np.arange(3 * len(triangles)).reshape(-1, 3))
    model.endModel()
    return model


def _hull(vertices: Array) -> Any:
    """A convex shape of triangles that all face outwards."""
    fcl = engine()
    hull = ConvexHull(vertices)
    points = vertices[hull.vertices]
    number = {int(old): new for new, old in enumerate(hull.vertices)}
    faces: list[int] = []
    for simplex, plane in zip(hull.simplices, hull.equations, strict=True):
        a, b, c = (vertices[k] for k in simplex)
        outwards = float((np.cross(b - a, c - a) * plane[:3]).sum()) > 0.0
        corners = [number[int(k)] for k in simplex]
        faces += [3, *(corners if outwards else corners[::-1])]
    return fcl.Convex(points, len(hull.simplices), np.array(faces))


def _eroded(vertices: Array, smaller: float) -> Array | None:
    """Corners of a hull whose faces are moved inwards; None where nothing is left."""
    planes = ConvexHull(vertices).equations
    planes = planes + np.array([0.0, 0.0, 0.0, smaller])
    # the centre of the largest ball inside
    found: Any = optimize.linprog(
        [0.0, 0.0, 0.0, -1.0],
        A_ub=np.column_stack([planes[:, :3], np.ones(len(planes))]),
        b_ub=-planes[:, 3],
        bounds=[(None, None)] * 3 + [(0.0, None)],
    )
    if not found.success or found.x[3] <= 1e-7:
        return None
    return np.asarray(HalfspaceIntersection(planes, found.x[:3]).intersections, dtype=float)
