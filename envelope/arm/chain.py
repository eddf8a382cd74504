"""Tree of joints and links: forward kinematics for serial arms and for linkages.

At zero, every link frame is parallel to the base frame, so that a link's bodies
are drawn as they stand in the zero pose. A joint turns about (or slides along)
a fixed direction by `multiplier * q[source]`; a linkage bar is a joint that
follows another joint's coordinate.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from ..geometry.bodies import frozen
from ..geometry.frames import Array

BLOCK = 1024  # configurations worked on at once: their coordinates stay in the cache


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
class Frames:
    """Poses of one frame in many configurations, one array a component.

    Attributes:
        columns: The rotation's columns, shape (3, 3, n): [column, component, configuration].
        position: The frame's origin, shape (3, n) [m].
    """

    columns: Array
    position: Array

    def shifted(self, offset: Array) -> Array:
        """A point fixed in the frame, at offset, shape (3,), in outer coordinates, (3, n)."""
        point = self.position
        for column, distance in zip(self.columns, offset.tolist(), strict=True):
            if distance:
                point = point + distance * column
        return point


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """Links in order (a parent stands before its children); link i + 1 is links[i].

    Attributes:
        links: The moving links; index 0 everywhere else means the fixed base.
        dof: Number of joint coordinates.
        flange_link: Index of the link that carries the mechanical interface.
        link_from_flange: Pose of the mechanical interface (z outward), shape (4, 4).
        root: Name of link 0, which does not move.
    """

    links: tuple[Link, ...]
    dof: int
    flange_link: int
    link_from_flange: Array
    root: str = "base"

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all links, that of link 0 first."""
        return (self.root, *(link.name for link in self.links))

    def link_poses(self, q: Array) -> Array:
        """Poses base_from_link of the base and all links.

        Args:
            q: Joint coordinates, shape (n, dof) [rad or m].

        Returns:
            Shape (n, 1 + number of links, 4, 4).
        """
        poses = np.zeros((len(q), len(self.links) + 1, 4, 4))
        poses[:, :, 3, 3] = 1.0
        indices = range(len(self.links) + 1)
        for start in range(0, len(q), BLOCK):
            block = poses[start : start + BLOCK]
            coordinates = np.ascontiguousarray(q[start : start + BLOCK].T)
            for index, frames in self._walk(coordinates, indices).items():
                block[:, index, :3, :3] = frames.columns.transpose(2, 1, 0)
                block[:, index, :3, 3] = frames.position.T
        return poses

    def flange_poses(self, q: Array) -> Array:
        """Poses base_from_flange, shape (n, 4, 4), at joint coordinates, shape (n, dof)."""
        poses = np.zeros((len(q), 4, 4))
        poses[:, 3, 3] = 1.0
        for start in range(0, len(q), BLOCK):
            frames = self.flange_frames(np.ascontiguousarray(q[start : start + BLOCK].T))
            poses[start : start + BLOCK, :3, :3] = frames.columns.transpose(2, 1, 0)
            poses[start : start + BLOCK, :3, 3] = frames.position.T
        return poses

    def flange_frames(self, coordinates: Array) -> Frames:
        """The mechanical interface in the base frame, one array a component.

        Args:
            coordinates: Joint coordinates, one row a joint, shape (dof, n) [rad or m].
        """
        return self.flange_on(self.frames_on_the_way(coordinates)[self.flange_link])

    def frames_on_the_way(self, coordinates: Array) -> dict[int, Frames]:
        """Frames of the base and of the links up to the one that carries the flange.

        Args:
            coordinates: Joint coordinates, one row a joint, shape (dof, n) [rad or m].
        """
        return self._walk(coordinates, (0, *self.path(self.flange_link)))

    def flange_on(self, last: Frames) -> Frames:
        """The mechanical interface where the link that carries it has these frames."""
        turned = [
            sum(
                share * column
                for share, column in zip(direction, last.columns, strict=True)
                if share
            )
            for direction in self.link_from_flange[:3, :3].T.tolist()
        ]
        return Frames(np.array(turned), last.shifted(self.link_from_flange[:3, 3]))

    def jacobian(self, q: Array) -> Array:
        """Geometric Jacobian of the flange's origin in the base frame.

        Args:
            q: Joint coordinates, shape (n, dof) [rad or m].

        Returns:
            Shape (n, 6, dof): rows 0-2 velocity, rows 3-5 angular velocity, per unit of
            joint speed. Links that follow a coordinate add to its column.
        """
        poses = self.link_poses(q)
        tip = self.flange_poses(q)[:, :3, 3]
        jacobian = np.zeros((len(q), 6, self.dof))
        for index in self.path(self.flange_link):
            link = self.links[index - 1]
            axis = (poses[:, link.parent, :3, :3] * link.axis).sum(axis=2) * link.multiplier
            if link.prismatic:
                jacobian[:, :3, link.source] += axis
                continue
            jacobian[:, :3, link.source] += np.cross(axis, tip - poses[:, index, :3, 3])
            jacobian[:, 3:, link.source] += axis
        return jacobian

    def turning(self) -> tuple[bool, ...]:
        """For each joint coordinate, whether it is an angle."""
        slides = {link.source for link in self.links if link.prismatic}
        return tuple(joint not in slides for joint in range(self.dof))

    def slides_across(self) -> bool:
        """Whether slides of its own can take the flange any way in the plane of the base."""
        axes = [
            self.links[index - 1].axis[:2]
            for index in self.path(self.flange_link)
            if self.links[index - 1].prismatic
        ]
        return any(abs(a[0] * b[1] - a[1] * b[0]) > 0.5 for a, b in combinations(axes, 2))

    def path(self, link: int) -> tuple[int, ...]:
        """Indices of the links from the base (left out) to this link (included)."""
        route: list[int] = []
        while link:
            route.append(link)
            link = self.links[link - 1].parent
        return tuple(reversed(route))

    def _walk(self, coordinates: Array, indices: Sequence[int]) -> dict[int, Frames]:
        """Frames of the links named, each after its parent, at coordinates (dof, n)."""
        n = coordinates.shape[1]
        identity = np.repeat(np.eye(3)[:, :, None], n, axis=2)
        frames = {0: Frames(identity, np.zeros((3, n)))}
        turns: dict[tuple[int, float], tuple[Array, Array]] = {}  # links of a linkage share them
        for index in indices:
            if index == 0:
                continue
            link = self.links[index - 1]
            parent = frames[link.parent]
            position = parent.shifted(link.origin)
            if link.prismatic:
                amount = coordinates[link.source] * link.multiplier
                position = position + amount * Frames(parent.columns, np.zeros(())).shifted(
                    link.axis
                )
                frames[index] = Frames(parent.columns, position)
                continue
            size = abs(link.multiplier)
            if (link.source, size) not in turns:
                angle = coordinates[link.source] * size
                turns[link.source, size] = np.cos(angle), np.sin(angle)
            c, s = turns[link.source, size]
            columns = _turned(parent.columns, link.axis, c, s if link.multiplier > 0.0 else -s)
            frames[index] = Frames(columns, position)
        return frames


