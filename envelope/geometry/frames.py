"""Rigid poses as homogeneous matrices, batched over leading axes.

A pose is named target_from_source: it takes coordinates in the source frame to
coordinates in the target frame, and poses chain by touching names
(`world_from_base @ base_from_flange`). Lengths are metres, angles radians.
"""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def pose(x: float = 0.0, y: float = 0.0, z: float = 0.0, yaw: float = 0.0) -> Array:
    """Pose at (x, y, z) [m], turned by yaw [rad] about the vertical; shape (4, 4)."""
    c, s = np.cos(yaw), np.sin(yaw)
    return np.array([[c, -s, 0.0, x], [s, c, 0.0, y], [0.0, 0.0, 1.0, z], [0.0, 0.0, 0.0, 1.0]])


def turn(axis: str, angle: float) -> Array:
    """Rotation by angle [rad] about a coordinate axis "x", "y" or "z"; shape (3, 3)."""
    c, s = np.cos(angle), np.sin(angle)
    first, second = {"x": (1, 2), "y": (2, 0), "z": (0, 1)}[axis]
    matrix = np.eye(3)
    matrix[first, first] = matrix[second, second] = c
    matrix[first, second], matrix[second, first] = -s, s
    return matrix


def from_fixed_angles(a: float, b: float, c: float) -> Array:
    """Rotation by a about x, then b about y, then c about z, all fixed axes [rad]; (3, 3)."""
    return turn("z", c) @ turn("y", b) @ turn("x", a)


def fixed_angles(rotation: Array) -> tuple[float, float, float]:
    """Angles (a, b, c) [rad] of a rotation, shape (3, 3): see `from_fixed_angles`.

    b lies within a quarter turn; where it is a quarter turn, a is 0 (only a sum is defined).
    """
    level = float(np.hypot(rotation[0, 0], rotation[1, 0]))
    b = float(np.arctan2(-rotation[2, 0], level))
    if level < 1e-9:
        return 0.0, b, float(np.arctan2(-rotation[0, 1], rotation[1, 1]))
    a = float(np.arctan2(rotation[2, 1], rotation[2, 2]))
    return a, b, float(np.arctan2(rotation[1, 0], rotation[0, 0]))


def rotate_about(axis: Array, angle: Array) -> Array:
    """Rotations by angles [rad], shape (...,), about one unit axis, shape (3,).

    Returns shape (..., 3, 3). Source: Rodrigues' rotation formula.
    """
    angle = np.asarray(angle, float)[..., None, None]
    k = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return np.eye(3) + np.sin(angle) * k + (1.0 - np.cos(angle)) * (k @ k)


def invert(matrix: Array) -> Array:
    """Inverse of rigid poses, shape (..., 4, 4)."""
    inverse = np.zeros_like(matrix)
    rotation = np.swapaxes(matrix[..., :3, :3], -1, -2)
    inverse[..., :3, :3] = rotation
    inverse[..., :3, 3] = -(rotation @ matrix[..., :3, 3, None])[..., 0]
    inverse[..., 3, 3] = 1.0
    return inverse


def transform(matrix: Array, points: Array) -> Array:
    """Points, shape (..., k, 3), moved by poses, shape (..., 4, 4)."""
    rotated = points @ np.swapaxes(matrix[..., :3, :3], -1, -2)
    return rotated + matrix[..., None, :3, 3]


def angle_between(first: Array, second: Array) -> Array:
    """Angle [rad] of the rotation between poses or rotations, shape (...,).

    Exact near 0 and near pi alike (two-argument arctangent, no arccosine).
    """
    relative = np.swapaxes(first[..., :3, :3], -1, -2) @ second[..., :3, :3]
    skew = np.stack(
        [
            relative[..., 2, 1] - relative[..., 1, 2],
            relative[..., 0, 2] - relative[..., 2, 0],
            relative[..., 1, 0] - relative[..., 0, 1],
        ],
        axis=-1,
    )
    trace = relative[..., 0, 0] + relative[..., 1, 1] + relative[..., 2, 2]
    return np.arctan2(np.sqrt((skew * skew).sum(-1)), trace - 1.0)
