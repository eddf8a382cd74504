"""What tool and group do to the wrist: moments and inertias about its axes along the motion."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arm.arm import Arm
from ..arm.flange_motion import crossed
from ..geometry.frames import Array
from ..geometry.inertia import MassProperties
from .hanging import GRAVITY, Hanging


@dataclass(frozen=True, slots=True, eq=False)
class AxisLoads:
    """Loads about one joint's axis at each state, shape (n,) each.

    The first and the last are upper bounds over the motion from a state to the next one of the
    same stretch, not only values at states.

    Attributes:
        still: Static moment: of gravity alone [N m].
        moving: Moment as the motion is timed, gravity included [N m].
        inertia: [kg m2].
    """

    still: Array
    moving: Array
    inertia: Array


def axis_loads(arm: Arm, load: MassProperties, hanging: Hanging, joint: int) -> AxisLoads:
    """Moments and inertia of a load about one joint's axis, along the motion.

    Source: Newton's and Euler's equations of a rigid body (Craig, Introduction to Robotics,
    3rd ed., 2005, section 6.3, equations 6.15 and 6.16).

    Errs: bounds between states are on the safe side; see `_between`.

    Args:
        arm: The arm.
        load: What hangs, in the flange frame.
        hanging: The states.
        joint: Number of the joint.
    """
    axis = hanging.axes[joint]
    lever = load.centre[:, None] - axis.point
    about = crossed(axis.direction, lever)  # how the centre moves per turn of the joint
    weight = load.mass * (about * hanging.gravity).sum(axis=0)
    centre = load.centre[:, None]
    spin, change = hanging.spin, hanging.spin_change
    pulled = hanging.acceleration + crossed(change, centre) + crossed(spin, crossed(spin, centre))
    turned = _times(load.inertia, change) + crossed(spin, _times(load.inertia, spin))
    moving = load.mass * (about * pulled).sum(axis=0) + (axis.direction * turned).sum(axis=0)
    own = (axis.direction * _times(load.inertia, axis.direction)).sum(axis=0)
    inertia = own + load.mass * (about * about).sum(axis=0)
    heaviest, most = greatest_loads(arm, load, joint)
    every, after = _rates(arm, joint)
    return AxisLoads(
        _between(np.abs(weight), hanging, every, heaviest),
        np.abs(moving - weight),
        _between(inertia, hanging, 2.0 * after, most / 2.0),
    )


def greatest_loads(arm: Arm, load: MassProperties, joint: int) -> tuple[float, float]:
    """Static moment [N m] and inertia [kg m2] that a load never exceeds in any posture."""
    farthest = _farthest(arm, joint) + float(np.linalg.norm(load.centre))
    inertia = float(np.linalg.eigvalsh(load.inertia)[-1]) + load.mass * farthest**2
    return load.mass * GRAVITY * farthest, inertia


def _times(matrix: Array, vectors: Array) -> Array:
    """A matrix, shape (3, 3), times vectors, shape (3, n)."""
    x, y, z = vectors
    return np.stack([row[0] * x + row[1] * y + row[2] * z for row in matrix.tolist()])


def _between(values: Array, hanging: Hanging, rates: Array, most: float) -> Array:
    """Upper bounds from each state to the next, where joints go straight from one to the other.

    About a wrist axis, a load's moment is a trigonometric polynomial of degree one in each joint
    angle, and its inertia one of degree two: along a straight line in joint space both are
    functions of exponential type s, so that |f''| <= s^2 max |f|, and no f rises above the
    chord between two states by more than max |f| s^2 / 8.

    Source: Bernstein's inequality for entire functions of exponential type (Boas, Entire
    Functions, 1954, theorem 11.1.2), from memory; and the error of linear interpolation.

    Args:
        values: At each state, shape (n,).
        hanging: The states.
        rates: How much each joint adds to the exponential type per radian, shape (dof,).
        most: The greatest value, or for an inertia half of it, in any posture.
    """
    bounds = values.copy()
    way = (np.abs(np.diff(hanging.joints, axis=0)) * rates).sum(axis=1)
    bounds[:-1] = np.maximum(values[:-1], values[1:]) + most / 8.0 * way * way
    last = [stretch.stop - 1 for stretch in hanging.stretches]
    bounds[last] = values[last]
    return bounds


def _rates(arm: Arm, joint: int) -> tuple[Array, Array]:
    """By how much turning joints turn the flange, shape (dof,): all, and those beyond a joint."""
    every, after = np.zeros(arm.dof), np.zeros(arm.dof)
    for index in arm.chain.path(arm.chain.flange_link):
        link = arm.chain.links[index - 1]
        if link.prismatic:
            continue
        every[link.source] += abs(link.multiplier)
        after[link.source] += abs(link.multiplier)
        if link.source == joint:
            after[:] = 0.0
    return every, after


def _farthest(arm: Arm, joint: int) -> float:
    """The farthest that the flange's origin can be from a joint's axis [m]; never too small."""
    chain = arm.chain
    path = chain.path(chain.flange_link)
    own = max(index for index in path if chain.links[index - 1].source == joint)
    beyond = [chain.links[index - 1] for index in path[path.index(own) + 1 :]]
    steps = [*(link.origin for link in beyond), chain.link_from_flange[:3, 3]]
    axis = chain.links[own - 1].axis
    # The first step counts across the axis only: along it, it leads to another point of it.
    first = steps[0] - axis * float((steps[0] * axis).sum())
    slides = sum(
        abs(link.multiplier)
        * max(abs(arm.joints[link.source].lower), abs(arm.joints[link.source].upper))
        for link in beyond
        if link.prismatic
    )
    return float(sum(np.linalg.norm(step) for step in (first, *steps[1:]))) + slides


def greatest(values: Array, hanging: Hanging) -> list[float]:
    """The greatest value within each stretch."""
    return np.maximum.reduceat(values, hanging.starts).tolist()


def rated_joints(arm: Arm) -> Sequence[int]:
    """Numbers of the joints whose moment or inertia the arm's rating limits."""
    rating = arm.rating
    limited = {name for name, _ in (*rating.moments, *rating.inertias, *rating.moving)}
    return [number for number, joint in enumerate(arm.joints) if joint.name in limited]
