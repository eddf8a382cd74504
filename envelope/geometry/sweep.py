"""Proved least clearance of moving solids over continuous, joint-linear motion.

The motion is a list of *pieces*: on each, every joint coordinate changes linearly
with a share running from 0 to 1. A *pair* is two solids over all pieces of one
segment; pairs that are to be answered together share a *query*. What is bounded is
the margin: the clearance less the limit asked for, where the limit may taper with
the height still to go (see `Limits`).

The certificate. Take any direction d. Along d, the gap between two solids is at
least the lesser of its values at the two ends of an interval, less an eighth of the
bend of their points (see `arm.travel`). The direction comes from the distance
routine at the middle of the interval; a poor direction costs tightness, never
truth. Intervals that do not settle their query are halved, all queries level by
level in one batch.

Errs: on the safe side. `lower` is never above the true least margin; `upper` is a
margin that really occurs, so that the truth lies between them.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from .distance import gap_along, separation
from .frames import Array
from .solids import Solids

Index = NDArray[np.intp]
Mask = NDArray[np.bool_]

CAP = 0.100  # [m]: clearances above this are told as "more than"
FLOOR = -0.020  # [m]: overlaps below this are told as "deeper than"
COARSE = 1e-3  # [m]: width of a bracket
FINE = 1e-4  # [m]: width of a bracket in which the room wished for lies
SETTLED = 5e-6  # [m]: width of a bracket in which the limit itself lies: all but undecidable
_LEVELS = 26  # halvings after which an interval is left as it is (still a true bound)
_BLOCK = 4096  # items handled at once


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

    def reach(self, root: int, link: int, points: Array) -> float: ...  # noqa: D102


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


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """Two parts over one segment; arrays of shape (n,). A part on link 0 stands still."""

    segment: Index
    first: Index
    second: Index
    query: Index

    def take(self, which: Index | Mask) -> "Pairs":
        """Some of the pairs."""
        return Pairs(
            self.segment[which], self.first[which], self.second[which], self.query[which]
        )


@dataclass(frozen=True, slots=True, eq=False)
class Limits:
    """What each query asks for; shape (queries,) [m].

    At a height h still to go the limit is min(full, rest + (full - rest) * h / taper).

    Attributes:
        wanted: Extra room below which a query is marginal.
    """

    full: Array
    rest: Array
    wanted: Array
    taper: float

    def at(self, query: Index, to_go: Array) -> Array:
        """Limit of queries at heights still to go, shapes (n,)."""
        return np.minimum(self.full[query], self.sloped(query, to_go))

    def sloped(self, query: Index, to_go: Array) -> Array:
        """The tapering line alone: never below the limit where it counts."""
        full, rest = self.full[query], self.rest[query]
        return rest + (full - rest) * (to_go / self.taper)


@dataclass(frozen=True, slots=True, eq=False)
class Brackets:
    """The answer to each query; arrays of shape (queries,).

    Attributes:
        lower, upper: Bracket on the least margin [m]; `upper` is inf where nothing came near.
        near: Whether any solid came within the cap; where not, the rest is meaningless.
        pair: Index of the pair at `upper`; piece and share: when.
        limit: Limit in force at that instant [m].
        direction: Unit direction from the first to the second solid there, shape (queries, 3),
            in the frame of their common link.
    """

    lower: Array
    upper: Array
    near: Mask
    pair: Index
    piece: Index
    share: Array
    limit: Array
    direction: Array


class Stage:
    """Solids on links, and their motion over pieces: poses, bends and bounding boxes.

    Args:
        mover: What carries the links.
        parts: All convex parts, moving or not; in their link's frame.
        link: The link that carries each part, shape (parts,); 0 stands still.
        pieces: The motion.
    """

    def __init__(self, mover: Mover, parts: Solids, link: Index, pieces: Pieces) -> None:
        self.mover, self.parts, self.link, self.pieces = mover, parts, link, pieces
        self.ends = (mover.frames(pieces.first), mover.frames(pieces.last))
        self._steps = pieces.last - pieces.first
        self._bends: dict[tuple[int, int], BendOf] = {}
        self._levers: dict[tuple[int, int], Array] = {}
        signs = np.array(np.meshgrid((-1, 1), (-1, 1), (-1, 1))).reshape(3, 8).T
        corners = parts.box_centre[:, None] + signs * parts.box_half[:, None]
        self._corners = corners @ np.swapaxes(parts.rotation, 1, 2) + parts.position[:, None]
        self._still = _boxes(parts.rotation, parts.position, parts.box_centre, parts.box_half)

    def bend(self, piece: Index, part: Index, root: Index) -> Array:
        """Bend of parts over whole pieces, seen from root links; shapes (n,) [m]."""
        result = np.zeros(len(piece))
        for key in np.unique(np.stack([root, self.link[part]], 1), axis=0):
            base, link = int(key[0]), int(key[1])
            if base == link:
                continue
            chosen = np.flatnonzero((root == base) & (self.link[part] == link))
            bound = self._bend_of(base, link)
            at = piece[chosen]
            result[chosen] = (
                bound.fixed[at] + bound.spin[at] ** 2 * self._lever(base, link)[part[chosen]]
            )
        return result

    def _bend_of(self, root: int, link: int) -> BendOf:
        if (root, link) not in self._bends:
            self._bends[root, link] = self.mover.bend(self._steps, root, link)
        return self._bends[root, link]

    def _lever(self, root: int, link: int) -> Array:
        if (root, link) not in self._levers:
            levers = np.zeros(len(self.link))
            for part in np.flatnonzero(self.link == link):
                levers[part] = self.mover.reach(root, link, self._corners[part])
            self._levers[root, link] = levers
        return self._levers[root, link]

    def boxes(self, part: int) -> tuple[Array, Array]:
        """Axis-aligned box of a part over each piece, in the base frame: (n, 3) low, high."""
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
        position = frame[:, :3, 3] + (frame[:, :3, :3] @ self.parts.position[part][:, :, None])[
            ..., 0
        ]
        if root is not None:
            base = frames[rows, root]
            back = np.swapaxes(base[:, :3, :3], 1, 2)
            rotation = back @ rotation
            position = (back @ (position - base[:, :3, 3])[:, :, None])[..., 0]
        return rotation, position


def _boxes(rotation: Array, position: Array, centre: Array, half: Array) -> tuple[Array, Array]:
    middle = position + (rotation @ centre[..., None])[..., 0]
    extent = (np.abs(rotation) @ half[..., None])[..., 0]
    return middle - extent, middle + extent


def box_gap(low: Array, high: Array, other_low: Array, other_high: Array) -> Array:
    """Distance between axis-aligned boxes, shape (..., 3) each; 0 when they overlap."""
    apart = np.maximum(np.maximum(other_low - high, low - other_high), 0.0)
    return np.sqrt((apart * apart).sum(axis=-1))


def certify(
    stage: Stage, pairs: Pairs, limits: Limits, *, cap: float = CAP, values: bool = True
) -> Brackets:
    """Brackets on the least margin of every query.

    Args:
        stage: The solids and their motion.
        pairs: What is to be watched; each pair's query is an index into `limits`.
        limits: What is asked for.
        cap: Clearances above this are not told apart [m]; more than any limit plus margin.
        values: False stops a query as soon as its sign is known (yes or no).
    """
    return _Search(stage, pairs, limits, cap, values).run()


@dataclass(slots=True, eq=False)
class _Items:
    """Pairs over intervals of pieces: what one level of the search works on."""

    pair: Index
    interval: Index
    lower: Array

    def take(self, which: Index | Mask) -> "_Items":
        return _Items(self.pair[which], self.interval[which], self.lower[which])


@dataclass(slots=True, eq=False)
class _Intervals:
    """Parts of pieces, with the link poses at both ends and in the middle."""

    piece: Index
    start: Array
    width: float
    ends: tuple[Array, Array]
    middle: Array


class _Search:
    """Branch and bound over time, for all queries at once."""

    def __init__(
        self, stage: Stage, pairs: Pairs, limits: Limits, cap: float, values: bool
    ) -> None:
        self.stage, self.pairs, self.limits = stage, pairs, limits
        self.cap, self.values = cap, values
        count = len(limits.full)
        self.enough = cap - limits.full
        self.floor = FLOOR - limits.full
        link = stage.link
        roots = {
            (a, b): stage.mover.common(int(a), int(b))
            for a, b in np.unique(np.stack([link[pairs.first], link[pairs.second]], 1), axis=0)
        }
        self.root = np.array(
            [roots[a, b] for a, b in zip(link[pairs.first], link[pairs.second], strict=True)],
            dtype=np.intp,
        ).reshape(-1)
        self.lower = self.enough.copy()
        self.upper = np.full(count, np.inf)
        self.best_pair = np.zeros(count, np.intp)
        self.best_piece = np.zeros(count, np.intp)
        self.best_share = np.zeros(count)
        self.best_limit = limits.full.copy()
        self.best_direction = np.zeros((count, 3))

    def run(self) -> Brackets:
        items = self._candidates()
        intervals = self._whole_pieces(items)
        items = self._seed(items, intervals)
        for _ in range(_LEVELS):
            items = self._settle(items)
            if not len(items.pair):
                break
            items = self._settle(self._evaluate(items, intervals))
            items, intervals = self._halve(items, intervals)
        np.minimum.at(self.lower, self.pairs.query[items.pair], items.lower)
        return Brackets(
            np.minimum(self.lower, self.upper),
            self.upper,
            np.isfinite(self.upper) & (self.upper < self.enough),
            self.best_pair,
            self.best_piece,
            self.best_share,
            self.best_limit,
            self.best_direction,
        )

    def _candidates(self) -> _Items:
        """Every pair over every piece of its segment, less those that stay beyond the cap."""
        pairs, start = self.pairs, self.stage.pieces.start
        counts = start[pairs.segment + 1] - start[pairs.segment]
        pair = np.repeat(np.arange(len(counts)), counts)
        ahead = np.cumsum(counts) - counts
        piece = start[pairs.segment][pair] + np.arange(len(pair)) - ahead[pair]
        lower = np.empty(len(pair))
        boxes = {
            int(part): self.stage.boxes(int(part))
            for part in np.unique(np.concatenate([pairs.first, pairs.second]))
            if self.stage.link[part]
        }
        still_low, still_high = self.stage.still_boxes()
        order = np.argsort(pairs.first[pair], kind="stable")
        edges = np.flatnonzero(np.diff(pairs.first[pair[order]], prepend=-1))
        for rows in np.split(order, edges[1:]) if len(order) else ():
            low, high = boxes[int(pairs.first[pair[rows[0]]])]
            at, second = piece[rows], pairs.second[pair[rows]]
            other_low, other_high = still_low[second].copy(), still_high[second].copy()
            for part in np.unique(second[self.stage.link[second] != 0]):
                those = second == part
                other_low[those] = boxes[int(part)][0][at[those]]
                other_high[those] = boxes[int(part)][1][at[those]]
            lower[rows] = box_gap(low[at], high[at], other_low, other_high)
        lower -= self.limits.full[pairs.query[pair]]
        near = lower < self.enough[pairs.query[pair]]
        # boxes that overlap prove nothing: their solids may overlap by any amount
        lower[lower <= -self.limits.full[pairs.query[pair]]] = -np.inf
        return _Items(pair[near], piece[near], lower[near])

    def _whole_pieces(self, items: _Items) -> _Intervals:
        """Intervals for the pieces that items need; renumbers the items' intervals."""
        piece, items.interval = np.unique(items.interval, return_inverse=True)
        pieces = self.stage.pieces
        ends = (self.stage.ends[0][piece], self.stage.ends[1][piece])
        middle = self.stage.mover.frames((pieces.first[piece] + pieces.last[piece]) / 2)
        return _Intervals(piece, np.zeros(len(piece)), 1.0, ends, middle)

    def _seed(self, items: _Items, intervals: _Intervals) -> _Items:
        """Evaluate the most promising item of each query first, so that others need not be."""
        query = self.pairs.query[items.pair]
        order = np.lexsort((items.interval, items.pair, items.lower, query))
        leading = np.ones(len(order), bool)
        leading[1:] = query[order][1:] != query[order][:-1]
        self._evaluate(items.take(order[leading]), intervals)
        return items

    def _settle(self, items: _Items) -> _Items:
        """Take the bounds of items that need no closer look; return the others."""
        query = self.pairs.query[items.pair]
        lower, upper = items.lower, self.upper[query]
        if self.values:
            open_limit = (lower < 0) & (upper >= 0)
            wanted = self.limits.wanted[query]
            open_wish = (lower < wanted) & (upper >= wanted)
            width = np.where(open_limit, SETTLED, np.where(open_wish, FINE, COARSE))
            done = (lower >= self.enough[query]) | (lower >= upper - width)
            done |= upper < self.floor[query]
        else:
            done = (lower >= 0) | (upper < 0)
        np.minimum.at(self.lower, query[done], lower[done])
        return items.take(~done)

    def _evaluate(self, items: _Items, intervals: _Intervals) -> _Items:
        """Bound items over their intervals; note margins that occur in the middle."""
        for first in range(0, len(items.pair), _BLOCK):
            rows = slice(first, first + _BLOCK)
            bound = self._bound(items.pair[rows], items.interval[rows], intervals)
            items.lower[rows] = np.maximum(items.lower[rows], bound)
        return items

    def _bound(self, pair: Index, interval: Index, intervals: _Intervals) -> Array:
        stage, pairs, limits = self.stage, self.pairs, self.limits
        query, root = pairs.query[pair], self.root[pair]
        first, second = pairs.first[pair], pairs.second[pair]
        in_root = root if root.any() else None
        parts = stage.parts
        poses = stage.placed(intervals.middle[interval], first, in_root)
        others = stage.placed(intervals.middle[interval], second, in_root)
        found = separation(parts, first, *poses, parts, second, *others, cap=self.cap, floor=FLOOR)
        direction = found.direction
        piece, start = intervals.piece[interval], intervals.start[interval]
        to_go = stage.pieces.to_go[piece]

        def height(share: Array) -> Array:
            return to_go[:, 0] + (to_go[:, 1] - to_go[:, 0]) * share

        plain, sloped = np.full(len(pair), np.inf), np.full(len(pair), np.inf)
        for frames, share in zip(
            intervals.ends, (start, start + intervals.width), strict=True
        ):
            poses = stage.placed(frames[interval], first, in_root)
            others = stage.placed(frames[interval], second, in_root)
            gap = gap_along(parts, first, *poses, parts, second, *others, direction)
            plain = np.minimum(plain, gap - limits.full[query])
            sloped = np.minimum(sloped, gap - limits.sloped(query, height(share)))
        bend = stage.bend(piece, first, root) + stage.bend(piece, second, root)
        middle = start + intervals.width / 2
        limit = limits.at(query, height(middle))
        self._note(query, found.upper - limit, pair, piece, middle, limit, direction)
        bound = np.maximum(plain, sloped) - bend * intervals.width**2 / 8
        return np.where(np.isfinite(bound), bound, -np.inf)

    def _note(
        self,
        query: Index,
        margin: Array,
        pair: Index,
        piece: Index,
        share: Array,
        limit: Array,
        direction: Array,
    ) -> None:
        """Remember the least margin seen of each query; ties go to the earliest pair and time."""
        order = np.lexsort((share, piece, pair, margin, query))
        leading = np.ones(len(order), bool)
        leading[1:] = query[order][1:] != query[order][:-1]
        best = order[leading]
        best = best[margin[best] < self.upper[query[best]]]
        at = query[best]
        self.upper[at] = margin[best]
        self.best_pair[at], self.best_piece[at] = pair[best], piece[best]
        self.best_share[at], self.best_limit[at] = share[best], limit[best]
        self.best_direction[at] = direction[best]

    def _halve(self, items: _Items, intervals: _Intervals) -> tuple[_Items, _Intervals]:
        """Both halves of every interval that is still needed."""
        kept, place = np.unique(items.interval, return_inverse=True)
        width = intervals.width / 2
        early, middle, late = (
            intervals.ends[0][kept],
            intervals.middle[kept],
            intervals.ends[1][kept],
        )
        piece = np.concatenate([intervals.piece[kept]] * 2)
        start = np.concatenate([intervals.start[kept], intervals.start[kept] + width])
        pieces = self.stage.pieces
        share = (start + width / 2)[:, None]
        halves = _Intervals(
            piece,
            start,
            width,
            (np.concatenate([early, middle]), np.concatenate([middle, late])),
            self.stage.mover.frames(
                pieces.first[piece] + (pieces.last[piece] - pieces.first[piece]) * share
            ),
        )
        return _Items(
            np.concatenate([items.pair, items.pair]),
            np.concatenate([place, place + len(kept)]),
            np.concatenate([items.lower, items.lower]),
        ), halves
