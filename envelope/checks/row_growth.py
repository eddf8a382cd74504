"""How far rows of cartons grow when each is larger than drawn."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ..cell.model import Pallet, Tolerances
from ..palletizing.footprint import bounds
from .standing import CONTACT, Standing, standing


@dataclass(frozen=True, slots=True)
class Growth:
    """How far a carton's side may lie beyond its drawn place [m], and by how many cartons."""

    length: float
    cartons: int


def row_growth(
    cartons: Sequence[Standing], tolerances: Tolerances
) -> list[tuple[Growth, Growth, Growth, Growth]]:
    """Growth of each carton towards -x, -y, +x, +y.

    n cartons that touch grow by n times the tolerance (or the square root of n times it, as
    told), all of it towards one end; a gap drawn between two of them is used up first.

    Errs: a turned carton counts as the box around it, and pushes that never meet are added:
    on the side of too much growth.
    """
    size = tolerances.carton_size
    if size <= 0.0:
        none = Growth(0.0, 1)
        return [(none, none, none, none) for _ in cartons]
    boxes = [bounds([carton.outline]) for carton in cartons]
    layers: dict[int, list[int]] = {}
    for k, carton in enumerate(cartons):
        layers.setdefault(carton.layer, []).append(k)
    grown: dict[tuple[int, int], Growth] = {}
    for members in layers.values():
        for side in range(4):
            spans = {k: _span(boxes[k], side) for k in members}
            for k, growth in _along(spans, size, tolerances.added == "sum").items():
                grown[k, side] = growth
    return [(grown[k, 0], grown[k, 1], grown[k, 2], grown[k, 3]) for k in range(len(cartons))]


def _span(box: tuple[float, float, float, float], side: int) -> tuple[float, float, float, float]:
    """Near end, far end, lower and upper flank of a box, seen in the direction of a side."""
    axis = side % 2
    near, far = box[axis], box[axis + 2]
    if side < 2:
        near, far = -far, -near
    return near, far, box[1 - axis], box[3 - axis]


def _along(
    spans: dict[int, tuple[float, float, float, float]], size: float, linear: bool
) -> dict[int, Growth]:
    """Growth of the far end of each span, by chains of spans that push each other.

    For each span and each number of cartons in a chain that ends with it: the least sum of
    gaps. More cartons add growth, more gap takes it.
    """
    most = size * len(spans)
    gaps: dict[int, dict[int, float]] = {}
    growth: dict[int, Growth] = {}
    for k in sorted(spans, key=lambda k: (spans[k][0] + spans[k][1], k)):
        near, _, low, high = spans[k]
        chains = {1: 0.0}
        for j, behind in gaps.items():
            _, end, left, right = spans[j]
            between = max(near - end, 0.0)
            if between > most or min(high, right) - max(low, left) <= CONTACT:
                continue
            for n, used in behind.items():
                chains[n + 1] = min(chains.get(n + 1, math.inf), used + between)
        gaps[k] = chains
        growth[k] = max(
            (
                Growth(size * (n if linear else math.sqrt(n)) - used, n)
                for n, used in chains.items()
            ),
            key=lambda g: (g.length, -g.cartons),
        )
    return growth


def growths(pallet: Pallet, tolerances: Tolerances) -> dict[str, float]:
    """How far the row of each carton on a pallet may have grown towards any side, by name [m]."""
    cartons = standing(pallet.placements)
    return {
        carton.name: max(side.length for side in sides)
        for carton, sides in zip(cartons, row_growth(cartons, tolerances), strict=True)
    }
