"""Proved least clearance of moving solids over continuous, joint-linear motion.

The motion is a list of *pieces*: on each, every joint coordinate changes linearly
with a share running from 0 to 1. A *pair* is two solids over all pieces of one
segment; pairs that are to be answered together share a *query*. What is bounded is
the margin: the clearance less the limit asked for, where the limit may taper with
the height still to go (see `queries.Limits`).

The certificate. Take any direction d. Along d, the gap between two solids is at
least the lesser of its values at the two ends of an interval, less an eighth of the
bend of their points (see `arm.travel`); along the one axis about which parts turn against
each other they do not bend. The direction comes from the distance routine at the middle
of the interval; a poor direction costs tightness, never truth. Intervals that do not
settle their query are halved, all queries level by level in one batch.

Errs: on the safe side. `lower` is never above the true least margin; `upper` is a
margin that really occurs, so that the truth lies between them.
"""

from collections.abc import Iterator

import numpy as np

from .candidates import Items, candidates
from .components import component_first
from .distance import apart
from .frames import Array
from .intervals import Intervals
from .queries import Brackets, Limits, Mask, Pairs
from .stage import Index, Stage, Turning

CAP = 0.100  # [m]: clearances above this are told as "more than"
FLOOR = -0.020  # [m]: overlaps below this are told as "deeper than"
COARSE = 1e-3  # [m]: width of a bracket
FINE = 1e-4  # [m]: width of a bracket in which the room wished for lies
SETTLED = 5e-6  # [m]: width of a bracket in which the limit itself lies: all but undecidable
_BELOW = 2e-3  # [m]: a limit below zero is followed this much farther down
_LEVELS = 16  # halvings after which an interval is left as it is (still a true bound)
_PROBES = 4  # looks at promising pieces before all that are left
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


