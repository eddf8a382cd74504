"""How the flange moves: its twist and its acceleration, from joint speeds and accelerations."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..geometry.frames import Array
from .chain import Chain, Frames


def crossed(first: Array, second: Array) -> Array:
    """Cross products of vectors, one array a component, shape (3, n)."""
    a, b, c = first
    x, y, z = second
    turned = np.empty(np.broadcast_shapes(first.shape, second.shape))
    turned[0], turned[1], turned[2] = b * z - c * y, c * x - a * z, a * y - b * x
    return turned


@dataclass(frozen=True, slots=True, eq=False)
class Axis:
    """A joint's axis in the base frame: a point on it and its unit direction, both (3, n)."""

    point: Array
    direction: Array


@dataclass(frozen=True, slots=True, eq=False)
class FlangeMotion:
    """The flange in n states of motion, in the base frame, one array a component.

    Attributes:
        frames: Where it is.
        spin: Angular velocity, shape (3, n) [rad/s].
        spin_change: Angular acceleration, shape (3, n) [rad/s2].
        acceleration: Of the flange's origin as a point in space, shape (3, n) [m/s2].
        axes: The axis of each turning joint on the way to the flange, by its number.
    """

    frames: Frames
    spin: Array
    spin_change: Array
    acceleration: Array
    axes: dict[int, Axis]

    def of_point(self, arm: Array) -> Array:
        """Acceleration [m/s2], (3, n), of a point fixed to the flange.

        Args:
            arm: From the flange's origin to the point, in the base frame, shape (3, n) [m].
        """
        turning = crossed(self.spin_change, arm) + crossed(self.spin, crossed(self.spin, arm))
        return self.acceleration + turning


def flange_motion(chain: Chain, q: Array, speeds: Array, accelerations: Array) -> FlangeMotion:
    """The flange's motion: as `flange_motions`, for one choice of accelerations."""
    return flange_motions(chain, q, speeds, [accelerations])[0]


def flange_motions(
    chain: Chain, q: Array, speeds: Array, accelerations: Sequence[Array]
) -> list[FlangeMotion]:
    """The flange's motion, worked outwards link by link.

    Source: Craig, Introduction to Robotics, 3rd ed. (2005), section 6.5, equations 6.45 to
    6.47: outward propagation of angular velocity, angular and linear acceleration; here in the
    base frame, and with links that follow another joint's coordinate.

    Args:
        chain: The arm's chain.
        q: Joint coordinates, shape (n, dof) [rad or m].
        speeds: Of the joints, shape (n, dof) [rad/s or m/s].
        accelerations: Of the joints at the same places and speeds, each a choice of its own,
            shape (n, dof) [rad/s2 or m/s2].
    """
    frames = chain.frames_on_the_way(np.ascontiguousarray(q.T))
    speed = np.ascontiguousarray(speeds.T)
    changes = [np.ascontiguousarray(choice.T) for choice in accelerations]
    spin = np.zeros((3, len(q)))
    moved = [(spin, spin) for _ in changes]  # of each choice spin change and acceleration
    axes: dict[int, Axis] = {}
    for index in chain.path(chain.flange_link):
        link, here, parent = (
            chain.links[index - 1],
            frames[index],
            frames[chain.links[index - 1].parent],
        )
        step = here.position - parent.position
        moved = [(turn, pull + _carried_along(spin, turn, step)) for turn, pull in moved]
        direction = Frames(parent.columns, np.zeros(())).shifted(link.axis)
        first = direction * (link.multiplier * speed[link.source])
        seconds = [direction * (link.multiplier * change[link.source]) for change in changes]
        bent = crossed(spin, first)
        if link.prismatic:
            moved = [
                (turn, pull + second + 2.0 * bent)
                for (turn, pull), second in zip(moved, seconds, strict=True)
            ]
            continue
        axes[link.source] = Axis(here.position, direction)
        moved = [
            (turn + second + bent, pull)
            for (turn, pull), second in zip(moved, seconds, strict=True)
        ]
        spin = spin + first
    flange = chain.flange_on(frames[chain.flange_link])
    reach = flange.position - frames[chain.flange_link].position
    return [
        FlangeMotion(flange, spin, turn, pull + _carried_along(spin, turn, reach), axes)
        for turn, pull in moved
    ]


def _carried_along(spin: Array, spin_change: Array, arm: Array) -> Array:
    return crossed(spin_change, arm) + crossed(spin, crossed(spin, arm))
