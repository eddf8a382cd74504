"""Solids on links, and their motion over pieces: poses, bends and bounding boxes."""

from dataclasses import dataclass
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

    Attributes:
        start: First piece of each segment, and the number of pieces, shape (segments + 1,).
        first: Joints at the start of each piece, shape (n, dof); last: at its end.
        to_go: Height still to go at both ends of each piece, shape (n, 2) [m].
    """

    start: Index
    first: Array
    last: Array
    to_go: Array


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
        for values in (pieces.first, pieces.last, pieces.to_go):
            if not np.isfinite(values).all():
                raise ValueError("a motion needs finite joints and heights")
        self.mover, self.parts, self.link, self.pieces = mover, parts, link, pieces
        self.ends = (mover.frames(pieces.first), mover.frames(pieces.last))
        self._steps = pieces.last - pieces.first
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

    def bend(self, piece: Index, part: Index, root: Index) -> Array:
        """Bend of parts over whole pieces, seen from root links; shapes (n,) [m]."""
        row = self._row[root, self.link[part]]
        if len(row) and row.min() < 0:
            self._learn(root, self.link[part])
            row = self._row[root, self.link[part]]
        spin = self._spin[row, piece]
        return self._fixed[row, piece] + spin * spin * self._lever[row, part]

    def _learn(self, root: Index, link: Index) -> None:
        """Work out bends and levers for pairs of links that are not known yet."""
        count = len(self._row)
        keys = np.bincount(root * count + link, minlength=count * count).reshape(count, count)
        for base, moved in np.argwhere((keys > 0) & (self._row < 0)).tolist():
            bound = self.mover.bend(self._steps, base, moved)
            levers = np.zeros(len(self.link))
            mine = np.flatnonzero(self.link == moved)
            if base != moved and len(mine):
                levers[mine] = self.mover.reach(base, moved, self._corners[mine])
            self._row[base, moved] = len(self._fixed)
            self._fixed = np.concatenate([self._fixed, bound.fixed[None]])
            self._spin = np.concatenate([self._spin, bound.spin[None]])
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
        bend = self.bend(np.arange(count), np.full(count, part), np.zeros(count, np.intp)) / 8
        sides: list[tuple[Array, Array]] = []
        for frames in self.ends:
            frame = frames[:, self.link[part]]
            rotation = frame[:, :3, :3] @ parts.rotation[part]
            position = (frame[:, :3, :3] @ parts.position[part][:, None])[..., 0] + frame[:, :3, 3]
            sides.append(_boxes(rotation, position, parts.box_centre[part], parts.box_half[part]))
        low = np.minimum(sides[0][0], sides[1][0]) - bend[:, None]
        return low, np.maximum(sides[0][1], sides[1][1]) + bend[:, None]

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
