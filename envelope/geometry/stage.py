"""Solids on links, and their motion over pieces: poses, bends and bounding boxes."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from .components import component_first, dot, rotate, rotate_back
from .frames import Array
from .posed import Posed, extent
from .solids import Solids

Index = NDArray[np.intp]
Mask = NDArray[np.bool_]


class BendOf(Protocol):
    """See `arm.travel.Bend`."""

    @property
    def fixed(self) -> Array: ...  # noqa: D102

    @property
    def spin(self) -> Array: ...  # noqa: D102


class Mover(Protocol):
    """What carries the solids (see `arm.travel.Travel`)."""

    def seat(self, first: int, second: int) -> int: ...  # noqa: D102

    def frames(self, q: Array) -> Array: ...  # noqa: D102

    def bend(self, steps: Array, root: int, link: int) -> BendOf: ...  # noqa: D102

    def reach(self, root: int, link: int, points: Array) -> Array: ...  # noqa: D102

    def only_axis(self, root: int, link: int) -> Array | None: ...  # noqa: D102


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Joint-linear pieces, those of one segment side by side and in order.

    With a third corner, each piece is the whole triangle of joints between its three
    corners: every path within it is covered at once.

    Attributes:
        start: First piece of each segment, and the number of pieces, shape (segments + 1,).
        first: Joints at the start of each piece, shape (n, dof); last: at its end.
        to_go: Height still to go at both ends of each piece, shape (n, 2) [m]; at a third
            corner it is that of the first.
        third: Joints at the third corner of triangles, shape (n, dof), or None.
    """

    start: Index
    first: Array
    last: Array
    to_go: Array
    third: Array | None = None

    @property
    def corners(self) -> tuple[Array, ...]:
        """Joints at the corners of all pieces, (n, dof) each."""
        if self.third is None:
            return self.first, self.last
        return self.first, self.last, self.third

    @property
    def stray(self) -> float:
        """How far points may stray from what is linear between the corners, as a share of bend.

        An eighth between two corners. On a triangle two ninths: by Taylor from a point to the
        corners with weights w, at most half the bend times the sum of w (1 - w)^2, which is
        greatest in the middle.
        """
        return 1.0 / 8.0 if self.third is None else 2.0 / 9.0

    def at(self, piece: Index, weights: Array) -> Array:
        """Joints in pieces, (m, dof), at weights of all corners but the first, (m, 1 or 2)."""
        first = self.first[piece]
        q = first + (self.last[piece] - first) * weights[:, :1]
        return q if self.third is None else q + (self.third[piece] - first) * weights[:, 1:]

    def steps(self) -> tuple[Array, ...]:
        """Joint steps between each two corners."""
        corners = self.corners
        return tuple(second - first for first, second in combinations(corners, 2))


