"""Vector algebra on component-first batches: vectors (3, ...), matrices (3, 3, ...).

Every sum is written out, so that a result never depends on how many others
are computed beside it, and the batch stays the contiguous last axis.
"""

from typing import Any

import numpy as np

from .frames import Array


def component_first(values: Any) -> Array:
    """A batch (m, 3) or (m, 3, 3) as contiguous (3, m) or (3, 3, m)."""
    return np.ascontiguousarray(np.moveaxis(np.asarray(values, dtype=float), 0, -1))


def dot(first: Array, second: Array) -> Array:
    """Inner products of vectors, (3, ...) and (3, ...), to (...)."""
    return first[0] * second[0] + first[1] * second[1] + first[2] * second[2]


def cross(first: Array, second: Array) -> Array:
    """Vector products of vectors, (3, ...) and (3, ...), to (3, ...)."""
    return np.stack(
        [
            first[1] * second[2] - first[2] * second[1],
            first[2] * second[0] - first[0] * second[2],
            first[0] * second[1] - first[1] * second[0],
        ]
    )


def rotate(rotation: Array, vector: Array) -> Array:
    """Vectors (3, m) turned by rotations (3, 3, m)."""
    return rotation[:, 0] * vector[0] + rotation[:, 1] * vector[1] + rotation[:, 2] * vector[2]


def rotate_back(rotation: Array, vector: Array) -> Array:
    """Vectors (3, m) turned by the inverses of rotations (3, 3, m)."""
    return rotation[0] * vector[0] + rotation[1] * vector[1] + rotation[2] * vector[2]


def unit(vector: Array) -> Array:
    """Vectors (3, ...) at length 1; NaN where there is no direction (zero, NaN, infinite)."""
    largest = np.abs(vector).max(axis=0)
    with np.errstate(all="ignore"):
        scaled = vector / largest
        return scaled / np.sqrt(dot(scaled, scaled))
