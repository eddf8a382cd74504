"""Gantry: a bridge on runways, a trolley on the bridge, a mast in the trolley, a turning head.

Joint 1 slides the bridge along +x, joint 2 the trolley along +y, joint 3 the mast up, and joint
4 turns the head about the vertical. The flange faces down, as it always does. The mounting base
lies under the point where joints 1 and 2 are at zero: the middle of the field, say.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..geometry.bodies import frozen
from ..geometry.frames import Array
from .chain import Chain, Link, facing_down
from .closed_form import in_blocks

LINKS = ("base", "bridge", "trolley", "mast", "faceplate")
BRANCHES = ("mast down",)


@dataclass(frozen=True, slots=True)
class Gantry:
    """Dimensions [m] of the gantry, its chain and its inverse.

    Bridge, trolley and mast have their frames in the mounting base at zero, so that their
    bodies are drawn over the floor that the base stands on.

    Attributes:
        flange_height: The flange face over the mounting base, joint 3 at zero.
        mast_offset: The mast's axis in front of the point that joint 1 counts from.
    """

    flange_height: float
    mast_offset: float = 0.0

    def chain(self) -> Chain:
        """The four links."""
        here = frozen((0.0, 0.0, 0.0))
        x, y, z = (frozen(axis) for axis in np.eye(3))
        links = (
            Link(LINKS[1], 0, here, x, 0, prismatic=True),
            Link(LINKS[2], 1, here, y, 1, prismatic=True),
            Link(LINKS[3], 2, here, z, 2, prismatic=True),
            Link(LINKS[4], 3, frozen((self.mast_offset, 0.0, self.flange_height)), z, 3),
        )
        return Chain(links, 4, 4, facing_down())

    def solve(self, poses: Array) -> Array:
        """The candidate, shape (n, 1, 4), for poses base_from_flange, shape (n, 4, 4).

        A flange that does not face down has one too; forward kinematics denies it.
        """
        return in_blocks(self._solve, poses, 1, 4, slides=(0, 1, 2))

    def label(self, q: Array) -> NDArray[np.intp]:
        """Branch of joint coordinates, shape (n, 4): there is one only."""
        return np.zeros(len(q), dtype=np.intp)

    def _solve(self, rotation: Array, position: Array) -> Array:
        """The candidate, shape (1, 4, n), of rotation entries (3, 3, n), positions (3, n)."""
        x, y, z = position
        yaw = np.arctan2(rotation[1, 0], rotation[0, 0])
        return np.stack([x - self.mast_offset, y, z - self.flange_height, yaw])[None]