class Stage:
    """Solids on links, and their motion over pieces: poses, bends and bounding boxes.

    Args:
        mover: What carries the links.
        parts: All convex parts, moving or not; in their link's frame.
        link: The link that carries each part, shape (parts,); 0 stands still.
        pieces: The motion.

    Attributes:
        frames: Link poses at the corners of pieces, each once, shape (m, links, 4, 4).
        at: For each corner which of these it is, one array (pieces,) a corner.

    Raises:
        ValueError: Joints or heights are not finite: nothing could be proved of them.
    """

    def __init__(self, mover: Mover, parts: Solids, link: Index, pieces: Pieces) -> None:
        for values in (*pieces.corners, pieces.to_go):
            if not np.isfinite(values).all():
                raise ValueError("a motion needs finite joints and heights")
        self.mover, self.parts, self.link, self.pieces = mover, parts, link, pieces
        joints, self.at = _distinct(pieces.corners)
        self.frames = mover.frames(joints)
        self._boxes: dict[int, tuple[Array, Array]] = {}
        self._sides: tuple[Index, Array] | None = None
        count = self.frames.shape[1]
        self._row = np.full((count, count), -1, dtype=np.intp)
        self._steps = pieces.steps()
        self._fixed = np.zeros((0, len(pieces.first)))
        self._spin = np.zeros((0, len(pieces.first)))
        self._lever = np.zeros((0, len(link)))
        self._axis = np.zeros((3, 0))
        signs = np.array(np.meshgrid((-1, 1), (-1, 1), (-1, 1))).reshape(3, 8).T
        corners = parts.box_centre[:, None] + signs * parts.box_half[:, None]
        self._corners = corners @ np.swapaxes(parts.rotation, 1, 2) + parts.position[:, None]
        middle = parts.position + (parts.rotation @ parts.box_centre[..., None])[..., 0]
        size = (np.abs(parts.rotation) @ parts.box_half[..., None])[..., 0]
        self._still = (component_first(middle - size), component_first(middle + size))
        self._of_link: dict[int, Array] = {}
        self._table = np.concatenate(
            [parts.rotation.reshape(-1, 9), parts.position, parts.half, parts.radius[:, None]],
            axis=1,
        )

    def stray(self, piece: Index, turning: "Turning", along: Array | None = None) -> Array:
        """How far parts may stray over whole pieces, shape (n,) [m].

        From what is linear between the pieces' corners; over a part of a piece that is smaller
        by a factor, less by its square.

        Args:
            piece: Shape (n,).
            turning: Of the parts against their root links.
            along: Unit directions in the root frames that alone count, shape (3, n).
        """
        at = turning.row * len(self.pieces.first) + piece
        fixed, spin = self._fixed.reshape(-1)[at], self._spin.reshape(-1)[at]
        stray = (fixed + spin * spin * turning.lever) * self.pieces.stray
        if along is None:
            return stray
        # what turns about one axis alone does not stray along it
        level = dot(self._axis[:, turning.row], along)
        return stray * np.sqrt(np.maximum(1.0 - level * level, 0.0))

    def turning(self, part: Index, root: Index, wanted: Mask) -> "Turning":
        """What `stray` needs to know of parts seen from root links, right where wanted; (n,)."""
        link = self.link[part]
        row = self._row[root, link]
        if (row[wanted] < 0).any():
            self._learn(root[wanted], link[wanted])
            row = self._row[root, link]
        row = np.where(wanted, row, 0)
        return Turning(row, self._lever[row, part] if wanted.any() else np.zeros(len(row)))

    def _learn(self, root: Index, link: Index) -> None:
        """Work out bends and levers for pairs of links that are not known yet."""
        count = len(self._row)
        keys = np.bincount(root * count + link, minlength=count * count).reshape(count, count)
        fixed, spin, lever, axis = [self._fixed], [self._spin], [self._lever], [self._axis]
        known = len(self._fixed)
        for base, moved in np.argwhere((keys > 0) & (self._row < 0)).tolist():
            bounds = [self.mover.bend(steps, base, moved) for steps in self._steps]
            levers = np.zeros((1, len(self.link)))
            mine = np.flatnonzero(self.link == moved)
            if base != moved and len(mine):
                levers[0, mine] = self.mover.reach(base, moved, self._corners[mine])
            self._row[base, moved] = known
            known += 1
            fixed.append(np.max([bound.fixed for bound in bounds], axis=0, keepdims=True))
            spin.append(np.max([bound.spin for bound in bounds], axis=0, keepdims=True))
            lever.append(levers)
            only = self.mover.only_axis(base, moved)
            axis.append(np.zeros((3, 1)) if only is None else only[:, None])
        self._axis = np.concatenate(axis, axis=1)
        self._fixed, self._spin, self._lever = (
            np.concatenate(rows) for rows in (fixed, spin, lever)
        )

    def boxes(self, part: int) -> tuple[Array, Array]:
        """Axis-aligned box of a part over each piece, in the base frame: (3, n) low, high."""
        if part not in self._boxes:
            self._boxes[part] = self._box(part)
        return self._boxes[part]

    def sides(self, part: Index, piece: Index, axis: int) -> tuple[Array, Array]:
        """Lower and upper sides of boxes along an axis, of parts that all stand or all move.

        Args:
            part: Shape (n,).
            piece: Shape (n,).
            axis: Which of x, y, z.
        """
        if not len(part) or not self.link[part[0]]:
            low, high = self._still
            return low[axis, part], high[axis, part]
        if self._sides is None:
            moving = np.flatnonzero(self.link)
            boxes = [self.boxes(int(one)) for one in moving]
            row = np.zeros(len(self.link), np.intp)
            row[moving] = np.arange(len(moving))
            self._sides = row, np.array(boxes).transpose(1, 2, 0, 3).copy()
        row, sides = self._sides
        at = row[part] * len(self.pieces.first) + piece
        low, high = sides[0, axis].reshape(-1), sides[1, axis].reshape(-1)
        return low[at], high[at]

    def _box(self, part: int) -> tuple[Array, Array]:
        count = len(self.pieces.first)
        if not self.link[part]:
            low, high = (np.repeat(side[:, [part]], count, axis=1) for side in self._still)
            return low, high
        parts = self.parts
        if self._row[0, self.link[part]] < 0:
            moving = self.link[self.link > 0]
            self._learn(np.zeros_like(moving), moving)
        row = self._row[0, self.link[part]]
        turning = Turning(np.array([row]), self._lever[row, [part]])
        stray = self.stray(np.arange(count), turning)
        centre = parts.rotation[part] @ parts.box_centre[part] + parts.position[part]
        axes = parts.rotation[part] * parts.box_half[part]
        *columns, shift = self._columns(self.link[part]).transpose(1, 0, 2)
        middle = _sum_of(columns, centre.tolist()) + shift
        sides = [np.abs(_sum_of(columns, axis)) for axis in axes.T.tolist()]
        extent = sides[0] + sides[1] + sides[2]
        low, high = middle - extent, middle + extent
        least, most = low[:, :count], high[:, :count]  # the first corners come first
        for at in self.at[1:]:
            least = np.minimum(least, low.take(at, axis=1))
            most = np.maximum(most, high.take(at, axis=1))
        return least - stray, most + stray

    def _columns(self, link: int) -> Array:
        """Poses of a link at the corners of pieces, component first: (3, 4, m)."""
        if link not in self._of_link:
            self._of_link[link] = np.ascontiguousarray(np.moveaxis(self.frames[:, link, :3], 0, -1))
        return self._of_link[link]

    def still_boxes(self) -> tuple[Array, Array]:
        """Boxes of all parts as they lie in their link's frame, (3, parts) low, high.

        Right for parts on link 0.
        """
        return self._still

    def posed(self, frames: Array, at: Index, part: Index, root: Index | None) -> Posed:
        """Parts at link poses, seen from root links.

        Args:
            frames: base_from_link, shape (n, links, 4, 4).
            at: Which of them, shape (m,).
            part: Shape (m,).
            root: Shape (m,), or None for the base frame.
        """
        columns = np.ascontiguousarray(self._table[part].T)
        rotation, position = columns[:9].reshape(3, 3, -1), columns[9:12]
        link = self.link[part]
        if link.any():
            turn, shift = _frames(frames, at, link)
            position = rotate(turn, position) + shift
            rotation = np.stack([rotate(turn, rotation[:, j]) for j in range(3)], axis=1)
        if root is not None and root.any():
            turn, shift = _frames(frames, at, root)
            position = rotate_back(turn, position - shift)
            rotation = np.stack([rotate_back(turn, rotation[:, j]) for j in range(3)], axis=1)
        kind = self.parts.kind[part]
        return Posed(self.parts, part, rotation, position, kind, columns[12:15], columns[15])

    def top(self, frames: Array, at: Index, part: Index, direction: Array) -> Array:
        """How far parts reach along unit directions in the base frame, from its origin.

        Args:
            frames: As in `posed`.
            at: The same.
            part: The same.
            direction: Shape (3, m).

        Returns:
            Shape (m,) [m].
        """
        columns = np.ascontiguousarray(self._table[part].T)
        link = self.link[part]
        along, height = direction, np.zeros(len(part))
        if link.any():
            turn, shift = _frames(frames, at, link)
            along, height = rotate_back(turn, direction), dot(shift, direction)
        height = height + dot(columns[9:12], along)
        own = rotate_back(columns[:9].reshape(3, 3, -1), along)
        return height + extent(self.parts, part, columns[12:15], columns[15], own)

    def in_base(self, frames: Array, at: Index, root: Index, direction: Array) -> Array:
        """Directions (3, m) of root links in the base frame."""
        return rotate(_frames(frames, at, root)[0], direction) if root.any() else direction


