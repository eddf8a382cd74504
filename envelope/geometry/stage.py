"""Solids on links, and their motion over pieces: poses, bends and bounding boxes."""

from dataclasses import dataclass
from itertools import combinations
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from .frames import Array
from .solids import Solids

Index = NDArray[np.intp]


class BendOf(Protocol):
    """See `arm.travel.Bend`."""

    @property
    def fixed(self) -> Array: ...  # noqa: D102

    @property
    def spin(self) -> Array: ...  # noqa: D102


class Mover(Protocol):
    """What carries the solids (see `arm.travel.Travel`)."""

    def common(self, first: int, second: int) -> int: ...  # noqa: D102

    def frames(self, q: Array) -> Array: ...  # noqa: D102

    def bend(self, steps: Array, root: int, link: int) -> BendOf: ...  # noqa: D102

    def reach(self, root: int, link: int, points: Array) -> Array: ...  # noqa: D102


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

    Raises:
        ValueError: Joints or heights are not finite: nothing could be proved of them.
    """

    def __init__(self, mover: Mover, parts: Solids, link: Index, pieces: Pieces) -> None:
        for values in (*pieces.corners, pieces.to_go):
            if not np.isfinite(values).all():
                raise ValueError("a motion needs finite joints and heights")
        self.mover, self.parts, self.link, self.pieces = mover, parts, link, pieces
        self.ends = tuple(mover.frames(corner) for corner in pieces.corners)
        self._boxes: dict[int, tuple[Array, Array]] = {}
        count = self.ends[0].shape[1]
        self._row = np.full((count, count), -1, dtype=np.intp)
        self._fixed = np.zeros((0, len(pieces.first)))
        self._spin = np.zeros((0, len(pieces.first)))
        self._lever = np.zeros((0, len(link)))
        signs = np.array(np.meshgrid((-1, 1), (-1, 1), (-1, 1))).reshape(3, 8).T
        corners = parts.box_centre[:, None] + signs * parts.box_half[:, None]
        self._corners = corners @ np.swapaxes(parts.rotation, 1, 2) + parts.position[:, None]
        self._still = _boxes(parts.rotation, parts.position, parts.box_centre, parts.box_half)

    def stray(self, piece: Index, part: Index, root: Index) -> Array:
        """How far parts may stray over whole pieces, seen from root links; shapes (n,) [m].

        From what is linear between the pieces' corners; over a part of a piece that is smaller
        by a factor, less by its square.
        """
        row = self._row[root, self.link[part]]
        if len(row) and row.min() < 0:
            self._learn(root, self.link[part])
            row = self._row[root, self.link[part]]
        spin = self._spin[row, piece]
        bend = self._fixed[row, piece] + spin * spin * self._lever[row, part]
        return bend * self.pieces.stray

    def _learn(self, root: Index, link: Index) -> None:
        """Work out bends and levers for pairs of links that are not known yet."""
        count = len(self._row)
        keys = np.bincount(root * count + link, minlength=count * count).reshape(count, count)
        for base, moved in np.argwhere((keys > 0) & (self._row < 0)).tolist():
            bounds = [self.mover.bend(steps, base, moved) for steps in self.pieces.steps()]
            levers = np.zeros(len(self.link))
            mine = np.flatnonzero(self.link == moved)
            if base != moved and len(mine):
                levers[mine] = self.mover.reach(base, moved, self._corners[mine])
            self._row[base, moved] = len(self._fixed)
            self._fixed = np.vstack(
                [self._fixed, np.max([bound.fixed for bound in bounds], axis=0)]
            )
            self._spin = np.vstack([self._spin, np.max([bound.spin for bound in bounds], axis=0)])
            self._lever = np.concatenate([self._lever, levers[None]])

    def boxes(self, part: int) -> tuple[Array, Array]:
        """Axis-aligned box of a part over each piece, in the base frame: (n, 3) low, high."""
        if part not in self._boxes:
            self._boxes[part] = self._box(part)
        return self._boxes[part]

    def _box(self, part: int) -> tuple[Array, Array]:
        count = len(self.pieces.first)
        if not self.link[part]:
            low, high = (np.broadcast_to(side[part], (count, 3)) for side in self._still)
            return low, high
        parts = self.parts
        stray = self.stray(np.arange(count), np.full(count, part), np.zeros(count, np.intp))
        sides: list[tuple[Array, Array]] = []
        for frames in self.ends:
            frame = frames[:, self.link[part]]
            rotation = frame[:, :3, :3] @ parts.rotation[part]
            position = (frame[:, :3, :3] @ parts.position[part][:, None])[..., 0] + frame[:, :3, 3]
            sides.append(_boxes(rotation, position, parts.box_centre[part], parts.box_half[part]))
        low = np.min([side[0] for side in sides], axis=0) - stray[:, None]
        return low, np.max([side[1] for side in sides], axis=0) + stray[:, None]

    def still_boxes(self) -> tuple[Array, Array]:
        """Boxes of all parts as they lie in their link's frame; right for parts on link 0."""
        return self._still

    def placed(self, frames: Array, part: Index, root: Index | None) -> tuple[Array, Array]:
        """Rotations (n, 3, 3) and positions (n, 3) of parts, in the frame of a root link.

        Args:
            frames: base_from_link of the items, shape (n, links, 4, 4).
            part: Shape (n,).
            root: Shape (n,), or None for the base frame.
        """
        rows = np.arange(len(part))
        frame = frames[rows, self.link[part]]
        rotation = frame[:, :3, :3] @ self.parts.rotation[part]
        position = (
            frame[:, :3, 3] + (frame[:, :3, :3] @ self.parts.position[part][:, :, None])[..., 0]
        )
        if root is not None:
            # only where there is a change: even a turn by nothing may turn -0.0 into 0.0
            seen = np.flatnonzero(root)
            base = frames[seen, root[seen]]
            back = np.swapaxes(base[:, :3, :3], 1, 2)
            rotation[seen] = back @ rotation[seen]
            position[seen] = (back @ (position[seen] - base[:, :3, 3])[:, :, None])[..., 0]
        return rotation, position


def _boxes(rotation: Array, position: Array, centre: Array, half: Array) -> tuple[Array, Array]:
    middle = position + (rotation @ centre[..., None])[..., 0]
    extent = (np.abs(rotation) @ half[..., None])[..., 0]
    return middle - extent, middle + extent


def box_gap(low: Array, high: Array, other_low: Array, other_high: Array) -> Array:
    """Distance between axis-aligned boxes, shape (..., 3) each; 0 when they overlap."""
    apart = np.maximum(np.maximum(other_low - high, low - other_high), 0.0)
    return np.sqrt((apart * apart).sum(axis=-1))
