"""Proved distances between convex solids: a lower end that holds, an upper end beside it.

The signed distance of two convex solids is the largest gap over all
directions, positive apart and negative overlapping. So the gap along *any*
direction is a lower bound: a search proposes directions, `gap_along` proves
them, and a fault in the search costs tightness, never a wrong pass.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from . import boxes, gjk
from .boxes import BoxPair
from .components import component_first, dot, rotate, unit
from .depth import depths
from .flat import flat_depths, flat_pairs
from .frames import Array
from .posed import Posed, reach
from .solids import ROUNDED_BOX, Solids
from .winding import inside_mesh

__all__ = ["Separation", "apart", "gap", "gap_along", "inside_mesh", "separation"]

TIGHT = 1e-6
"""Width [m] of a bracket that needs no more work."""
NEARLY_TOUCHING = 1e-4
"""Length [m] of a vector between two solids too short to be a good direction."""


@dataclass(frozen=True, slots=True, eq=False)
class Separation:
    """Brackets on signed distances of m pairs.

    Attributes:
        lower: proved: the gap along `direction`, shape (m,) [m].
        upper: never below the signed distance, shape (m,) [m].
        direction: unit vectors from the first to the second, shape (m, 3).
    """

    lower: Array
    upper: Array
    direction: Array


def gap_along(
    a: Solids,
    ia: Any,
    Ra: Array,
    pa: Array,
    b: Solids,
    ib: Any,
    Rb: Array,
    pb: Array,
    direction: Array,
) -> Array:
    """Gap between solids along given directions: a proved bound of their distance.

    min over the second solid of d.x, less max over the first of d.x. The signed
    distance is the largest such gap, so each one is a lower bound of it.

    Errs: by rounding only (about 1e-15 times the coordinates). A direction
    of length 0, or anything that is not finite, gives -inf, never "far".

    Args:
        a: table of the first solids.
        ia: parts of it, shape (m,).
        Ra: frame_from_part, shape (m, 3, 3).
        pa: frame_from_part, shape (m, 3) [m].
        b: table of the second solids.
        ib: as ia.
        Rb: as Ra.
        pb: as pa.
        direction: from first to second, any length, shape (m, 3).

    Returns:
        Shape (m,) [m].
    """
    first = Posed.of(a, ia, Ra, pa)
    second = Posed.of(b, ib, Rb, pb)
    return gap(first, second, component_first(direction))


def gap(first: Posed, second: Posed, direction: Array) -> Array:
    """`gap_along` for items already posed; direction: shape (3, m)."""
    d = unit(direction)
    with np.errstate(invalid="ignore", over="ignore"):
        value = dot(second.position - first.position, d) - reach(first, d) - reach(second, -d)
    return np.where(np.isfinite(value), value, -np.inf)


def separation(
    a: Solids,
    ia: Any,
    Ra: Array,
    pa: Array,
    b: Solids,
    ib: Any,
    Rb: Array,
    pb: Array,
    cap: float = 0.1,
    floor: float = -0.02,
) -> Separation:
    """Brackets on the signed distance of pairs of solids.

    Errs: `lower` is the gap along `direction`; `upper` is the distance of two
    points of the solids, or follows from a ball inside their difference.
    Within 2e-6 m of each other, unless the pair is farther than `cap` or deeper than `floor`,
    or the search gave up: then the bracket is wider and still holds.

    Args:
        a: table of the first solids.
        ia: parts of it, shape (m,).
        Ra: frame_from_part, shape (m, 3, 3).
        pa: frame_from_part, shape (m, 3) [m].
        b: table of the second solids.
        ib: as ia.
        Rb: as Ra.
        pb: as pa.
        cap: a lower end above this need not be tight [m].
        floor: an upper end below this need not be tight [m].

    Returns:
        Each pair's answer is the same whatever stands beside it in the batch. A pose that
        is not finite gives lower -inf and upper +inf.
    """
    return apart(Posed.of(a, ia, Ra, pa), Posed.of(b, ib, Rb, pb), cap, floor)


def apart(first: Posed, second: Posed, cap: float, floor: float) -> Separation:
    """`separation` for items already posed."""
    with np.errstate(all="ignore"):
        direction, upper = _searched(first, second, cap, floor)
        direction = unit(direction)
        lower = gap(first, second, direction)
    sound = np.isfinite(lower)
    # a pose that is no number proves nothing on either side
    upper = np.where(sound & ~np.isnan(upper), np.maximum(upper, lower), np.inf)
    return Separation(lower, upper, np.ascontiguousarray(direction.T))


def _searched(first: Posed, second: Posed, cap: float, floor: float) -> tuple[Array, Array]:
    """Directions, (3, m), and upper ends, (m,), from the routine that fits each pair."""
    round_ = (first.kind == ROUNDED_BOX) & (second.kind == ROUNDED_BOX)
    if round_.all():
        return _searched_boxes(first, second, cap)
    direction, upper = np.empty_like(first.position), np.empty(len(round_))
    for rows, boxes_only in ((np.flatnonzero(round_), True), (np.flatnonzero(~round_), False)):
        a, b = first.take(rows), second.take(rows)
        if boxes_only:
            direction[:, rows], upper[rows] = _searched_boxes(a, b, cap)
        else:
            direction[:, rows], upper[rows] = _searched_others(a, b, cap, floor)
    return direction, upper


def _searched_boxes(first: Posed, second: Posed, cap: float) -> tuple[Array, Array]:
    pair = BoxPair.between(
        (first.half, first.rotation, first.position),
        (second.half, second.rotation, second.position),
    )
    rounding = first.radius + second.radius
    widest = boxes.widest_axis(pair)
    width, axis = widest.gap, widest.direction.copy()
    # points of the boxes: their centres; better ones follow where they matter
    upper = np.sqrt(dot(pair.offset, pair.offset))
    upper = np.where(width <= 0.0, width + boxes.AXES_SLACK, upper)
    near = np.flatnonzero((width > 0.0) & (width - rounding <= cap))
    if len(near):
        axis[:, near], upper[near] = _nearest_boxes(pair.take(near), widest.take(near))
    return rotate(first.rotation, axis), upper - rounding


def _nearest_boxes(pair: BoxPair, widest: boxes.WidestAxis) -> tuple[Array, Array]:
    """Directions (3, m) and upper ends (m,) for core boxes that are apart."""
    vector, length = boxes.nearest_points(pair, widest)
    axis, width = _wider(pair, widest.direction, widest.gap, vector)
    loose = np.flatnonzero(length - width > TIGHT)
    if len(loose):
        few = pair.take(loose)
        vector, length[loose] = boxes.nearest_on_all_edges(few)
        axis[:, loose], _ = _wider(few, axis[:, loose], width[loose], vector)
    return axis, length


def _wider(pair: BoxPair, axis: Array, width: Array, vector: Array) -> tuple[Array, Array]:
    """The better of an axis and the direction of a vector, and the gap along it."""
    direction = unit(vector)
    gap_there = boxes.gap_of_cores(pair, direction)
    better = gap_there > width
    return np.where(better, direction, axis), np.where(better, gap_there, width)


def _searched_others(first: Posed, second: Posed, cap: float, floor: float) -> tuple[Array, Array]:
    rounding = first.rounding() + second.rounding()
    pair = BoxPair.between(first.bounding_box(), second.bounding_box())
    start = rotate(first.rotation, boxes.widest_axis(pair).direction)
    found = gjk.nearest(first, second, start, rounding + cap, TIGHT)
    direction, upper = found.direction, found.upper
    # overlapping, or so near to touching that the search lost its way
    deep = (upper <= gjk.TOUCH) | ((upper - found.lower > TIGHT) & (upper < NEARLY_TOUCHING))
    deep &= upper - rounding >= floor
    flat = flat_pairs(first, second)
    rows = np.flatnonzero(deep & flat)
    if len(rows):
        better, seen, below = flat_depths(first.take(rows), second.take(rows))
        wider = rows[seen > found.lower[rows]]
        direction[:, wider] = better[:, seen > found.lower[rows]]
        upper[rows] = np.where(below < 0.0, below, upper[rows])
    rows = np.flatnonzero(deep & ~flat)
    if len(rows):
        a, b = first.take(rows), second.take(rows)
        direction[:, rows], below = depths(a, b, direction[:, rows], floor + rounding[rows], TIGHT)
        upper[rows] = np.where(below < 0.0, below, upper[rows])
    return direction, upper - rounding
