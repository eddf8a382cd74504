"""Six-axis arm with a spherical wrist: three wrist axes meet in one point.

Axes at zero: z, y, y, x, y, x. The upper arm stands up, the forearm lies along +x, the
flange faces +x. Positive joint 2 leans forward, positive joints 3 and 5 tip downward.
"""

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from ..geometry.bodies import frozen
from ..geometry.frames import Array
from .chain import Chain, Link
from .closed_form import FREE_JOINT, base_turn, bits, in_blocks, two_bars

LINKS = ("base", "shoulder", "upper arm", "elbow", "forearm", "wrist", "faceplate")
BRANCHES = tuple(
    ", ".join(words)
    for words in product(
        ("front", "back"), ("elbow up", "elbow down"), ("wrist tips", "wrist flipped")
    )
)
_FLANGE_FACES_X = ((0.0, 0.0, 1.0), (0.0, -1.0, 0.0), (1.0, 0.0, 0.0))


@dataclass(frozen=True, slots=True)
class SphericalWrist:
    """Dimensions [m] of the arm, its chain and its inverse.

    Attributes:
        shoulder_height: Joint 2 over the mounting base.
        shoulder_offset: Joint 2 in front of joint 1.
        upper_arm: Joint 2 to joint 3.
        elbow_offset: Forearm axis over joint 3 (below it when negative).
        forearm: Joint 3 to the wrist centre along the forearm.
        flange: Wrist centre to the flange face.
        shoulder_lateral: Arm's plane to the left of joint 1.
    """

    shoulder_height: float
    shoulder_offset: float
    upper_arm: float
    elbow_offset: float
    forearm: float
    flange: float
    shoulder_lateral: float = 0.0

    def chain(self) -> Chain:
        """The six links."""
        y, x = frozen((0.0, 1.0, 0.0)), frozen((1.0, 0.0, 0.0))
        shoulder = (self.shoulder_offset, self.shoulder_lateral, self.shoulder_height)
        links = (
            Link(LINKS[1], 0, frozen((0.0, 0.0, 0.0)), frozen((0.0, 0.0, 1.0)), 0),
            Link(LINKS[2], 1, frozen(shoulder), y, 1),
            Link(LINKS[3], 2, frozen((0.0, 0.0, self.upper_arm)), y, 2),
            Link(LINKS[4], 3, frozen((0.0, 0.0, self.elbow_offset)), x, 3),
            Link(LINKS[5], 4, frozen((self.forearm, 0.0, 0.0)), y, 4),
            Link(LINKS[6], 5, frozen((0.0, 0.0, 0.0)), x, 5),
        )
        link_from_flange = np.eye(4)
        link_from_flange[:3, :3] = _FLANGE_FACES_X
        link_from_flange[0, 3] = self.flange
        return Chain(links, 6, 6, frozen(link_from_flange))

    def solve(self, poses: Array) -> Array:
        """Candidates, shape (n, 8, 6), for poses base_from_flange, shape (n, 4, 4)."""
        return in_blocks(self._solve, poses, 8, 6)

    def label(self, q: Array) -> NDArray[np.intp]:
        """Branch of joint coordinates, shape (n, 6), by the sides the arm stands on."""
        further, reach = q[:, 2] + self._forearm_lean, self.reach(q)
        behind = reach < 0.0
        leans_back = np.sin(further) < 0.0
        return bits(behind, leans_back != behind, np.sin(q[:, 4]) < 0.0)

    def reach(self, q: Array) -> Array:
        """Distance of the wrist centre from joint 1's axis along the arm's plane [m]."""
        further = q[:, 1] + q[:, 2] + self._forearm_lean
        bars = self.upper_arm * np.sin(q[:, 1]) + self._fore * np.sin(further)
        return self.shoulder_offset + bars

    @property
    def _fore(self) -> float:
        return float(np.hypot(self.forearm, self.elbow_offset))

    @property
    def _forearm_lean(self) -> float:
        """Lean of the line from joint 3 to the wrist centre at zero [rad]."""
        return float(np.arctan2(self.forearm, self.elbow_offset))

    def _solve(self, rotation: Array, position: Array) -> Array:
        """Candidates, shape (8, 6, n), of rotation entries (3, 3, n), positions (3, n)."""
        link = np.stack([rotation[:, 2], -rotation[:, 1], rotation[:, 0]], axis=1)
        x, y, z = position - self.flange * link[:, 0]
        q = np.empty((8, 6, position.shape[1]))
        for behind, side in enumerate((1.0, -1.0)):
            q1, reach = base_turn(x, y, self.shoulder_lateral, side)
            bars = two_bars(
                reach - self.shoulder_offset,
                z - self.shoulder_height,
                self.upper_arm,
                self._fore,
            )
            c1, s1 = np.cos(q1), np.sin(q1)
            turned = np.array([c1 * link[0] + s1 * link[1], c1 * link[1] - s1 * link[0], link[2]])
            for down, bend in enumerate((side, -side)):
                branch = 4 * behind + 2 * down
                pair = q[branch : branch + 2]
                pair[:, 0] = q1
                pair[:, 1] = bars[0] - bend * bars[1]
                pair[:, 2] = bend * bars[2] - self._forearm_lean
                _wrist(turned, pair[0], pair[1])
        return q


def _wrist(link: Array, tips: Array, flipped: Array) -> None:
    """Fill in joints 4 to 6 of both wrist branches, rows 3 to 5 of each, shape (6, n).

    The joints ahead are known, so the rotation left over is Rx(q4) Ry(q5) Rx(q6). Joint 6
    is taken from what joint 4 leaves, so that an error of joint 4 beside a straight wrist,
    where it is hardly defined, does not turn the flange.

    Args:
        link: Rotation of the last link in the shoulder's frame, shape (3, 3, n).
        tips: The branch with a positive joint 5.
        flipped: The branch with a negative joint 5.
    """
    c, s = np.cos(tips[1] + tips[2]), np.sin(tips[1] + tips[2])
    left = link[1]
    along = c * link[0, 0] - s * link[2, 0]
    over = s * link[0] + c * link[2]
    bend = np.hypot(left[0], over[0])
    free = bend < FREE_JOINT
    q4 = np.where(free, 0.0, np.arctan2(left[0], -over[0]))
    c4, s4 = np.cos(q4), np.sin(q4)
    tips[3] = q4
    tips[4] = np.arctan2(bend, along)
    tips[5] = np.arctan2(-(c4 * left[2] + s4 * over[2]), c4 * left[1] + s4 * over[1])
    half_turn = np.where(free, 0.0, np.pi)
    flipped[3] = q4 + half_turn
    flipped[4] = -tips[4]
    flipped[5] = tips[5] + half_turn
