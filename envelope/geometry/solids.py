"""A table of convex parts, as arrays: what the distance routines work on.

Boxes, capsules and spheres are one kind (a core box with rounding), cylinders
and hulls are themselves, and a mesh is its triangles, one part each.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .bodies import Body, Box, Capsule, Cylinder, Hull, Mesh, Shape
from .frames import Array

Index = NDArray[np.intp]

ROUNDED_BOX = 0
"""Core box with half extents `half`, some of which may be 0, grown by `radius`."""
CYLINDER = 1
"""Circular cylinder about z: half[2] and `radius`."""
HULL = 2
"""Convex hull of the vertices in `hulls[row]`."""
TRIANGLE = 3
"""The flat triangle `triangles[row]`, a piece of a mesh."""


@dataclass(frozen=True, slots=True, eq=False)
class Solids:
    """Structure-of-arrays table of n convex parts.

    Attributes:
        kind: ROUNDED_BOX, CYLINDER, HULL or TRIANGLE, shape (n,).
        half: half extents of the core box or the cylinder, else 0, shape (n, 3) [m].
        radius: rounding or cylinder radius, else 0, shape (n,) [m].
        row: row of a hull in `hulls`, of a triangle in `triangles`, shape (n,).
        hulls: vertices, component first, short ones padded by repeating
            the last vertex, shape (h, 3, K) [m].
        triangles: corners, component first, shape (t, 3, 3): triangle, component, corner [m].
        rotation: owner_from_part, shape (n, 3, 3).
        position: owner_from_part, shape (n, 3) [m].
        owner: index of the body each part came from, shape (n,).
        box_centre: centre of a bounding box in the part frame, shape (n, 3) [m].
        box_half: its half extents, rounding included, shape (n, 3) [m].
    """

    kind: NDArray[np.int8]
    half: Array
    radius: Array
    row: Index
    hulls: Array
    triangles: Array
    rotation: Array
    position: Array
    owner: Index
    box_centre: Array
    box_half: Array

    def __post_init__(self) -> None:
        """Make every array read-only."""
        for name in self.__slots__:
            getattr(self, name).setflags(write=False)

    def __len__(self) -> int:
        """Count of parts."""
        return len(self.kind)

    @staticmethod
    def of(bodies: Sequence[Body]) -> "Solids":
        """The parts of bodies, in order; a mesh becomes one part for each triangle."""
        shapes = [body.shape for body in bodies]
        counts = [len(s.triangles) if isinstance(s, Mesh) else 1 for s in shapes]
        owner = np.repeat(np.arange(len(shapes)), counts)
        kind = np.array([_KINDS[type(shape)] for shape in shapes], np.int8)[owner]
        cores = np.array([_core(shape) for shape in shapes]).reshape(-1, 7)[owner]
        poses = np.array([body.pose for body in bodies]).reshape(-1, 4, 4)[owner]
        hulls = _side_by_side([s.vertices for s in shapes if isinstance(s, Hull)])
        flat = [np.asarray(s.triangles, float) for s in shapes if isinstance(s, Mesh)]
        triangles = np.swapaxes(np.concatenate([np.zeros((0, 3, 3)), *flat]), 1, 2)
        half = cores[:, :3].copy()
        box_centre, box_half = np.zeros_like(half), half + cores[:, 4:]
        row = np.zeros(len(owner), np.intp)
        for pointed, corners in ((HULL, hulls), (TRIANGLE, triangles)):
            mine = kind == pointed
            low, high = corners.min(axis=2), corners.max(axis=2)
            box_centre[mine], box_half[mine] = (low + high) / 2, (high - low) / 2
            row[mine] = np.arange(len(corners))
        return Solids(
            kind=kind,
            half=half,
            radius=cores[:, 3].copy(),
            row=row,
            hulls=hulls,
            triangles=np.ascontiguousarray(triangles),
            rotation=poses[:, :3, :3].copy(),
            position=poses[:, :3, 3].copy(),
            owner=owner,
            box_centre=box_centre,
            box_half=box_half,
        )

    def take(self, index: Any) -> "Solids":
        """The parts at an index array or mask, in that order; vertex tables are shared."""
        chosen = {name: getattr(self, name)[index] for name in _PER_PART}
        return Solids(hulls=self.hulls, triangles=self.triangles, **chosen)


_PER_PART = (
    "kind",
    "half",
    "radius",
    "row",
    "rotation",
    "position",
    "owner",
    "box_centre",
    "box_half",
)


_KINDS: dict[type[Shape], int] = {
    Box: ROUNDED_BOX,
    Capsule: ROUNDED_BOX,
    Cylinder: CYLINDER,
    Hull: HULL,
    Mesh: TRIANGLE,
}


def _core(shape: Shape) -> tuple[float, ...]:
    """Half extents of a core, radius, and by how much a box around both is larger: 7 numbers."""
    if isinstance(shape, Box):
        x, y, z = np.asarray(shape.half, float).tolist()
        return x, y, z, 0.0, 0.0, 0.0, 0.0
    if isinstance(shape, Capsule | Cylinder):
        radius, half = float(shape.radius), float(shape.half)
        return 0.0, 0.0, half, radius, radius, radius, radius * isinstance(shape, Capsule)
    return (0.0,) * 7


def _side_by_side(hulls: Sequence[Array]) -> Array:
    """Vertices of hulls, shape (h, 3, K), short ones padded by their last vertex."""
    most = max((len(vertices) for vertices in hulls), default=1)
    table = np.zeros((len(hulls), 3, most))
    for row, vertices in zip(table, hulls, strict=True):
        row[:, : len(vertices)] = np.asarray(vertices, float).T
        row[:, len(vertices) :] = row[:, len(vertices) - 1 : len(vertices)]
    return table


def bounds(solids: Solids, index: Index, rotation: Array, position: Array) -> tuple[Array, Array]:
    """Axis-aligned boxes around parts at poses.

    Errs: never too small by more than rounding; exact but for hulls, which
    are bounded through the box in their part frame.

    Args:
        solids: the table.
        index: parts, shape (m,).
        rotation: frame_from_part, shape (m, 3, 3).
        position: frame_from_part, shape (m, 3) [m].

    Returns:
        Lowest and highest corners, each of shape (m, 3) [m].
    """
    kind = solids.kind[index]
    matrix = np.abs(rotation)
    centre = position + _turned(rotation, solids.box_centre[index])
    extent = _turned(matrix, solids.box_half[index])
    core = _turned(matrix, solids.half[index])
    radius = solids.radius[index][:, None]
    extent = np.where((kind == ROUNDED_BOX)[:, None], core + radius, extent)
    across = np.sqrt(rotation[:, :, 0] ** 2 + rotation[:, :, 1] ** 2)
    extent = np.where((kind == CYLINDER)[:, None], core + radius * across, extent)
    low, high = centre - extent, centre + extent
    flat = np.flatnonzero(kind == TRIANGLE)
    if len(flat):
        corners = solids.triangles[solids.row[index[flat]]]
        moved = np.stack([_turned(rotation[flat], corners[:, :, k]) for k in range(3)])
        low[flat] = position[flat] + moved.min(axis=0)
        high[flat] = position[flat] + moved.max(axis=0)
    # a pose that is no number may be anywhere: a cull must not drop it
    low = np.where(np.isfinite(low), low, -np.inf)
    return low, np.where(np.isfinite(high), high, np.inf)


def _turned(matrix: Array, vector: Array) -> Array:
    return (
        matrix[:, :, 0] * vector[:, None, 0]
        + matrix[:, :, 1] * vector[:, None, 1]
        + matrix[:, :, 2] * vector[:, None, 2]
    )
