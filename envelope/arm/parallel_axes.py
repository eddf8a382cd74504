"""Six-axis arm with three parallel axes and an offset wrist.

Axes at zero: z, y, y, y, z, y. The upper arm stands up, the forearm lies along +x, the
wrist hangs down from its end and the flange faces +y. Joints 4 at -90 and 5 at +90 degrees
(joints 2 and 3 at zero) let the flange face down.
"""

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from ..geometry.bodies import frozen
from ..geometry.frames import Array
from .chain import Chain, Link
from .closed_form import FREE_JOINT, base_turn, bits, in_blocks, root, two_bars, wrapped

LINKS = ("base", "shoulder", "upper arm", "forearm", "inner wrist", "outer wrist", "faceplate")
BRANCHES = tuple(
    ", ".join(words)
    for words in product(
        ("front", "back"), ("elbow up", "elbow down"), ("wrist outward", "wrist inward")
    )
)
JUST_INSIDE = 1e-9  # relative: keeps rounding from putting joint 4 out of reach
_FLANGE_FACES_Y = ((0.0, -1.0, 0.0), (0.0, 0.0, 1.0), (-1.0, 0.0, 0.0))


@dataclass(frozen=True, slots=True)
class ParallelAxes:
    """Dimensions [m] of the arm, its chain and its inverse.

    Attributes:
        shoulder_height: Joint 2 over the mounting base.
        upper_arm: Joint 2 to joint 3.
        forearm: Joint 3 to joint 4.
        wrist_lateral: Joint 5's axis to the left of joint 1's, at zero.
        wrist_length: Joint 4's axis to joint 6's, along joint 5.
        flange: Joint 5's axis to the flange face, along joint 6.
    """

    shoulder_height: float
    upper_arm: float
    forearm: float
    wrist_lateral: float
    wrist_length: float
    flange: float

    def chain(self) -> Chain:
        """The six links."""
        y, z = frozen((0.0, 1.0, 0.0)), frozen((0.0, 0.0, 1.0))
        links = (
            Link(LINKS[1], 0, frozen((0.0, 0.0, 0.0)), z, 0),
            Link(LINKS[2], 1, frozen((0.0, 0.0, self.shoulder_height)), y, 1),
            Link(LINKS[3], 2, frozen((0.0, 0.0, self.upper_arm)), y, 2),
            Link(LINKS[4], 3, frozen((self.forearm, 0.0, 0.0)), y, 3),
            Link(LINKS[5], 4, frozen((0.0, self.wrist_lateral, 0.0)), z, 4),
            Link(LINKS[6], 5, frozen((0.0, 0.0, -self.wrist_length)), y, 5),
        )
        link_from_flange = np.eye(4)
        link_from_flange[:3, :3] = _FLANGE_FACES_Y
        link_from_flange[1, 3] = self.flange
        return Chain(links, 6, 6, frozen(link_from_flange))

    def solve(self, poses: Array) -> Array:
        """Candidates, shape (n, 8, 6), for poses base_from_flange, shape (n, 4, 4)."""
        return in_blocks(self._solve, poses, 8, 6)

    def label(self, q: Array) -> NDArray[np.intp]:
        """Branch of joint coordinates, shape (n, 6), by the sides the arm stands on."""
        behind = self.reach(q) < 0.0
        leans_back = np.cos(q[:, 2]) < 0.0
        return bits(behind, leans_back != behind, np.sin(q[:, 4]) < 0.0)

    def reach(self, q: Array) -> Array:
        """Distance of joint 6's centre from joint 1's axis along the arm's plane [m]."""
        forearm = q[:, 1] + q[:, 2]
        bars = self.upper_arm * np.sin(q[:, 1]) + self.forearm * np.cos(forearm)
        return bars - self.wrist_length * np.sin(forearm + q[:, 3])

    def _solve(self, rotation: Array, position: Array) -> Array:
        """Candidates, shape (8, 6, n), of rotation entries (3, 3, n), positions (3, n)."""
        link = np.stack([-rotation[:, 1], rotation[:, 2], -rotation[:, 0]], axis=1)
        x, y, z = position - self.flange * link[:, 1]
        q = np.empty((8, 6, position.shape[1]))
        for branch in (0, 1, 4, 5):
            side, wrist = 1.0 - 2.0 * (branch // 4), 1.0 - 2.0 * (branch % 2)
            q1, reach = base_turn(x, y, self.wrist_lateral, side)
            height = z - self.shoulder_height
            q5, q6, tip, free = _wrist(link, q1, wrist)
            if free.any():
                moved = self._reachable_tip(reach, height, tip)
                q6 = np.where(free, q6 + np.sign(np.cos(q5)) * (tip - moved), q6)
                tip = np.where(free, moved, tip)
            wrist_x = reach + self.wrist_length * np.sin(tip)
            wrist_z = height + self.wrist_length * np.cos(tip)
            bars = two_bars(wrist_x, wrist_z, self.upper_arm, self.forearm)
            for down, bend in enumerate((side, -side)):
                answer = q[branch + 2 * down]
                answer[0], answer[4], answer[5] = q1, q5, q6
                answer[1] = bars[0] - bend * bars[1]
                answer[2] = bend * bars[2] - np.pi / 2
                answer[3] = tip - answer[1] - answer[2]
        return q

    def _reachable_tip(self, reach: Array, height: Array, tip: Array) -> Array:
        """The tip nearest to a given one that leaves joint 4 within the two bars' reach.

        With joints 2, 3, 4 and 6 all parallel, joint 4 may stand anywhere on a circle about
        joint 6's centre.

        Args:
            reach: Joint 6's centre in the arm's plane from joint 2, shape (n,) [m].
            height: The same, upward.
            tip: The tip that a joint 6 at zero asks for [rad].

        Returns:
            Shape (n,) [rad], nan where the whole circle is out of reach.
        """
        far, length = np.hypot(reach, height), abs(self.wrist_length)
        ahead = np.arctan2(reach, height) + (np.pi if self.wrist_length < 0.0 else 0.0)
        away = wrapped(tip - ahead)
        square = far**2 + length**2 + 2.0 * far * length * np.cos(away)
        most = (self.upper_arm + self.forearm) * (1.0 - JUST_INSIDE)
        least = abs(self.upper_arm - self.forearm) * (1.0 + JUST_INSIDE)
        wanted = np.clip(np.sqrt(square), least, most)
        opening = root((far + length - wanted) * (far + length + wanted), far**2)
        closing = root((wanted - far + length) * (wanted + far - length), far**2)
        turned = ahead + np.copysign(2.0 * np.arctan2(opening, closing), away)
        inside = (square >= least**2) & (square <= most**2)
        return np.where(inside, tip, turned)


def _wrist(link: Array, q1: Array, wrist: float) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
    """Joints 5 and 6, the tip of the inner wrist (joints 2 to 4) [rad], and if 6 is free.

    What joint 1 leaves of the rotation is Ry(q2 + q3 + q4) Rz(q5) Ry(q6). The tip is taken
    from what joint 6 leaves, so that an error of joint 6 beside a straight wrist, where it
    is hardly defined, does not turn the flange.

    Args:
        link: Rotation of the last link's frame, shape (3, 3, n).
        q1: Joint 1, shape (n,).
        wrist: Sign of joint 5.
    """
    c1, s1 = np.cos(q1), np.sin(q1)
    left = c1 * link[1] - s1 * link[0]
    bend = np.hypot(left[0], left[2])
    q5 = wrist * np.arctan2(bend, left[1])
    free = bend < FREE_JOINT
    q6 = np.where(free, 0.0, np.arctan2(wrist * left[2], wrist * left[0]))
    c6, s6 = np.cos(q6), np.sin(q6)
    upright = c6 * link[:, 2] - s6 * link[:, 0]
    tip = np.arctan2(c1 * upright[0] + s1 * upright[1], upright[2])
    return q5, q6, tip, free
