"""Mass, centre of gravity and inertia of solids, and of several solids together.

Source: every formula here is in Goldstein, Poole and Safko, Classical Mechanics, 3rd ed.
(2002), sections 5.3 and 5.4, from memory, where no other source stands beside it.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from .bodies import Body, Box, Capsule, Cylinder, Hull, Mesh, Shape, frozen
from .frames import Array

_CANONICAL = (np.ones((3, 3)) + np.eye(3)) / 120.0  # second moments of the unit tetrahedron


@dataclass(frozen=True, slots=True, eq=False)
class MassProperties:
    """Mass properties in some frame.

    Attributes:
        mass: [kg].
        centre: Centre of gravity, shape (3,) [m].
        inertia: About the centre of gravity, axes parallel to the frame's, shape (3, 3)
            [kg m2]; products of inertia carry the minus sign (-sum of m x y).
    """

    mass: float
    centre: Array
    inertia: Array

    def moved(self, outer_from_frame: Array) -> "MassProperties":
        """The same solid in an outer frame; the pose has shape (4, 4)."""
        rotation = outer_from_frame[:3, :3]
        centre = rotation @ self.centre + outer_from_frame[:3, 3]
        return MassProperties(
            self.mass, frozen(centre), frozen(rotation @ self.inertia @ rotation.T)
        )

    def about(self, point: Array) -> Array:
        """Inertia about another point, shape (3,) to (3, 3) [kg m2]: parallel axes (Steiner)."""
        return self.inertia + self.mass * _spread(self.centre - point)

    def scaled(self, mass: float) -> "MassProperties":
        """The same solid with its density changed to give another mass [kg]."""
        return MassProperties(mass, self.centre, frozen(self.inertia * (mass / self.mass)))


def _spread(r: Array) -> Array:
    """Inertia of a unit mass at r about the origin, shape (3, 3)."""
    return np.eye(3) * (r * r).sum() - np.multiply.outer(r, r)


def combined(parts: Iterable[MassProperties]) -> MassProperties:
    """Mass properties of parts, all in one frame, taken together.

    Raises:
        ValueError: If there are no parts, or none has a mass.
    """
    listed = list(parts)
    mass = sum(part.mass for part in listed)
    if not mass > 0.0:
        raise ValueError("nothing with a mass to put together")
    centre = sum((part.mass * part.centre for part in listed), np.zeros(3)) / mass
    inertia = sum((part.about(centre) for part in listed), np.zeros((3, 3)))
    return MassProperties(mass, frozen(centre), frozen(inertia))


def solid_box(mass: float, size: tuple[float, float, float]) -> MassProperties:
    """A box of even density centred on its frame; size: edge lengths [m].

    Source: any handbook of mechanics: m (b2 + c2) / 12 about the axis along a.
    """
    a, b, c = (edge * edge for edge in size)
    return MassProperties(
        mass, frozen(np.zeros(3)), frozen(np.diag([b + c, a + c, a + b]) * mass / 12.0)
    )


def even_density(body: Body) -> MassProperties:
    """A body filled evenly with a density of 1 kg/m3, in the frame it is fixed in.

    A mesh that is not closed has no inside: it counts as the box around it.
    """
    return _of_shape(body.shape).moved(body.pose)


def _of_shape(shape: Shape) -> MassProperties:
    if isinstance(shape, Box):
        x, y, z = (2.0 * float(half) for half in shape.half)
        return solid_box(x * y * z, (x, y, z))
    if isinstance(shape, Cylinder):
        return _cylinder(shape.radius, shape.half)
    if isinstance(shape, Capsule):
        return _capsule(shape.radius, shape.half)
    if isinstance(shape, Hull):
        return _polyhedron(_facets(shape.vertices))
    if shape.closed:
        return _polyhedron(shape.triangles)
    return _around(shape)


def _cylinder(radius: float, half: float) -> MassProperties:
    mass = np.pi * radius**2 * 2.0 * half
    across = mass * (radius**2 / 4.0 + half**2 / 3.0)
    return MassProperties(
        mass, frozen(np.zeros(3)), frozen(np.diag([across, across, mass * radius**2 / 2.0]))
    )


def _capsule(radius: float, half: float) -> MassProperties:
    """A cylinder and two half balls, whose centres lie 3/8 of the radius beyond its ends."""
    ball = 4.0 / 3.0 * np.pi * radius**3
    tube = _cylinder(radius, half)
    out = half + 0.375 * radius
    own = ball * radius**2 * (0.4 - 0.375**2)  # across, about the half balls' own centres
    across = tube.inertia[0, 0] + own + ball * out**2
    along = tube.inertia[2, 2] + 0.4 * ball * radius**2
    inertia = np.diag([across, across, along])
    return MassProperties(tube.mass + ball, frozen(np.zeros(3)), frozen(inertia))


def _facets(vertices: Array) -> Array:
    """Triangles of a convex hull, wound outwards, shape (n, 3, 3)."""
    # Slow to import, and few tools have hulls.
    from scipy.spatial import ConvexHull

    triangles = vertices[ConvexHull(vertices).simplices]
    middle = vertices.mean(axis=0)
    normals = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    inward = (normals * (triangles[:, 0] - middle)).sum(axis=1) < 0.0
    triangles[inward] = triangles[inward][:, ::-1]
    return triangles


def _polyhedron(triangles: Array) -> MassProperties:
    """The inside of closed triangles, shape (n, 3, 3): tetrahedra from the origin, added up.

    Source: Blow and Binstock, How to find the inertia tensor of a 3D solid body (2004).
    """
    if np.linalg.det(triangles).sum() < 0.0:  # wound inwards throughout
        triangles = triangles[:, ::-1]
    volumes = np.linalg.det(triangles) / 6.0
    mass = float(volumes.sum())
    centre = (volumes[:, None] * triangles.sum(axis=1)).sum(axis=0) / (4.0 * mass)
    from_centre = triangles - centre
    rows = np.swapaxes(from_centre, 1, 2)
    determinants = np.linalg.det(from_centre)[:, None, None]
    second = (determinants * (rows @ _CANONICAL @ from_centre)).sum(axis=0)
    inertia = np.eye(3) * np.trace(second) - second
    return MassProperties(mass, frozen(centre), frozen(inertia))


def _around(mesh: Mesh) -> MassProperties:
    """The box around a mesh."""
    points = mesh.triangles.reshape(-1, 3)
    low, high = points.min(axis=0), points.max(axis=0)
    x, y, z = (float(edge) for edge in high - low)
    box = solid_box(max(x * y * z, 1e-9), (x, y, z))
    return MassProperties(box.mass, frozen((low + high) / 2), box.inertia)