def at_a_glance(stage: Stage, pairs: Pairs, limits: Limits, *, cap: float) -> Array:
    """Proved lower bounds of the least margins of queries, by one look at each piece [m].

    Args:
        stage: The solids and their motion.
        pairs: What is to be watched.
        limits: What is asked for.
        cap: Clearances above this are not told apart [m].

    Returns:
        Shape (queries,); never above the true least margin, and often far below it.
    """
    return _Search(stage, pairs, limits, (FLOOR, cap), True).glance()


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
        if not values:  # a sign needs no more
            self.enough = np.minimum(self.enough, COARSE)
        self.deep = np.zeros(count, bool)
        self.floor = np.minimum(FLOOR, limits.rest - _BELOW)
        link = stage.link
        links = range(stage.frames.shape[1])
        seats = np.array([[stage.mover.seat(a, b) for b in links] for a in links], np.intp)
        self.root = seats[link[pairs.first], link[pairs.second]]
        nothing = Turning(np.zeros(len(self.root), np.intp), np.zeros(len(self.root)))
        self.turning = (nothing, nothing)
        self.tapers = limits.full != limits.rest
        self.lower = self.enough.copy()
        self.upper = np.full(count, np.inf)
        self.rank = np.argsort(np.lexsort((pairs.second, pairs.first)))
        self.best_pair = np.zeros(count, np.intp)
        self.best_piece = np.zeros(count, np.intp)
        self.best_share = np.zeros(count)
        self.best_limit = limits.full.copy()
        self.best_direction = np.zeros((count, 3))

    def run(self) -> Brackets:
        items, intervals = self._begin()
        items = self._probe(items, intervals)
        for level in range(_LEVELS):
            if level:
                self._try_again(items, intervals)
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

    def glance(self) -> Array:
        """Bounds by one look at each piece of each pair, shape (queries,)."""
        items, intervals = self._begin()
        self._evaluate(items, intervals)
        np.minimum.at(self.lower, self.pairs.query[items.pair], items.lower)
        return self.lower

    def _begin(self) -> tuple[Items, Intervals]:
        """Items over whole pieces, and how their parts turn; most pairs have none."""
        stage, pairs = self.stage, self.pairs
        items = candidates(stage, pairs, self.limits, self.enough)
        near = np.zeros(len(self.root), bool)
        near[items.pair] = True
        self.turning = (
            stage.turning(pairs.first, self.root, near),
            stage.turning(pairs.second, self.root, near),
        )
        piece, items.interval = np.unique(items.interval, return_inverse=True)
        return items, Intervals.whole(stage, piece)

    def _probe(self, items: Items, intervals: Intervals) -> Items:
        """Look closely at the most promising pieces, and use what they show for the others.

        First one of each query: what it shows mostly settles all pairs that are farther. Then
        one of each pair that is left: a direction that parts two solids at one instant mostly
        does so before and after, and trying it costs a fraction of a distance.
        """
        for number in range(_PROBES):
            items = self._settle(items)
            if not len(items.pair):
                break
            of = items.pair if number else self.pairs.query[items.pair]
            order = np.lexsort((items.interval, self.rank[items.pair], items.lower, of))
            probes = items.take(order[_first_of_each(of[order])])
            self._look(probes, intervals)
            of_pair = np.full(len(self.pairs.query), -1, np.intp)
            of_pair[probes.pair] = np.arange(len(probes.pair))
            mine = of_pair[items.pair]
            alike = np.flatnonzero(mine >= 0)
            items.direction[alike] = probes.direction[mine[alike]]
            self._bound(items, intervals, alike)
        return items

    def _try_again(self, items: Items, intervals: Intervals) -> None:
        """Bound halves by the directions that served for the whole."""
        self._bound(items, intervals, np.arange(len(items.pair)))

    def _settle(self, items: Items) -> Items:
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

    def _leave_crowded(self, items: Items) -> Items:
        """Give up where halving does not help: the bounds are wide, and true all the same."""
        query = self.pairs.query[items.pair]
        crowded = np.bincount(query, minlength=len(self.lower))[query] > _CROWDED[1]
        np.minimum.at(self.lower, query[crowded], items.lower[crowded])
        return items.take(~crowded)

    def _evaluate(self, items: Items, intervals: Intervals) -> None:
        """Bound items over their intervals; note margins that occur in the middle."""
        self._look(items, intervals)
        self._bound(items, intervals, np.arange(len(items.pair)))

    def _look(self, items: Items, intervals: Intervals) -> None:
        """Distances in the middle of intervals: noted as margins; their directions are kept."""
        pairs, stage = self.pairs, self.stage
        halfway = intervals.poses_between(stage, items.interval)
        for rows in _blocks(len(items.pair)):
            pair, interval = items.pair[rows], items.interval[rows]
            root = self.root[pair]
            first = stage.posed(halfway, interval, pairs.first[pair], root)
            second = stage.posed(halfway, interval, pairs.second[pair], root)
            found = apart(first, second, self.cap + 2 * COARSE, self.deepest)
            piece = intervals.piece[interval]
            middle = intervals.central()[interval, 0]
            query = pairs.query[pair]
            limit = self.limits.at(query, self._height(piece, middle))
            self._note(query, found.upper - limit, pair, piece, middle, limit, found.direction)
            items.direction[rows] = found.direction

    def _bound(self, items: Items, intervals: Intervals, which: Index) -> None:
        """The certificate: proved margins of some items over whole intervals."""
        for rows in _blocks(len(which)):
            some = which[rows]
            bound = self._along(items.take(some), intervals)
            items.lower[some] = np.maximum(items.lower[some], bound)

    def _along(self, items: Items, intervals: Intervals) -> Array:
        """What directions prove of the margins over intervals, shape (n,)."""
        pair, limits = items.pair, self.limits
        query, piece = self.pairs.query[pair], intervals.piece[items.interval]
        bound = np.full(len(pair), np.inf)
        tapers = self.tapers[query]
        sloped = np.full(int(np.count_nonzero(tapers)), np.inf)
        gaps = self._gaps(items, intervals, piece)
        for gap, weights in zip(gaps, intervals.weights, strict=True):
            bound = np.minimum(bound, gap)
            if len(sloped):
                share = weights[items.interval[tapers], 0]
                height = self._height(piece[tapers], share)
                sloped = np.minimum(sloped, gap[tapers] - limits.sloped(query[tapers], height))
        bound -= limits.full[query]
        bound[tapers] = np.maximum(bound[tapers], sloped)
        first, second = (turning.take(pair) for turning in self.turning)
        along = component_first(items.direction)
        stray = self.stage.stray(piece, first, along) + self.stage.stray(piece, second, along)
        bound -= stray * intervals.width**2
        return np.where(np.isfinite(bound), bound, -np.inf)

    def _gaps(self, items: Items, intervals: Intervals, piece: Index) -> list[Array]:
        """Gaps along the items' directions at each corner of their intervals, (n,) each."""
        direction = component_first(items.direction)
        every = np.arange(len(items.pair))
        first = self._gap(items, intervals, intervals.ends[0], direction, every)
        gaps = [first]
        for frames in intervals.ends[1:]:
            # where one piece ends the next begins: the same pair along the same direction
            shared = np.zeros(len(every), bool)
            if intervals.width == 1.0 and len(intervals.ends) == 2:
                shared[:-1] = (items.pair[1:] == items.pair[:-1]) & (piece[1:] == piece[:-1] + 1)
                shared[:-1] &= (direction[:, 1:] == direction[:, :-1]).all(axis=0)
            gap = np.empty(len(every))
            gap[shared] = first[1:][shared[:-1]]
            rest = np.flatnonzero(~shared)
            gap[rest] = self._gap(items, intervals, frames, direction, rest)
            gaps.append(gap)
        return gaps

    def _gap(
        self, items: Items, intervals: Intervals, frames: Array, direction: Array, rows: Index
    ) -> Array:
        """Gaps of some items along their directions at link poses of their intervals, (rows,)."""
        stage, pair, at = self.stage, items.pair[rows], items.interval[rows]
        along = stage.in_base(frames, at, self.root[pair], direction[:, rows])
        first = stage.top(frames, at, self.pairs.first[pair], along)
        return -first - stage.top(frames, at, self.pairs.second[pair], -along)

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

    def _halve(self, items: Items, intervals: Intervals) -> tuple[Items, Intervals]:
        """Parts of half the size of every interval that is still needed."""
        kept, place = np.unique(items.interval, return_inverse=True)
        halves, parts = intervals.halved(self.stage, kept)
        return Items(
            np.concatenate([items.pair] * parts),
            np.concatenate([place + part * len(kept) for part in range(parts)]),
            np.concatenate([items.lower] * parts),
            np.concatenate([items.direction] * parts),
        ), halves
