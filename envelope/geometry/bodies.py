"""Solids: what they are made of, before anything moves.

A `Body` is a named solid fixed in some frame (a link, the tool, the world).
Boxes, capsules, cylinders and hulls are convex and are kept as what they are;
a mesh is all its triangles and, when closed, its inside.
"""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from .frames import Array


def frozen(values: Any) -> Array:
    """A read-only copy of an array of floats."""
    array = np.array(values, dtype=float)
    array.setflags(write=False)
    return array


@dataclass(frozen=True, slots=True, eq=False)
class Box:
    """Box centred on its frame; half: half edge lengths, shape (3,) [m]."""

    half: Array


@dataclass(frozen=True, slots=True, eq=False)
class Capsule:
    """All points within radius [m] of the segment from (0, 0, -half) to (0, 0, half)."""

    radius: float
    half: float


@dataclass(frozen=True, slots=True, eq=False)
class Cylinder:
    """Circular cylinder about z, from -half to half [m]."""

    radius: float
    half: float


@dataclass(frozen=True, slots=True, eq=False)
class Hull:
    """Convex hull of points; vertices: shape (n, 3) [m], corners only."""

    vertices: Array


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """Triangles, shape (n, 3, 3) [m]; closed: they bound a solid, which counts as well."""

    triangles: Array
    closed: bool


Shape = Box | Capsule | Cylinder | Hull | Mesh


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """A named solid; pose: frame_from_shape, shape (4, 4)."""

    name: str
    shape: Shape
    pose: Array = field(default_factory=lambda: frozen(np.eye(4)))
