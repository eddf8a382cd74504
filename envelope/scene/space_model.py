"""The operating space as a 3D model: GLB for viewers, STL for CAD. No OpenGL is needed."""

import struct

import numpy as np

from .. import __version__
from ..geometry.frames import Array
from ..geometry.voxels import Index
from .colours import SWEPT
from .export import GLTF_FROM_WORLD
from .glb import Glb
from .surfaces import Surface

_HEADER = 80  # [byte] of a binary STL file


def glb(points: Array, triangles: Index, about: dict[str, str]) -> bytes:
    """Binary glTF: one node called `operating space`; lengths in metres, y up.

    Args:
        points: Shape (n, 3) [m].
        triangles: Corners, counter-clockwise from outside, shape (m, 3).
        about: What is said with the node: notes, the caution.
    """
    file = Glb(f"envelope {__version__}")
    mesh = file.mesh("operating space", [(_flat(points, triangles), SWEPT)])
    root = file.node("operating space", GLTF_FROM_WORLD, mesh=mesh, extras=about)
    return file.bytes(root, "")


def stl(points: Array, triangles: Index, header: str) -> bytes:
    """Binary STL in mm, z up. Source: the format of 3D Systems, 1988, from memory."""
    corners = points[triangles] * 1e3
    rows = np.zeros(
        len(triangles),
        dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")],
    )
    rows["normal"] = _normals(points, triangles)
    rows["corners"] = corners
    text = header.encode("ascii", "replace")[:_HEADER].ljust(_HEADER, b" ")
    return text + struct.pack("<I", len(triangles)) + rows.tobytes()


def _normals(points: Array, triangles: Index) -> Array:
    corners = points[triangles]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return across / np.sqrt((across * across).sum(axis=1, keepdims=True))


def _flat(points: Array, triangles: Index) -> Surface:
    """Flat shading: the points once for each of the six ways that faces look."""
    normals = np.round(_normals(points, triangles)) + 0.0
    vertices = triangles.reshape(-1, 1).astype(float)
    rows = np.column_stack([vertices, np.repeat(normals, 3, axis=0)])
    unique, back = np.unique(rows, axis=0, return_inverse=True)
    edges = np.zeros((0, 2), dtype=np.intp)
    vertex = unique[:, 0].astype(np.intp)
    corners = back.reshape(-1, 3).astype(np.intp)
    return Surface(points[vertex], unique[:, 1:], corners, edges, True)
