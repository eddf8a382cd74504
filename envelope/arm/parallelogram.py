"""Four-axis palletizing arm whose flange stays level through a parallelogram linkage.

Motor 1 turns the arm, motor 2 sets the lean of the upper arm from the vertical, motor 3 the
tip of the forearm below the horizontal, whatever the upper arm does, and motor 4 turns the
flange about the vertical. At zero the upper arm stands up, the forearm lies along +x and
the flange faces down, as it always does.
"""

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from ..geometry.bodies import frozen
from ..geometry.frames import Array
from .chain import Chain, Link, facing_down
from .closed_form import base_turn, bits, in_blocks, two_bars

LINKS = (
    "base",
    "shoulder",
    "upper arm",
    "elbow plate",
    "forearm",
    "wrist plate",
    "faceplate",
    "parallel bar",
    "tie bar",
    "drive lever",
    "drive joint",
    "drive rod",
)
BRANCHES = tuple(
    ", ".join(words) for words in product(("front", "back"), ("elbow up", "elbow down"))
)


@dataclass(frozen=True, slots=True)
class Parallelogram:
    """Dimensions [m] of the arm and its linkage, its chain and its inverse.

    Attributes:
        shoulder_height: Joint 2 over the mounting base.
        shoulder_offset: Joint 2 in front of joint 1.
        upper_arm: Joint 2 to joint 3.
        forearm: Joint 3 to the wrist plate's pivot.
        wrist_offset: Wrist plate's pivot to joint 4, outward.
        flange_drop: Wrist plate's pivot down to the flange face.
        elbow_bar_back: Parallel bar's pivots behind joints 2 and 3.
        elbow_bar_up: Parallel bar's pivots over joints 2 and 3.
        tie_bar_up: Tie bar's pivots over joint 3 and the wrist plate's pivot.
        tie_bar_out: Tie bar's pivots outward of them.
        drive_lever: Drive rod's pivots behind joints 2 and 3, at zero.
    """

    shoulder_height: float
    shoulder_offset: float
    upper_arm: float
    forearm: float
    wrist_offset: float
    flange_drop: float
    elbow_bar_back: float
    elbow_bar_up: float
    tie_bar_up: float
    tie_bar_out: float
    drive_lever: float

    def chain(self) -> Chain:
        """The arm's links and the bars that follow them.

        The drive rod takes two turns on the lever's end: one undoes the lever's, the other
        is the upper arm's, so that each follows one motor alone.
        """
        y, z = frozen((0.0, 1.0, 0.0)), frozen((0.0, 0.0, 1.0))
        shoulder = np.array((self.shoulder_offset, 0.0, self.shoulder_height))
        back = np.array((-self.elbow_bar_back, 0.0, self.elbow_bar_up))
        tie = frozen((self.tie_bar_out, 0.0, self.tie_bar_up))
        here = frozen((0.0, 0.0, 0.0))
        links = (
            Link("shoulder", 0, here, z, 0),
            Link("upper arm", 1, frozen(shoulder), y, 1),
            Link("elbow plate", 2, frozen((0.0, 0.0, self.upper_arm)), y, 1, -1.0),
            Link("forearm", 3, here, y, 2),
            Link("wrist plate", 4, frozen((self.forearm, 0.0, 0.0)), y, 2, -1.0),
            Link("faceplate", 5, frozen((self.wrist_offset, 0.0, 0.0)), z, 3),
            Link("parallel bar", 1, frozen(shoulder + back), y, 1),
            Link("tie bar", 3, tie, y, 2),
            Link("drive lever", 1, frozen(shoulder), y, 2),
            Link("drive joint", 9, frozen((-self.drive_lever, 0.0, 0.0)), y, 2, -1.0),
            Link("drive rod", 10, here, y, 1),
        )
        return Chain(links, 4, 6, facing_down(self.flange_drop))

    def solve(self, poses: Array) -> Array:
        """Candidates, shape (n, 4, 4), for poses base_from_flange, shape (n, 4, 4).

        A flange that does not face down has candidates too; forward kinematics denies them.
        """
        return in_blocks(self._solve, poses, 4, 4)

    def label(self, q: Array) -> NDArray[np.intp]:
        """Branch of joint coordinates, shape (n, 4), by the sides the arm stands on."""
        behind = self.reach(q) < 0.0
        leans_back = np.cos(q[:, 2] - q[:, 1]) < 0.0
        return bits(behind, leans_back != behind)

    def reach(self, q: Array) -> Array:
        """Distance of joint 4 from joint 1's axis along the arm's plane [m]."""
        bars = self.upper_arm * np.sin(q[:, 1]) + self.forearm * np.cos(q[:, 2])
        return self.shoulder_offset + self.wrist_offset + bars

    def _solve(self, rotation: Array, position: Array) -> Array:
        """Candidates, shape (4, 4, n), of rotation entries (3, 3, n), positions (3, n)."""
        x, y, z = position
        yaw = np.arctan2(rotation[1, 0], rotation[0, 0])
        q = np.empty((4, 4, position.shape[1]))
        for behind, side in enumerate((1.0, -1.0)):
            q1, reach = base_turn(x, y, 0.0, side)
            direction, inner, further = two_bars(
                reach - self.shoulder_offset - self.wrist_offset,
                z - self.shoulder_height + self.flange_drop,
                self.upper_arm,
                self.forearm,
            )
            for down, bend in enumerate((side, -side)):
                lean = direction - bend * inner
                q[2 * behind + down] = q1, lean, lean + bend * further - np.pi / 2, yaw - q1
        return q
