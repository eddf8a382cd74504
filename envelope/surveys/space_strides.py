"""Motion as strides: a body as it stands at one instant, moved along a straight way.

On a stride every instant of the body lies within `stray` of the body at its middle instant
moved along the way, and every place along the way is that near to an instant. So the strides,
grown by their stray, hold all that is swept, and exceed it by no more than twice the stray.

What counts of a body is its skeleton: corners of boxes and hulls, both ends of the axis of
what is round, for a capsule is the same however it turns about its axis, and a cylinder's
discs differ by no more than their radius times the change of the axis.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arm.chain import Chain
from ..arm.travel import Travel
from ..geometry.bodies import Body, Box, Capsule, Cylinder, Hull
from ..geometry.frames import Array, transform
from .space_motions import Motion, Motions, Moving

_LENGTHS = (64, 32, 16, 8, 4, 2, 1)  # intervals that are tried as one stride
_AT_ONCE = 20_000  # rows whose frames are held in memory together
_SHARE = 0.1  # of the stray that the bend between two rows may take

Index = NDArray[np.intp]
CORNERS = np.array([(x, y, z) for x in (-1.0, 1.0) for y in (-1.0, 1.0) for z in (-1.0, 1.0)])


@dataclass(frozen=True, slots=True, eq=False)
class Strides:
    """The strides of one body.

    Attributes:
        pose: World from shape at the middle instants, shape (n, 4, 4).
        start: From there to where the way begins, shape (n, 3) [m]; end: where it ends.
        stray: Shape (n,) [m].
        motion: Index of the motion that each is a part of, shape (n,); -1 for what stands.
    """

    pose: Array
    start: Array
    end: Array
    stray: Array
    motion: Index


@dataclass(frozen=True, slots=True, eq=False)
class Skeleton:
    """The points of a body that tell where it is, in the shape's frame.

    Attributes:
        points: Shape (k, 3) [m].
        radius: Of the discs whose axis matters, 0 where there are none [m].
    """

    points: Array
    radius: float


def skeleton_of(body: Body) -> Skeleton:
    """The skeleton of a body; of a mesh, that of its convex hull."""
    shape = body.shape
    if isinstance(shape, Box):
        return Skeleton(CORNERS * np.asarray(shape.half), 0.0)
    if isinstance(shape, Capsule | Cylinder):
        ends = np.array([[0.0, 0.0, -shape.half], [0.0, 0.0, shape.half]])
        return Skeleton(ends, shape.radius if isinstance(shape, Cylinder) else 0.0)
    if isinstance(shape, Hull):
        return Skeleton(np.asarray(shape.vertices, float), 0.0)
    return Skeleton(np.asarray(shape.triangles, float).reshape(-1, 3), 0.0)


def strides_of(
    chain: Chain, world_from_base: Array, motions: Motions, stray: float
) -> list[Strides]:
    """The strides of every moving body, and one for each that stands.

    Args:
        chain: The arm.
        world_from_base: Where it stands, shape (4, 4).
        motions: Its motions and bodies.
        stray: No stride may have more [m].
    """
    found: list[list[Strides]] = [[] for _ in motions.moving]
    for index, moving in enumerate(motions.moving):
        if not moving.motions and moving.actor.link == 0:
            found[index].append(_standing(world_from_base, moving))
    walk = _Walk(chain, world_from_base, motions, stray)
    for some in walk.batches():
        for index, strides in walk.strides(some):
            found[index].append(strides)
    return [_joined(parts) for parts in found]


def _standing(world_from_base: Array, moving: Moving) -> Strides:
    at = (world_from_base @ moving.body.pose)[None]
    none = np.zeros((1, 3))
    return Strides(at, none, none, np.zeros(1), np.full(1, -1, dtype=np.intp))


def _joined(parts: Sequence[Strides]) -> Strides:
    if not parts:
        none = np.zeros((0, 3))
        return Strides(np.zeros((0, 4, 4)), none, none, np.zeros(0), np.zeros(0, np.intp))
    return Strides(
        *(
            np.concatenate([getattr(part, name) for part in parts])
            for name in ("pose", "start", "end", "stray", "motion")
        )
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Fine rows of some motions, one motion after the other.

    Attributes:
        numbers: The motions; first: the row at which each starts, and the number of rows.
        owner: Which of these motions each row belongs to.
        steps: Joint step from each row to the next, shape (rows - 1, dof).
        frames: World from link, shape (rows, links, 4, 4).
    """

    numbers: tuple[int, ...]
    first: Index
    owner: Index
    steps: Array
    frames: Array


