"""How far, and how crookedly, points of a link can move while joints move linearly.

The certifier needs one bound: while every joint coordinate changes at a constant
rate over an interval, no point's path has a second derivative longer than its
*bend*. With the interval scaled to unit length, a point then stays within
bend / 8 of the straight motion between its end positions.

A point's position, seen from any link, is a sum of link vectors, each turned by the joints
before it on the way there; on the way down from a link to its parent a joint turns back.
Neighbouring joints with parallel axes turn as one, by the signed sum of their
angles, so that an elbow and a wrist that cancel do not count twice.

Source: second derivative of a product of rotations about fixed directions; the
chord bound is Taylor's theorem. Compare Schwarzer, Saha and Latombe, "Adaptive
dynamic collision checking for single and multiple robots", T-RO 21 (2005), for
the first-order form.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..geometry.frames import Array
from .chain import Chain, Link

_PARALLEL = 1e-9  # [rad]: axes this near to parallel turn as one


@dataclass(frozen=True, slots=True, eq=False)
class Bend:
    """Bounds for the points of one link, seen from a root link, over n intervals.

    A point at distance r (see `Travel.reach`) bends by at most `fixed + spin ** 2 * r`.

    Attributes:
        fixed: Bend of the link's origin, shape (n,) [m].
        spin: Bound on the turning of the link, shape (n,) [rad].
    """

    fixed: Array
    spin: Array


@dataclass(frozen=True, slots=True)
class _Stage:
    """One joint on the way from a root to a link.

    Attributes:
        lever: Length of the link vector that ends at the joint, as it counts [m].
        factor: Turning about the group's axis per unit of the joint coordinate.
        joins: Whether it turns about the same axis as the joint before it (or not at all).
    """

    lever: float
    source: int
    factor: float
    joins: bool


class Travel:
    """Motion bounds for one chain."""

    def __init__(self, chain: Chain) -> None:
        self._chain = chain
        self._known: dict[tuple[int, int], tuple[_Stage, ...]] = {}
        self._axes: dict[tuple[int, int], Array | None] = {}
        self._seats: dict[tuple[int, int], int] = {}
        self._paths = [(0, *chain.path(link)) for link in range(len(chain.links) + 1)]

    @property
    def tip(self) -> int:
        """The link that carries the mechanical interface."""
        return self._chain.flange_link

    def common(self, first: int, second: int) -> int:
        """The nearest link that carries both; its joints do not move one against the other."""
        shared = 0
        for a, b in zip(self._paths[first], self._paths[second], strict=False):
            if a != b:
                break
            shared = a
        return shared

    def seat(self, first: int, second: int) -> int:
        """The link from which the bounds on two links are best worked out.

        That is one of them, so that it stands still; where a slide lies between, the nearest
        link that carries both.
        """
        if (first, second) not in self._seats:
            shared = self.common(first, second)
            one_of_them = shared in (first, second) or self._slides_between(first, second)
            self._seats[first, second] = shared if one_of_them else min(first, second)
        return self._seats[first, second]

    def joints_between(self, first: int, second: int) -> tuple[int, ...]:
        """The joint coordinates that move two links against each other, by number."""
        return tuple(sorted({joint.source for joint, _ in self._way(first, second)}))

    def frames(self, q: Array) -> Array:
        """Poses base_from_link, shape (n, links, 4, 4), at joints, shape (n, dof)."""
        return self._chain.link_poses(q)

    def bend(self, steps: Array, root: int, link: int) -> Bend:
        """Bounds for a link against a root, any other link, for joint steps, shape (n, dof).

        Raises:
            ValueError: A sliding joint comes after a turning one that it is not parallel to.
        """
        fixed = np.zeros(len(steps))
        closed, running = np.zeros(len(steps)), np.zeros(len(steps))
        for stage in self._stages(root, link):
            spin = closed + np.abs(running)
            fixed += spin * spin * stage.lever
            step = stage.factor * steps[:, stage.source]
            if stage.joins:
                running = running + step
            else:
                closed, running = closed + np.abs(running), step
        return Bend(fixed, closed + np.abs(running))

    def reach(self, root: int, link: int, points: Array) -> Array:
        """Greatest lever of points fixed to a link about the link's origin.

        Args:
            root: Seen from this link.
            link: The link that carries the points.
            points: Shape (..., k, 3) [m].

        Returns:
            Shape (...) [m].
        """
        return _lever(points, self.only_axis(root, link))

    def only_axis(self, root: int, link: int) -> Array | None:
        """The one direction that a link turns about, seen from a root; None if there are more.

        Along it the link's points do not bend at all, and only their distance from it counts.
        """
        if (root, link) not in self._axes:
            self._axes[root, link] = self._found_axis(root, link)
        return self._axes[root, link]

    def _found_axis(self, root: int, link: int) -> Array | None:
        axes = [joint.axis for joint, _ in self._way(root, link) if not joint.prismatic]
        one = axes and all(_parallel(axes[0], axis) for axis in axes)
        return axes[0] if one else None

    def _stages(self, root: int, link: int) -> tuple["_Stage", ...]:
        """The joints between two links as `bend` adds them up."""
        if (root, link) not in self._known:
            self._known[root, link] = tuple(self._staged(root, link))
        return self._known[root, link]

    def _staged(self, root: int, link: int) -> Iterator["_Stage"]:
        axis: Array | None = None
        groups, source = 0, 0
        vector = np.zeros(3)  # from the joint before to the next
        for joint, back in self._way(root, link):
            source = joint.source
            vector = vector if back else vector + joint.origin
            lever = float(_lever(vector[None], axis if groups == 1 else None))
            factor = -joint.multiplier if back else joint.multiplier
            if joint.prismatic:
                if groups > 1 or (axis is not None and not _parallel(axis, joint.axis)):
                    raise ValueError(f"{joint.name} slides on a turning link: not supported")
                yield _Stage(lever, source, 0.0, joins=True)
            elif axis is not None and _parallel(axis, joint.axis):
                sign = float(np.sign((axis * joint.axis).sum()))
                yield _Stage(lever, source, sign * factor, joins=True)
            else:
                axis, groups = joint.axis, groups + 1
                yield _Stage(lever, source, factor, joins=False)
            vector = -joint.origin if back else np.zeros(3)
        if vector.any():  # the link's origin is not where the last joint is
            lever = float(_lever(vector[None], axis if groups == 1 else None))
            yield _Stage(lever, source, 0.0, joins=True)

    def _way(self, root: int, link: int) -> Iterator[tuple[Link, bool]]:
        """The joints from one link to another, and whether each is passed backwards."""
        shared = self.common(root, link)
        up, down = (
            path[path.index(shared) + 1 :] for path in (self._paths[root], self._paths[link])
        )
        yield from ((self._joint(index), True) for index in reversed(up))
        yield from ((self._joint(index), False) for index in down)

    def _slides_between(self, first: int, second: int) -> bool:
        return any(joint.prismatic for joint, _ in self._way(first, second))

    def _joint(self, link: int) -> Link:
        return self._chain.links[link - 1]


def _parallel(first: Array, second: Array) -> bool:
    """Whether unit axes are parallel: by the sine, for the cosine hardly changes there."""
    across = np.cross(first, second)
    return float(np.sqrt((across * across).sum())) <= _PARALLEL


def _lever(points: Array, axis: Array | None) -> Array:
    """Greatest distance of points from the origin, or from a line through it along axis."""
    if axis is not None:
        points = points - (points * axis).sum(axis=-1, keepdims=True) * axis
    return np.sqrt((points * points).sum(axis=-1)).max(axis=-1)
