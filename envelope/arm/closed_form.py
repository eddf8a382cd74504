"""Pieces that the closed-form inverses share: sides, the two bars, angles on the circle.

Half-angles come from two-argument arctangents of factored square roots, which keep their
digits where an arccosine loses half of them: at the stretched and at the folded arm.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from ..geometry.frames import Array
from .chain import BLOCK

NEAR_BOUNDARY = 1e-9  # relative: so far outside, a square is taken as zero; proved afterwards
FREE_JOINT = 1e-9  # sine below which two wrist axes count as one line, and one joint as free


def wrapped(angle: Array) -> Array:
    """Angles [rad] brought into (-pi, pi] by whole turns."""
    turned = angle - 2.0 * np.pi * np.rint(angle / (2.0 * np.pi))
    return np.where(turned <= -np.pi, np.pi, np.minimum(turned, np.pi))


def root(square: Array, scale: Array | float) -> Array:
    """Square root; 0 for squares a little below zero against scale, nan further below.

    Errs: towards an answer. Whoever asks must confirm it by forward kinematics.
    """
    near = square >= -NEAR_BOUNDARY * scale
    return np.sqrt(np.where(near, np.maximum(square, 0.0), np.nan))


def base_turn(x: Array, y: Array, lateral: float, side: float) -> tuple[Array, Array]:
    """Turn of joint 1 that brings a point into the arm's plane, and its reach in the plane.

    The plane stands vertical, at a distance `lateral` beside joint 1's axis.

    Args:
        x: Coordinates in the base frame, shape (n,) [m].
        y: The same, shape (n,) [m].
        lateral: Distance of the plane, positive to the left of the arm [m].
        side: +1.0 for a point in front of the arm, -1.0 for one behind it.

    Returns:
        Joint 1 [rad], and the signed distance along the plane [m], each shape (n,).
    """
    distance = np.hypot(x, y)
    reach = side * root((distance - lateral) * (distance + lateral), distance**2 + lateral**2)
    return np.arctan2(y, x) - np.arctan2(lateral, reach), reach


def two_bars(x: Array, z: Array, upper: float, fore: float) -> tuple[Array, Array, Array]:
    """Two bars in a vertical plane, end to end, reaching a point.

    Angles are leans from the vertical, positive towards +x. With the second bar leaning
    further than the first, the first leans by `direction - inner` and the second by
    `further` more; with the elbow on the other side by `direction + inner` and `-further`.

    Args:
        x: Horizontal distance of the point from the first pivot, shape (n,) [m].
        z: Height over the first pivot, shape (n,) [m].
        upper: Length of the first bar [m].
        fore: Length of the second bar [m].

    Returns:
        The angles `direction`, `inner` and `further` [rad], shape (n,), the last two not
        negative, nan where the bars do not reach.
    """
    r = np.hypot(x, z)
    longest, difference = upper + fore, upper - fore
    scale = longest * longest
    opening = root((longest - r) * (longest + r), scale)
    closing = root((r - difference) * (r + difference), scale)
    further = 2.0 * np.arctan2(opening, closing)
    inner = np.arctan2(fore * np.sin(further), upper + fore * np.cos(further))
    return np.arctan2(x, z), inner, further


def components(poses: Array) -> tuple[Array, Array]:
    """Rotation entries, shape (3, 3, n), and positions, shape (3, n), of poses (n, 4, 4)."""
    parts = np.ascontiguousarray(poses[:, :3, :].transpose(1, 2, 0))
    return parts[:, :3], parts[:, 3]


def in_blocks(
    solve: Callable[[Array, Array], Array],
    poses: Array,
    branches: int,
    dof: int,
    slides: tuple[int, ...] = (),
) -> Array:
    """Candidates for poses, shape (n, 4, 4), worked out a block at a time.

    Args:
        solve: Rotation entries (3, 3, m) and positions (3, m) to (branches, dof, m).
        poses: Poses base_from_flange.
        branches: Number of branches.
        dof: Number of joint coordinates.
        slides: Those that slide; they have no whole turns to be brought in by.

    Returns:
        Shape (n, branches, dof), angles in (-pi, pi], nan where there is no candidate.
    """
    answers = np.empty((len(poses), branches, dof))
    for start in range(0, len(poses), BLOCK):
        q = solve(*components(poses[start : start + BLOCK]))
        # One joint without a candidate leaves none for the whole branch.
        q[np.broadcast_to(np.isnan(q).any(axis=1, keepdims=True), q.shape)] = np.nan
        turned = wrapped(q)
        for joint in slides:
            turned[:, joint] = q[:, joint]
        answers[start : start + BLOCK] = turned.transpose(2, 0, 1)
    return answers


def bits(*choices: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Branch number of binary choices, the first one slowest; True counts as 1."""
    number = np.zeros(choices[0].shape, dtype=np.intp)
    for choice in choices:
        number = 2 * number + choice
    return number