@dataclass(frozen=True, slots=True, eq=False)
class Turning:
    """How parts turn against root links: a row of the table of bends, and the lever [m]; (n,)."""

    row: Index
    lever: Array

    def take(self, which: Index) -> "Turning":
        """Some of them."""
        return Turning(self.row[which], self.lever[which])


def _sum_of(columns: Sequence[Array], shares: Sequence[float]) -> Array:
    """Columns, (3, m) each, times shares, added up; most shares are zero."""
    found = [share * column for share, column in zip(shares, columns, strict=True) if share]
    return sum(found[1:], found[0]) if found else np.zeros_like(columns[0])


def _distinct(corners: tuple[Array, ...]) -> tuple[Array, tuple[Index, ...]]:
    """Joints at corners of pieces without most that repeat, and where each corner is in them.

    Where one piece ends the next mostly begins. The first corners come first, in order.
    """
    first = corners[0]
    joints, at = [first], [np.arange(len(first))]
    for corner in corners[1:]:
        own = np.ones(len(first), bool)
        own[:-1] = (corner[:-1] != first[1:]).any(axis=1)
        index = np.arange(1, len(first) + 1)
        index[own] = sum(len(part) for part in joints) + np.arange(np.count_nonzero(own))
        joints.append(corner[own])
        at.append(index)
    return np.concatenate(joints), tuple(at)


def _frames(frames: Array, at: Index, link: Index) -> tuple[Array, Array]:
    """Rotations (3, 3, m) and positions (3, m) of links, of poses (n, links, 4, 4)."""
    count = frames.shape[1]
    columns = np.ascontiguousarray(frames.reshape(-1, 16)[at * count + link, :12].T)
    columns = columns.reshape(3, 4, -1)
    return columns[:, :3], columns[:, 3]


def box_gap(low: Array, high: Array, other_low: Array, other_high: Array) -> Array:
    """Distance between axis-aligned boxes, shape (3, ...) each; 0 when they overlap."""
    apart = np.maximum(np.maximum(other_low - high, low - other_high), 0.0)
    return np.sqrt(dot(apart, apart))