class _Walk:
    """Goes along motions in rows fine enough for strides."""

    def __init__(
        self, chain: Chain, world_from_base: Array, motions: Motions, stray: float
    ) -> None:
        self._world_from_base = world_from_base
        self._motions, self._stray = motions, stray
        self._travel = Travel(chain)
        self._skeletons = [skeleton_of(moving.body) for moving in motions.moving]
        self._points = [
            transform(moving.body.pose, skeleton.points)
            for moving, skeleton in zip(motions.moving, self._skeletons, strict=True)
        ]
        self._links: dict[int, tuple[float, float]] = {}  # of each: longest lever, radius
        for moving, skeleton, points in zip(
            motions.moving, self._skeletons, self._points, strict=True
        ):
            link = moving.actor.link
            lever = float(self._travel.reach(0, link, points)) + skeleton.radius
            before = self._links.get(link, (0.0, 0.0))
            self._links[link] = max(before[0], lever), max(before[1], _radius(skeleton))

    def batches(self) -> Iterator[_Rows]:
        """The fine rows of all motions, some motions at a time."""
        some: list[tuple[int, Array]] = []
        count = 0
        for number, motion in enumerate(self._motions.motions):
            rows = self._fine(motion)
            if some and count + len(rows) > _AT_ONCE:
                yield self._rows(some)
                some, count = [], 0
            some.append((number, rows))
            count += len(rows)
        if some:
            yield self._rows(some)

    def _fine(self, motion: Motion) -> Array:
        """Rows between which no body turns or bends too far for a stride."""
        steps = np.diff(motion.joints, axis=0)
        cuts = np.ones(len(steps))
        # every link counts: where elbow and wrist cancel, the tip turns less than the forearm
        for link, (lever, radius) in self._links.items():
            bend = self._travel.bend(steps, 0, link)
            curved = (bend.fixed + bend.spin**2 * lever) / 8.0
            turned = bend.spin * radius / ((1.0 - 2 * _SHARE) * self._stray)
            cuts = np.maximum(cuts, np.maximum(turned, np.sqrt(curved / (_SHARE * self._stray))))
        parts: list[int] = np.ceil(cuts).astype(int).tolist()
        shares: Array = np.concatenate([k + np.arange(n) / n for k, n in enumerate(parts)])
        at = np.floor(shares).astype(int)
        fine = motion.joints[at] + (shares - at)[:, None] * steps[at]
        return np.concatenate([fine, motion.joints[-1:]])

    def _rows(self, some: Sequence[tuple[int, Array]]) -> _Rows:
        joints = np.concatenate([rows for _, rows in some])
        counts = [len(rows) for _, rows in some]
        return _Rows(
            tuple(number for number, _ in some),
            np.concatenate([[0], np.cumsum(counts)]).astype(np.intp),
            np.repeat(np.arange(len(some)), counts),
            np.diff(joints, axis=0),
            self._world_from_base @ self._travel.frames(joints),
        )

    def strides(self, rows: _Rows) -> Iterator[tuple[int, Strides]]:
        """The strides of every moving body along some motions, with its index."""
        bends = {
            link: self._travel.bend(rows.steps, 0, link)
            for link in {moving.actor.link for moving in self._motions.moving}
        }
        for index, moving in enumerate(self._motions.moving):
            link = moving.actor.link
            mine = [k for k, number in enumerate(rows.numbers) if number in moving.motions]
            if not mine:
                continue
            skeleton, points = self._skeletons[index], self._points[index]
            bend = bends[link]
            lever = float(self._travel.reach(0, link, points))
            curved = (bend.fixed + bend.spin**2 * (lever + skeleton.radius)) / 8.0
            body = _Followed(
                transform(rows.frames[:, link], points),
                rows.frames[:, link] @ moving.body.pose,
                skeleton.radius,
                curved,
            )
            yield index, self._cut(rows, mine, body)

    def _cut(self, rows: _Rows, mine: Sequence[int], body: "_Followed") -> Strides:
        """Strides as long as their stray allows, the longest tried first."""
        open_ = np.zeros(len(rows.owner), dtype=bool)  # intervals by the row that they start at
        for k in mine:
            open_[rows.first[k] : rows.first[k + 1] - 1] = True
        since = np.arange(len(rows.owner)) - rows.first[rows.owner]
        parts: list[Strides] = []
        for length in _LENGTHS:
            begin = np.flatnonzero(open_ & (since % length == 0))
            begin = begin[begin + length < len(open_)]
            whole = open_[begin[:, None] + np.arange(length)].all(axis=1)
            begin = begin[whole]
            if not len(begin):
                continue
            made = body.strides(begin, length, np.array(rows.numbers)[rows.owner[begin]])
            kept = (made.stray <= self._stray) | (length == 1)
            parts.append(_taken(made, kept))
            open_[(begin[kept][:, None] + np.arange(length)).reshape(-1)] = False
        return _joined(parts)


