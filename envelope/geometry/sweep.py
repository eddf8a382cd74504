"""Proved least clearance of moving solids over continuous, joint-linear motion.

The motion is a list of *pieces*: on each, every joint coordinate changes linearly
with a share running from 0 to 1. A *pair* is two solids over all pieces of one
segment; pairs that are to be answered together share a *query*. What is bounded is
the margin: the clearance less the limit asked for, where the limit may taper with
the height still to go (see `queries.Limits`).

The certificate. Take any direction d. Along d, the gap between two solids is at
least the lesser of its values at the two ends of an interval, less an eighth of the
bend of their points (see `arm.travel`). The direction comes from the distance
routine at the middle of the interval; a poor direction costs tightness, never
truth. Intervals that do not settle their query are halved, all queries level by
level in one batch.

Errs: on the safe side. `lower` is never above the true least margin; `upper` is a
margin that really occurs, so that the truth lies between them.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from .distance import gap_along, separation
from .frames import Array
from .intervals import Intervals
from .queries import Brackets, Limits, Mask, Pairs
from .stage import Index, Stage, box_gap

CAP = 0.100  # [m]: clearances above this are told as "more than"
FLOOR = -0.020  # [m]: overlaps below this are told as "deeper than"
COARSE = 1e-3  # [m]: width of a bracket
FINE = 1e-4  # [m]: width of a bracket in which the room wished for lies
SETTLED = 5e-6  # [m]: width of a bracket in which the limit itself lies: all but undecidable
_BELOW = 2e-3  # [m]: a limit below zero is followed this much farther down
_LEVELS = 16  # halvings after which an interval is left as it is (still a true bound)
_PROBES = 3  # pieces of each pair that are looked at before all that are left
_CROWDED = (10, 20_000)  # from this level on, a query with more items open is left as it is
_BLOCK = 4096  # items handled at once


def certify(
    stage: Stage,
    pairs: Pairs,
    limits: Limits,
    *,
    cap: float = CAP,
    floor: float = FLOOR,
    values: bool = True,
) -> Brackets:
    """Brackets on the least margin of every query.

    Args:
        stage: The solids and their motion.
        pairs: What is to be watched; each pair's query is an index into `limits`.
        limits: What is asked for.
        cap: Clearances above this are not told apart [m]; more than any limit plus margin.
        floor: Overlaps deeper than this are not told apart [m]; below all limits.
        values: False stops a query as soon as its sign is known (yes or no).
    """
    return _Search(stage, pairs, limits, (floor, cap), values).run()


def floor_under(limit: float) -> float:
    """Overlap below which it is told as "deeper than": under the limit in any case [m]."""
    return min(FLOOR, limit - _BELOW)


def _first_of_each(sorted_keys: Index) -> Mask:
    """Which entries differ from the one before."""
    leading = np.ones(len(sorted_keys), bool)
    leading[1:] = sorted_keys[1:] != sorted_keys[:-1]
    return leading


def _blocks(count: int) -> Iterator[slice]:
    """Slices of at most a block each."""
    for first in range(0, count, _BLOCK):
        yield slice(first, first + _BLOCK)


@dataclass(slots=True, eq=False)
class _Items:
    """Pairs over intervals of pieces: what one level of the search works on."""

    pair: Index
    interval: Index
    lower: Array

    def take(self, which: Index | Mask) -> "_Items":
        return _Items(self.pair[which], self.interval[which], self.lower[which])


class _Search:
    """Branch and bound over time, for all queries at once."""

    def __init__(
        self,
        stage: Stage,
        pairs: Pairs,
        limits: Limits,
        followed: tuple[float, float],
        values: bool,
    ) -> None:
        self.stage, self.pairs, self.limits = stage, pairs, limits
        (self.deepest, self.cap), self.values = followed, values
        count = len(limits.full)
        self.enough = self.cap - limits.full
        self.deep = np.zeros(count, bool)
        self.floor = np.minimum(FLOOR, limits.rest - _BELOW)
        link = stage.link
        links = range(stage.ends[0].shape[1])
        common = np.array([[stage.mover.common(a, b) for b in links] for a in links], np.intp)
        self.root = common[link[pairs.first], link[pairs.second]]
        self.lower = self.enough.copy()
        self.upper = np.full(count, np.inf)
        self.rank = np.argsort(np.lexsort((pairs.second, pairs.first)))
        self.best_pair = np.zeros(count, np.intp)
        self.best_piece = np.zeros(count, np.intp)
        self.best_share = np.zeros(count)
        self.best_limit = limits.full.copy()
        self.best_direction = np.zeros((count, 3))

    def run(self) -> Brackets:
        items = self._candidates()
        intervals = self._whole_pieces(items)
        items = self._probe(items, intervals)
        for level in range(_LEVELS):
            items = self._settle(items)
            if level >= _CROWDED[0]:
                items = self._leave_crowded(items)
            if not len(items.pair):
                break
            self._evaluate(items, intervals)
            items = self._settle(items)
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

    def _whole_pieces(self, items: _Items) -> Intervals:
        """Intervals for the pieces that items need; renumbers the items' intervals."""
        piece, items.interval = np.unique(items.interval, return_inverse=True)
        return Intervals.whole(self.stage, piece)

    def _probe(self, items: _Items, intervals: Intervals) -> _Items:
        """Look closely at each pair's most promising piece, and use what it shows for the others.

        A direction that parts two solids at one instant mostly does so before and after, and
        trying it costs a fraction of a distance.
        """
        for _ in range(_PROBES):
            items = self._settle(items)
            if not len(items.pair):
                break
            order = np.lexsort((items.interval, items.lower, items.pair))
            probes = items.take(order[_first_of_each(items.pair[order])])
            direction = self._evaluate(probes, intervals)
            of_pair = np.zeros(len(self.pairs.query), np.intp)
            of_pair[probes.pair] = np.arange(len(probes.pair))
            mine = direction[of_pair[items.pair]]
            for rows in _blocks(len(items.pair)):
                bound = self._along(items.pair[rows], items.interval[rows], intervals, mine[rows])
                items.lower[rows] = np.maximum(items.lower[rows], bound)
        return items

    def _settle(self, items: _Items) -> _Items:
        """Take the bounds of items that need no closer look; return the others."""
        query = self.pairs.query[items.pair]
        lower, upper = items.lower, self.upper[query]
        if self.values:
            open_limit = (lower < 0) & (upper >= -SETTLED)
            wanted = self.limits.wanted[query]
            open_wish = (lower < wanted) & (upper >= wanted)
            width = np.where(open_limit, SETTLED, np.where(open_wish, FINE, COARSE))
            done = (lower >= self.enough[query]) | (lower >= upper - width)
        else:
            done = (lower >= 0) | (upper < 0) | (lower >= upper - SETTLED)
        done |= self.deep[query]
        np.minimum.at(self.lower, query[done], lower[done])
        return items.take(~done)

    def _leave_crowded(self, items: _Items) -> _Items:
        """Give up where halving does not help: the bounds are wide, and true all the same."""
        query = self.pairs.query[items.pair]
        crowded = np.bincount(query, minlength=len(self.lower))[query] > _CROWDED[1]
        np.minimum.at(self.lower, query[crowded], items.lower[crowded])
        return items.take(~crowded)

    def _evaluate(self, items: _Items, intervals: Intervals) -> Array:
        """Bound items over their intervals; note margins that occur in the middle.

        Returns:
            The direction used for each item, shape (n, 3).
        """
        directions = np.empty((len(items.pair), 3))
        for rows in _blocks(len(items.pair)):
            pair, interval = items.pair[rows], items.interval[rows]
            directions[rows] = self._look(pair, interval, intervals)
            bound = self._along(pair, interval, intervals, directions[rows])
            items.lower[rows] = np.maximum(items.lower[rows], bound)
        return directions

    def _look(self, pair: Index, interval: Index, intervals: Intervals) -> Array:
        """Distances in the middle of intervals: noted as margins; returns the directions."""
        parts, pairs = self.stage.parts, self.pairs
        poses, others = self._poses(intervals.middle, pair, interval)
        found = separation(
            parts,
            pairs.first[pair],
            *poses,
            parts,
            pairs.second[pair],
            *others,
            cap=self.cap + 2 * COARSE,
            floor=self.deepest,
        )
        piece = intervals.piece[interval]
        middle = intervals.central()[interval, 0]
        query = pairs.query[pair]
        limit = self.limits.at(query, self._height(piece, middle))
        self._note(query, found.upper - limit, pair, piece, middle, limit, found.direction)
        return found.direction

    def _along(self, pair: Index, interval: Index, intervals: Intervals, direction: Array) -> Array:
        """The certificate: proved margins over whole intervals by given directions."""
        stage, pairs, limits = self.stage, self.pairs, self.limits
        query, root = pairs.query[pair], self.root[pair]
        first, second = pairs.first[pair], pairs.second[pair]
        piece = intervals.piece[interval]
        plain, sloped = np.full(len(pair), np.inf), np.full(len(pair), np.inf)
        for frames, weights in zip(intervals.ends, intervals.weights, strict=True):
            share = weights[interval, 0]
            poses, others = self._poses(frames, pair, interval)
            gap = gap_along(stage.parts, first, *poses, stage.parts, second, *others, direction)
            plain = np.minimum(plain, gap - limits.full[query])
            sloped = np.minimum(sloped, gap - limits.sloped(query, self._height(piece, share)))
        stray = stage.stray(piece, first, root) + stage.stray(piece, second, root)
        bound = np.maximum(plain, sloped) - stray * intervals.width**2
        return np.where(np.isfinite(bound), bound, -np.inf)

    def _poses(
        self, frames: Array, pair: Index, interval: Index
    ) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
        """Poses of both parts of pairs, in the frame of their common link."""
        root = self.root[pair]
        in_root = root if root.any() else None
        at = frames[interval]
        first = self.stage.placed(at, self.pairs.first[pair], in_root)
        return first, self.stage.placed(at, self.pairs.second[pair], in_root)

    def _height(self, piece: Index, share: Array) -> Array:
        """Height still to go at shares of pieces [m]."""
        to_go = self.stage.pieces.to_go[piece]
        return to_go[:, 0] + (to_go[:, 1] - to_go[:, 0]) * share

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
        """Remember the least margin seen of each query, or one where it is too deep to tell.

        Ties go to the earliest parts and time, in whatever order they are noted.
        """
        shallow, rank = margin + limit >= self.floor[query], self.rank[pair]
        keys = (shallow, margin, rank, piece, share)
        order = np.lexsort((*reversed(keys), query))
        best = order[_first_of_each(query[order])]
        at = query[best]
        known = (~self.deep, self.upper, self.rank[self.best_pair], self.best_piece)
        better, same = np.zeros(len(at), bool), np.ones(len(at), bool)
        for key, old in zip(keys, (*known, self.best_share), strict=True):
            better |= same & (key[best] < old[at])
            same &= key[best] == old[at]
        best, at = best[better], at[better]
        self.upper[at], self.deep[at] = margin[best], ~shallow[best]
        self.best_pair[at], self.best_piece[at] = pair[best], piece[best]
        self.best_share[at], self.best_limit[at] = share[best], limit[best]
        self.best_direction[at] = direction[best]

    def _halve(self, items: _Items, intervals: Intervals) -> tuple[_Items, Intervals]:
        """Parts of half the size of every interval that is still needed."""
        kept, place = np.unique(items.interval, return_inverse=True)
        halves, parts = intervals.halved(self.stage, kept)
        return _Items(
            np.concatenate([items.pair] * parts),
            np.concatenate([place + part * len(kept) for part in range(parts)]),
            np.concatenate([items.lower] * parts),
        ), halves
