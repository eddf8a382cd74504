"""Writes binary glTF: nodes with meshes, and one animation.

Source: The Khronos Group, glTF 2.0 Specification, version 2.0.1 (2021; ISO/IEC 12113:2022):
sections 3.6 (buffers and accessors), 3.7 (geometry), 3.11 (animations), 4.4 (the binary file).
"""

import json
import struct
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from ..geometry.frames import Array
from .colours import Colour
from .surfaces import Surface

_FLOAT, _UNSIGNED = 5126, 5125  # component types of the specification, table 3.6.2.2
_VERTICES, _INDICES = 34962, 34963  # what a view of the buffer is used for
_WORD = 4  # [byte]: everything in the file starts at a multiple of this


class Glb:
    """A scene under construction; every method returns the index of what it added."""

    def __init__(self, generator: str) -> None:
        self._asset = {"version": "2.0", "generator": generator}
        self._lists: dict[str, list[dict[str, Any]]] = {}
        self._binary = bytearray()
        self._materials: dict[tuple[Colour, bool], int] = {}
        self._samplers: list[dict[str, Any]] = []
        self._channels: list[dict[str, Any]] = []

    def node(
        self, name: str, pose: Array | None = None, parent: int | None = None, **more: Any
    ) -> int:
        """A node; pose: parent_from_node, shape (4, 4); more: "mesh" and "extras"."""
        entry: dict[str, Any] = {"name": name, **more}
        if pose is not None:
            entry["translation"] = [float(x) for x in pose[:3, 3]]
            entry["rotation"] = [float(x) for x in quaternions(pose[None, :3, :3])[0]]
        index = self._add("nodes", entry)
        if parent is not None:
            self._lists["nodes"][parent].setdefault("children", []).append(index)
        return index

    def mesh(self, name: str, parts: list[tuple[Surface, Colour]]) -> int:
        """A mesh of one or more surfaces, each in one colour."""
        primitives = [
            {
                "attributes": {
                    "POSITION": self._accessor(surface.points, "VEC3", _VERTICES, bounds=True),
                    "NORMAL": self._accessor(surface.normals, "VEC3", _VERTICES),
                },
                "indices": self._accessor(
                    surface.triangles.reshape(-1).astype(np.uint32), "SCALAR", _INDICES
                ),
                "material": self._material(colour, surface.closed),
            }
            for surface, colour in parts
        ]
        return self._add("meshes", {"name": name, "primitives": primitives})

    def times(self, seconds: Array) -> int:
        """Instants of an animation, rising, shape (n,); to be given to `channel`."""
        return self._accessor(seconds, "SCALAR", bounds=True)

    def channel(self, node: int, path: str, times: int, values: Array) -> None:
        """Let a node's "translation", (n, 3), or "rotation", (n, 4), follow values."""
        kind = "VEC4" if path == "rotation" else "VEC3"
        sampler = {
            "input": times,
            "output": self._accessor(values, kind),
            "interpolation": "LINEAR",
        }
        self._samplers.append(sampler)
        target = {"node": node, "path": path}
        self._channels.append({"sampler": len(self._samplers) - 1, "target": target})

    def bytes(self, root: int, animation: str) -> bytes:
        """The file; root: the node that holds all others."""
        head: dict[str, Any] = {"asset": self._asset, "scene": 0, "scenes": [{"nodes": [root]}]}
        head |= {name: entries for name, entries in self._lists.items() if entries}
        if self._channels:
            moving = {"name": animation, "samplers": self._samplers, "channels": self._channels}
            head["animations"] = [moving]
        head["buffers"] = [{"byteLength": len(self._binary)}]
        text = json.dumps(head, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        chunks = _chunk(b"JSON", text.encode(), b" ") + _chunk(b"BIN\0", bytes(self._binary), b"\0")
        return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks

    def _add(self, kind: str, entry: dict[str, Any]) -> int:
        entries = self._lists.setdefault(kind, [])
        entries.append(entry)
        return len(entries) - 1

    def _accessor(
        self, values: NDArray[Any], kind: str, target: int | None = None, *, bounds: bool = False
    ) -> int:
        whole = np.issubdtype(values.dtype, np.unsignedinteger)
        stored = np.ascontiguousarray(values, dtype="<u4" if whole else "<f4")
        view: dict[str, Any] = {
            "buffer": 0,
            "byteOffset": len(self._binary),
            "byteLength": stored.nbytes,
        }
        if target is not None:
            view["target"] = target
        self._binary += stored.tobytes()
        entry: dict[str, Any] = {
            "bufferView": self._add("bufferViews", view),
            "componentType": _UNSIGNED if whole else _FLOAT,
            "count": len(stored),
            "type": kind,
        }
        if bounds:
            rows = stored.reshape(len(stored), -1)
            entry["min"] = [float(x) for x in rows.min(axis=0)]
            entry["max"] = [float(x) for x in rows.max(axis=0)]
        return self._add("accessors", entry)

    def _material(self, colour: Colour, closed: bool) -> int:
        key = (colour, closed)
        if key not in self._materials:
            entry: dict[str, Any] = {
                "name": "#{:02x}{:02x}{:02x}".format(*colour),
                "pbrMetallicRoughness": {
                    "baseColorFactor": [*(linear(value) for value in colour), 1.0],
                    "metallicFactor": 0.0,
                    "roughnessFactor": 0.9,
                },
            }
            if not closed:
                entry["doubleSided"] = True
            self._materials[key] = self._add("materials", entry)
        return self._materials[key]


def _chunk(kind: bytes, content: bytes, padding: bytes) -> bytes:
    content += padding * (-len(content) % _WORD)
    return struct.pack("<I4s", len(content), kind) + content


def linear(value: int) -> float:
    """A colour component from sRGB, 0 to 255, to linear light, 0 to 1.

    Source: IEC 61966-2-1:1999, section 5.2 (as reproduced).
    """
    share = value / 255
    return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4


def quaternions(rotations: Array) -> Array:
    """Rotations, shape (n, 3, 3), as x, y, z, w, shape (n, 4), with no jump of sign."""
    found: Array = Rotation.from_matrix(rotations).as_quat()
    flips = np.where((found[1:] * found[:-1]).sum(axis=1) < 0.0, -1.0, 1.0)
    return found * np.concatenate([[1.0], np.cumprod(flips)])[:, None]
