"""How fast an arm may go on a segment: limits of its joints and of its straight lines."""

from dataclasses import dataclass

import numpy as np

from ..arm.arm import Arm
from ..cell.model import Motion
from ..geometry.frames import Array
from .profile import Limits


@dataclass(frozen=True, slots=True, eq=False)
class Pace:
    """What a segment may use.

    Attributes:
        line: Of the TCP on a straight line [m/s, m/s2, m/s3].
        speed: Of each joint, shape (dof,) [rad/s or m/s].
        acceleration: The same [rad/s2 or m/s2].
        jerk: The same [rad/s3 or m/s3]; inf where the arm states none.
    """

    line: Limits
    speed: Array
    acceleration: Array
    jerk: Array

    def along(self, directions: Array) -> tuple[Array, Array, Array]:
        """Limits of moves of all joints together, each along a direction of joint space.

        Every joint keeps to the straight connection, so that a move is as slow as the slowest
        joint in speed, and starts as gently as the slowest joint in acceleration needs.

        Args:
            directions: Joints per unit of each move, shape (n, dof); none of them all 0.

        Returns:
            Speeds, accelerations and jerks, shape (n,) each; a jerk of inf is no limit.
        """
        size = np.abs(directions)
        still = size == 0.0
        size[still] = 1.0
        speed, acceleration, jerk = (
            np.where(still, np.inf, limit / size).min(axis=1)
            for limit in (self.speed, self.acceleration, self.jerk)
        )
        return speed, acceleration, jerk


def pace_of(arm: Arm, motion: Motion, *, loaded: bool) -> Pace:
    """Limits of the arm in a cell.

    Args:
        arm: The arm.
        motion: What of it the cell uses.
        loaded: Whether cartons hang on the tool.
    """
    gentle = motion.loaded_acceleration_share if loaded else 1.0
    jerk = [np.inf if joint.jerk is None else joint.jerk for joint in arm.joints]
    return Pace(
        Limits(
            motion.linear_speed,
            motion.linear_acceleration * gentle,
            np.inf if motion.linear_jerk is None else motion.linear_jerk,
        ),
        np.array([joint.speed for joint in arm.joints]) * motion.joint_speed_share,
        np.array([joint.acceleration for joint in arm.joints])
        * (motion.joint_acceleration_share * gentle),
        np.array(jerk, dtype=float),
    )
