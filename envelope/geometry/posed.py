"""Parts of a table at poses in a common frame, and how far they reach along a direction."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .components import component_first, dot, rotate, rotate_back
from .frames import Array
from .solids import CYLINDER, HULL, ROUNDED_BOX, TRIANGLE, Index, Solids


@dataclass(frozen=True, slots=True, eq=False)
class Posed:
    """Parts at poses, component first.

    Attributes:
        solids: the table.
        index: parts, shape (m,).
        rotation: frame_from_part, shape (3, 3, m).
        position: frame_from_part, shape (3, m) [m].
        kind, half, radius: columns of the table at `index`; (m,), (3, m), (m,).
    """

    solids: Solids
    index: Index
    rotation: Array
    position: Array
    kind: NDArray[np.int8]
    half: Array
    radius: Array

    @staticmethod
    def of(solids: Solids, index: Any, rotation: Array, position: Array) -> "Posed":
        """From part indices (m,), rotations (m, 3, 3) and positions (m, 3)."""
        index = np.asarray(index, dtype=np.intp)
        return Posed(
            solids=solids,
            index=index,
            rotation=component_first(rotation),
            position=component_first(position),
            kind=solids.kind[index],
            half=component_first(solids.half[index]),
            radius=solids.radius[index],
        )

    def take(self, rows: Any) -> "Posed":
        """The items at rows (index array or mask)."""
        return Posed(
            self.solids,
            self.index[rows],
            np.ascontiguousarray(self.rotation[:, :, rows]),
            np.ascontiguousarray(self.position[:, rows]),
            self.kind[rows],
            np.ascontiguousarray(self.half[:, rows]),
            self.radius[rows],
        )

    def bounding_box(self) -> tuple[Array, Array, Array]:
        """Half extents (3, m), rotation (3, 3, m) and centre (3, m) of boxes around the items."""
        half = component_first(self.solids.box_half[self.index])
        centre = component_first(self.solids.box_centre[self.index])
        return half, self.rotation, self.position + rotate(self.rotation, centre)

    def rounding(self) -> Array:
        """Radius by which the core of each item is grown, shape (m,) [m]."""
        return np.where(self.kind == ROUNDED_BOX, self.radius, 0.0)


def reach(item: Posed, direction: Array) -> Array:
    """How far each item reaches from its own origin along a unit direction.

    That is: max over its points x of direction . (x - position).

    Args:
        item: m items.
        direction: unit vectors in the common frame, shape (3, m).

    Returns:
        Shape (m,) [m].
    """
    along = rotate_back(item.rotation, direction)
    return extent(item.solids, item.index, item.half, item.radius, along)


def extent(solids: Solids, index: Index, half: Array, radius: Array, along: Array) -> Array:
    """How far parts reach from their own origin along directions in their own frames.

    Args:
        solids: the table.
        index: parts, shape (m,).
        half: column of the table at `index`, shape (3, m) [m].
        radius: the same, shape (m,) [m].
        along: unit directions, shape (3, m).

    Returns:
        Shape (m,) [m].
    """
    box = dot(half, np.abs(along)) + radius
    kind = solids.kind[index]
    if not kind.any():  # ROUNDED_BOX is 0: nothing but rounded boxes
        return box
    across = np.sqrt(along[0] * along[0] + along[1] * along[1])
    cylinder = half[2] * np.abs(along[2]) + radius * across
    result = np.where(kind == CYLINDER, cylinder, box)
    for pointed in (HULL, TRIANGLE):
        rows = np.flatnonzero(kind == pointed)
        if len(rows):
            vertices = _vertices(solids, index[rows], pointed)
            result[rows] = heights(vertices, along[:, rows]).max(axis=1)
    return result


def corners(item: Posed, kind: int, rows: Index) -> Array:
    """Vertices in the part frame of the items at rows, all of one kind; (k, 3, K) [m]."""
    return _vertices(item.solids, item.index[rows], kind)


def _vertices(solids: Solids, index: Index, kind: int) -> Array:
    table = solids.hulls if kind == HULL else solids.triangles
    return table[solids.row[index]]


def heights(vertices: Array, along: Array) -> Array:
    """Heights of vertices (k, 3, K) along directions (3, k); shape (k, K)."""
    return (
        vertices[:, 0] * along[0][:, None]
        + vertices[:, 1] * along[1][:, None]
        + vertices[:, 2] * along[2][:, None]
    )


def farthest(item: Posed, direction: Array) -> Array:
    """A point of each item's core (rounding left off) farthest along a direction.

    Args:
        item: m items.
        direction: vectors of any length in the common frame, shape (3, m).

    Returns:
        Points relative to the items' positions, in the common frame, shape (3, m) [m].
    """
    along = rotate_back(item.rotation, direction)
    point = np.copysign(item.half, along)
    if item.kind.any():
        rows = np.flatnonzero(item.kind == CYLINDER)
        if len(rows):
            flat = along[:2, rows]
            across = np.sqrt(flat[0] * flat[0] + flat[1] * flat[1])
            scale = np.where(across > 0.0, item.radius[rows] / np.maximum(across, 1e-300), 0.0)
            point[:2, rows] = flat * scale
        for kind in (HULL, TRIANGLE):
            rows = np.flatnonzero(item.kind == kind)
            if len(rows):
                vertices = corners(item, kind, rows)
                best = heights(vertices, along[:, rows]).argmax(axis=1)
                point[:, rows] = np.take_along_axis(vertices, best[:, None, None], axis=2)[..., 0].T
    return rotate(item.rotation, point)
