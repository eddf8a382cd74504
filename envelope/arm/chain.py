"""Tree of joints and links: forward kinematics for serial arms and for linkages.

At zero, every link frame is parallel to the base frame, so that a link's bodies
are drawn as they stand in the zero pose. A joint turns about (or slides along)
a fixed direction by `multiplier * q[source]`; a linkage bar is a joint that
follows another joint's coordinate.
"""

from dataclasses import dataclass

import numpy as np

from ..geometry.frames import Array, rotate_about


@dataclass(frozen=True, slots=True, eq=False)
class Link:
    """A moving link and the joint that carries it.

    Attributes:
        name: The link's name, as on screens ("upper arm").
        parent: Index of the link that carries it; 0 is the base, which does not move.
        origin: Joint centre in the parent's frame at zero, shape (3,) [m].
        axis: Unit direction of the joint, shape (3,).
        source: Which joint coordinate drives it.
        multiplier: The joint's motion per unit of that coordinate.
        prismatic: Whether it slides instead of turning.
    """

    name: str
    parent: int
    origin: Array
    axis: Array
    source: int
    multiplier: float = 1.0
    prismatic: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """Links in order (a parent stands before its children); link i + 1 is links[i].

    Attributes:
        links: The moving links; index 0 everywhere else means the fixed base.
        dof: Number of joint coordinates.
        flange_link: Index of the link that carries the mechanical interface.
        link_from_flange: Pose of the mechanical interface (z outward), shape (4, 4).
    """

    links: tuple[Link, ...]
    dof: int
    flange_link: int
    link_from_flange: Array

    def link_poses(self, q: Array) -> Array:
        """Poses base_from_link of the base and all links.

        Args:
            q: Joint coordinates, shape (n, dof) [rad or m].

        Returns:
            Shape (n, 1 + number of links, 4, 4).
        """
        poses = np.zeros((len(q), len(self.links) + 1, 4, 4))
        poses[:, 0] = np.eye(4)
        for index, link in enumerate(self.links, start=1):
            amount = link.multiplier * q[:, link.source]
            rotation, position = poses[:, link.parent, :3, :3], poses[:, link.parent, :3, 3]
            if link.prismatic:
                poses[:, index, :3, :3] = rotation
                offset = link.origin + amount[:, None] * link.axis
            else:
                poses[:, index, :3, :3] = rotation @ rotate_about(link.axis, amount)
                offset = np.broadcast_to(link.origin, position.shape)
            poses[:, index, :3, 3] = position + (rotation @ offset[:, :, None])[..., 0]
            poses[:, index, 3, 3] = 1.0
        return poses

    def flange_poses(self, q: Array) -> Array:
        """Poses base_from_flange, shape (n, 4, 4), at joint coordinates, shape (n, dof)."""
        return self.link_poses(q)[:, self.flange_link] @ self.link_from_flange

    def path(self, link: int) -> tuple[int, ...]:
        """Indices of the links from the base (left out) to this link (included)."""
        route: list[int] = []
        while link:
            route.append(link)
            link = self.links[link - 1].parent
        return tuple(reversed(route))
