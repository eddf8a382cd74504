"""A table of convex parts, as arrays: what the distance routines work on.

Boxes, capsules and spheres are one kind (a core box with rounding), cylinders
and hulls are themselves, and a mesh is its triangles, one part each.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .bodies import Body, Box, Capsule, Cylinder, Hull
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
        tables = [_parts(body, owner) for owner, body in enumerate(bodies)]
        return _joined(tables) if tables else _parts_of_arrays(0, np.zeros(0, np.int8))

    def take(self, index: Any) -> "Solids":
        """The parts at an index array or mask, in that order; vertex tables are shared."""
        chosen = {name: getattr(self, name)[index] for name in _PER_PART}
        return Solids(hulls=self.hulls, triangles=self.triangles, **chosen)

    @staticmethod
    def concatenate(tables: Sequence["Solids"]) -> "Solids":
        """One table after the other; owners keep counting from table to table."""
        shifted: list[Solids] = []
        start = 0
        for table in tables:
            columns = {name: getattr(table, name) for name in _PER_PART}
            columns["owner"] = table.owner + start
            shifted.append(Solids(hulls=table.hulls, triangles=table.triangles, **columns))
            start += int(table.owner.max()) + 1 if len(table) else 0
        return _joined(shifted) if shifted else Solids.of(())


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


def _parts(body: Body, owner: int) -> Solids:
    shape = body.shape
    if isinstance(shape, Box):
        table = _round_part(ROUNDED_BOX, np.asarray(shape.half, float), 0.0, np.zeros(3))
    elif isinstance(shape, Capsule):
        grown = np.full(3, shape.radius)
        table = _round_part(ROUNDED_BOX, np.array([0, 0, shape.half]), shape.radius, grown)
    elif isinstance(shape, Cylinder):
        grown = np.array([shape.radius, shape.radius, 0.0])
        table = _round_part(CYLINDER, np.array([0, 0, shape.half]), shape.radius, grown)
    elif isinstance(shape, Hull):
        table = _pointed_parts(HULL, np.asarray(shape.vertices, float)[None])
    else:
        table = _pointed_parts(TRIANGLE, np.asarray(shape.triangles, float))
    columns = {name: getattr(table, name) for name in _PER_PART}
    count = len(table)
    columns["owner"] = np.full(count, owner)
    columns["rotation"] = np.repeat(body.pose[None, :3, :3], count, axis=0)
    columns["position"] = np.repeat(body.pose[None, :3, 3], count, axis=0)
    return Solids(hulls=table.hulls, triangles=table.triangles, **columns)


def _round_part(kind: int, half: Array, radius: float, grown: Array) -> Solids:
    table = _parts_of_arrays(1, np.array([kind], np.int8))
    columns = {name: getattr(table, name) for name in _PER_PART}
    columns |= {"half": half[None].astype(float), "radius": np.array([float(radius)])}
    columns["box_half"] = columns["half"] + grown
    return Solids(hulls=table.hulls, triangles=table.triangles, **columns)


def _pointed_parts(kind: int, points: Array) -> Solids:
    """Hulls or triangles; points: shape (n, K, 3)."""
    count = len(points)
    table = _parts_of_arrays(count, np.full(count, kind, np.int8))
    columns = {name: getattr(table, name) for name in _PER_PART}
    low, high = points.min(axis=1), points.max(axis=1)
    columns |= {"box_centre": (low + high) / 2, "box_half": (high - low) / 2}
    columns["row"] = np.arange(count)
    stored = np.ascontiguousarray(np.swapaxes(points, 1, 2))
    if kind == HULL:
        return Solids(hulls=stored, triangles=table.triangles, **columns)
    return Solids(hulls=table.hulls, triangles=stored, **columns)


def _parts_of_arrays(count: int, kind: NDArray[np.int8]) -> Solids:
    return Solids(
        kind=kind,
        half=np.zeros((count, 3)),
        radius=np.zeros(count),
        row=np.zeros(count, np.intp),
        hulls=np.zeros((0, 3, 1)),
        triangles=np.zeros((0, 3, 3)),
        rotation=np.zeros((count, 3, 3)) + np.eye(3),
        position=np.zeros((count, 3)),
        owner=np.zeros(count, np.intp),
        box_centre=np.zeros((count, 3)),
        box_half=np.zeros((count, 3)),
    )


def _joined(tables: Sequence[Solids]) -> Solids:
    most = max(table.hulls.shape[2] for table in tables)
    hulls = [
        np.pad(table.hulls, ((0, 0), (0, 0), (0, most - table.hulls.shape[2])), mode="edge")
        for table in tables
    ]
    rows: list[Index] = []
    hull_start = triangle_start = 0
    for table in tables:
        shift = np.select(
            [table.kind == HULL, table.kind == TRIANGLE], [hull_start, triangle_start], 0
        )
        rows.append(table.row + shift)
        hull_start += len(table.hulls)
        triangle_start += len(table.triangles)
    columns = {
        name: np.concatenate([getattr(table, name) for table in tables])
        for name in _PER_PART
        if name != "row"
    }
    return Solids(
        row=np.concatenate(rows),
        hulls=np.concatenate(hulls),
        triangles=np.concatenate([table.triangles for table in tables]),
        **columns,
    )


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
