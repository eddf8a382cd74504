"""Column arm: a saddle that slides up a column, and two bars that turn in its plane.

Joint 1 slides the saddle up, joints 2 and 3 turn upper arm and forearm about the vertical,
joint 4 turns the flange. At zero the arm is stretched along +x and the flange faces down, as
it always does. Positive turns go to the left, seen from above.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..geometry.bodies import frozen
from ..geometry.frames import Array
from .chain import Chain, Link, facing_down
from .closed_form import bits, in_blocks, two_bars

LINKS = ("base", "saddle", "upper arm", "forearm", "faceplate")
BRANCHES = ("elbow right", "elbow left")


@dataclass(frozen=True, slots=True)
class ColumnArm:
    """Dimensions [m] of the arm, its chain and its inverse.

    Attributes:
        shoulder_height: The saddle's plane over the mounting base, joint 1 at zero.
        shoulder_offset: Joint 2 in front of the column's axis.
        upper_arm: Joint 2 to joint 3.
        forearm: Joint 3 to joint 4.
        flange_drop: The saddle's plane down to the flange face.
    """

    shoulder_height: float
    shoulder_offset: float
    upper_arm: float
    forearm: float
    flange_drop: float

    def chain(self) -> Chain:
        """The four links."""
        z, here = frozen((0.0, 0.0, 1.0)), frozen((0.0, 0.0, self.shoulder_height))
        links = (
            Link(LINKS[1], 0, here, z, 0, prismatic=True),
            Link(LINKS[2], 1, frozen((self.shoulder_offset, 0.0, 0.0)), z, 1),
            Link(LINKS[3], 2, frozen((self.upper_arm, 0.0, 0.0)), z, 2),
            Link(LINKS[4], 3, frozen((self.forearm, 0.0, 0.0)), z, 3),
        )
        return Chain(links, 4, 4, facing_down(self.flange_drop))

    def solve(self, poses: Array) -> Array:
        """Candidates, shape (n, 2, 4), for poses base_from_flange, shape (n, 4, 4).

        A flange that does not face down has candidates too; forward kinematics denies them.
        """
        return in_blocks(self._solve, poses, 2, 4, slides=(0,))

    def label(self, q: Array) -> NDArray[np.intp]:
        """Branch of joint coordinates, shape (n, 4), by the side the elbow stands on."""
        return bits(np.sin(q[:, 2]) < 0.0)

    def _solve(self, rotation: Array, position: Array) -> Array:
        """Candidates, shape (2, 4, n), of rotation entries (3, 3, n), positions (3, n)."""
        x, y, z = position
        yaw = np.arctan2(rotation[1, 0], rotation[0, 0])
        up = z - self.shoulder_height + self.flange_drop
        # Bars that lean from +x towards +y, as others lean from the vertical.
        direction, inner, further = two_bars(
            y, x - self.shoulder_offset, self.upper_arm, self.forearm
        )
        q = np.empty((2, 4, position.shape[1]))
        for branch, bend in enumerate((1.0, -1.0)):
            first, second = direction - bend * inner, bend * further
            q[branch] = up, first, second, yaw - first - second
        return q
