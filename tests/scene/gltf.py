"""A plain reader of GLB files, for tests: nodes, their poses, and what an animation does."""

import json
import struct

import numpy as np

Z_UP_FROM_Y_UP = np.array([[1.0, 0, 0, 0], [0, 0, -1, 0], [0, 1, 0, 0], [0, 0, 0, 1]])


class Gltf:
    def __init__(self, content: bytes) -> None:
        magic, version, length = struct.unpack_from("<4sII", content)
        assert (magic, version, length) == (b"glTF", 2, len(content))
        size, kind = struct.unpack_from("<I4s", content, 12)
        assert kind == b"JSON"
        self.head = json.loads(content[20 : 20 + size])
        self.binary = content[20 + size + 8 :]
        self.nodes = self.head["nodes"]
        self.parent = {c: p for p, n in enumerate(self.nodes) for c in n.get("children", ())}

    def names(self):
        return [node["name"] for node in self.nodes]

    def values(self, accessor: int) -> np.ndarray:
        entry = self.head["accessors"][accessor]
        view = self.head["bufferViews"][entry["bufferView"]]
        width = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}[entry["type"]]
        kind = {5126: "<f4", 5125: "<u4"}[entry["componentType"]]
        flat = np.frombuffer(self.binary, kind, entry["count"] * width, view["byteOffset"])
        return flat.reshape(entry["count"], width).astype(float)

    def instants(self) -> np.ndarray:
        return self.values(self.head["animations"][0]["samplers"][0]["input"])[:, 0]

    def pose(self, name: str, key: int | None = None) -> np.ndarray:
        """World pose (z up) of a node as it stands, or at an instant of the animation."""
        index = self.names().index(name)
        matrix = np.eye(4)
        while index is not None:
            matrix = self._local(index, key) @ matrix
            index = self.parent.get(index)
        return Z_UP_FROM_Y_UP @ matrix

    def _local(self, index: int, key: int | None) -> np.ndarray:
        node = dict(self.nodes[index])
        if key is not None:
            animation = self.head["animations"][0]
            for channel in animation["channels"]:
                if channel["target"]["node"] == index:
                    output = animation["samplers"][channel["sampler"]]["output"]
                    node[channel["target"]["path"]] = self.values(output)[key]
        matrix = np.eye(4)
        matrix[:3, 3] = node.get("translation", (0, 0, 0))
        x, y, z, w = node.get("rotation", (0, 0, 0, 1))
        matrix[:3, :3] = [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
        return matrix

    def corners(self, name: str) -> np.ndarray:
        """Points of a node's mesh in its own frame."""
        mesh = self.head["meshes"][self.nodes[self.names().index(name)]["mesh"]]
        parts = [self.values(p["attributes"]["POSITION"]) for p in mesh["primitives"]]
        return np.concatenate(parts)