def facing_down(drop: float = 0.0) -> Array:
    """Pose link_from_flange of a flange that faces down, so far under its link's origin [m]."""
    pose = np.diag([1.0, -1.0, -1.0, 1.0])
    pose[2, 3] = -drop
    return frozen(pose)


def _turned(columns: Array, axis: Array, c: Array, s: Array) -> Array:
    """Rotation columns, (3, 3, n), followed by turns about a unit axis, (3,).

    The turns are given by their cosines and sines, shape (n,).
    """
    share = axis.tolist()
    if share.count(0.0) != 2:
        return _turned_about_any(columns, share, c, s)
    index = next(i for i in range(3) if share[i])
    first, second = (index + 1) % 3, (index + 2) % 3
    if share[index] != 1.0:
        s = s * share[index]
    turned = np.empty_like(columns)
    turned[index] = columns[index]
    np.multiply(c, columns[first], out=turned[first])
    turned[first] += s * columns[second]
    np.multiply(c, columns[second], out=turned[second])
    turned[second] -= s * columns[first]
    return turned


def _turned_about_any(columns: Array, axis: Sequence[float], c: Array, s: Array) -> Array:
    """As `_turned`, for an axis in any direction. Source: Rodrigues' rotation formula."""
    x, y, z = axis
    cross = ((0.0, -z, y), (z, 0.0, -x), (-y, x, 0.0))
    turned = np.zeros_like(columns)
    for j in range(3):
        for i in range(3):
            factor = (1.0 - c) * (axis[i] * axis[j]) + s * cross[i][j] + c * (i == j)
            turned[j] += factor * columns[i]
    return turned