def _radius(skeleton: Skeleton) -> float:
    """How far from its middle the skeleton reaches, discs included."""
    away = skeleton.points - skeleton.points.mean(axis=0)
    return float(np.sqrt((away * away).sum(axis=1).max())) + skeleton.radius


def _taken(strides: Strides, kept: NDArray[np.bool_]) -> Strides:
    return Strides(
        strides.pose[kept],
        strides.start[kept],
        strides.end[kept],
        strides.stray[kept],
        strides.motion[kept],
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Followed:
    """A body over all rows.

    Attributes:
        points: Its skeleton in the world, shape (rows, k, 3).
        poses: World from shape, shape (rows, 4, 4).
        radius: Of its discs, 0 without.
        curved: How far its points may leave the straight way to the next row, (rows - 1,).
    """

    points: Array
    poses: Array
    radius: float
    curved: Array

    def strides(self, begin: Index, length: int, motion: Index) -> Strides:
        """One stride from each of these rows over so many intervals."""
        rows = begin[:, None] + np.arange(length + 1)
        middle = rows[:, length // 2]
        centre = self.points.mean(axis=1)
        moved = centre[rows] - centre[middle][:, None]
        start, end = moved[:, 0], moved[:, -1]
        way = end - start
        square = np.maximum((way * way).sum(axis=1), 1e-30)[:, None]
        share = (((moved - start[:, None]) * way[:, None]).sum(axis=2) / square).clip(0.0, 1.0)
        share[:, 0], share[:, -1] = 0.0, 1.0  # so that every place along the way is passed
        along = start[:, None] + share[:, :, None] * way[:, None]
        off = self.points[rows] - self.points[middle][:, None] - along[:, :, None]
        stray = np.sqrt((off * off).sum(axis=3)).max(axis=(1, 2))
        if self.radius:
            axis = self.poses[:, :3, 2]
            turned = axis[rows] - axis[middle][:, None]
            stray = stray + self.radius * np.sqrt((turned * turned).sum(axis=2)).max(axis=1)
        stray = stray + self.curved[rows[:, :-1]].max(axis=1)
        return Strides(self.poses[middle], start, end, stray, motion)
