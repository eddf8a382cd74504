"""Does the stack stand: cartons apart, on the deck, carried, within height and load.

All of it follows from the placements alone. A carton is carried by the deck, or by cartons
put down before it whose tops are level with its bottom; boards of the deck count as closed.
"""

from collections.abc import Iterator, Mapping
from types import MappingProxyType

import numpy as np

from ..cell.model import Pallet, Support, Tolerances
from ..palletizing.footprint import bounds, gap
from ..palletizing.labels import hidden_labels
from ..remembered import remembered
from .finding import Finding, Verdict
from .row_growth import Growth, row_growth
from .standing import CONTACT, Carried, Standing, carried, overlaps, standing

_SLACK = 1e-9  # of a sum of floats, in metres, kilograms or shares
_SIDES = ("-x", "-y", "+x", "+y")
_INWARD = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))

Found = tuple[int, Finding]  # the placement's place in the order, and what was found there


@remembered(most=16)
def stacking(
    pallet: Pallet, support: Support, tolerances: Tolerances
) -> Mapping[str, tuple[Finding, ...]]:
    """Whether each placement of a pallet stands as it should.

    Errs: cartons of unequal height are not levelled out: only those whose tops reach the
    bottom above within 0.1 mm carry it. Where carriers overlap, what they carry is counted
    too small. Both sides on which a load never stands better than it does.

    Args:
        pallet: Its placements from 1 on are those already there, if any; they are checked too.
        support: What a carton must stand on.
        tolerances: Carton size makes rows grow, carton height makes the stack grow.

    Returns:
        By placement id, in order: every aspect that fails or is marginal, in mm, kg, % or
        corners; else one finding that passes, with the share of the bottom that is carried
        (the least among the placement's cartons).
    """
    cartons = standing(pallet.placements)
    seats = carried(cartons, (pallet.size[0], pallet.size[1]), pallet.overhang)
    found: dict[int, list[Finding]] = {k: [] for k in range(len(pallet.placements))}
    for aspect in (
        _penetration(pallet, cartons),
        _overhang(pallet, cartons, tolerances),
        _lack_of_support(cartons, seats, support),
        _height(pallet, tolerances),
        _load(pallet),
        _labels(pallet, cartons),
    ):
        for index, finding in aspect:
            found[index].append(finding)
    for carton, seat in sorted(zip(cartons, seats, strict=True), key=lambda pair: pair[1].share):
        if not found[carton.turn]:
            found[carton.turn].append(_stands(carton, seat, support))
    return MappingProxyType({p.id: tuple(found[k]) for k, p in enumerate(pallet.placements)})


def _finding(
    verdict: Verdict,
    value: float | None,
    limit: float | None,
    unit: str,
    message: str,
    between: tuple[str, str] | None = None,
    gain: tuple[float, float, float] | None = None,
) -> Finding:
    """A finding of this check, rounded to what can be told on a screen."""
    return Finding(
        check="stacking",
        verdict=verdict,
        value=None if value is None else round(value, 6) + 0.0,
        limit=None if limit is None else round(limit, 6) + 0.0,
        unit=unit,
        message=message,
        between=between,
        gain=gain,
    )


def _stands(carton: Standing, seat: Carried, support: Support) -> Finding:
    """The finding of a placement with which nothing is wrong."""
    share = 100.0 * seat.share
    message = (
        f"{share:.0f} % of the bottom and {seat.corners} corners of {carton.name} are carried; "
        f"its centre of gravity lies {seat.centre_inside * 1000:.0f} mm inside what carries it"
    )
    return _finding("pass", share, 100.0 * support.least_area, "%", message)


def _penetration(pallet: Pallet, cartons: list[Standing]) -> Iterator[Found]:
    """Cartons in each other or in the deck: the deepest for each placement."""
    deepest: dict[int, tuple[float, str, str]] = {}

    def note(depth: float, carton: Standing, other: str) -> None:
        entry = (depth, carton.name, other)
        if depth > CONTACT + _SLACK:
            deepest[carton.turn] = max(deepest.get(carton.turn, entry), entry)

    for first, second in overlaps(cartons):
        a, b = sorted((cartons[first], cartons[second]), key=lambda carton: carton.turn)
        apart = max(gap(a.outline, b.outline), a.bottom - b.top, b.bottom - a.top)
        note(-apart, b, a.name)
    for carton in cartons:
        # Only what stands over the deck can be in it.
        x0, y0, x1, y1 = bounds([carton.outline])
        inside = min(x1, pallet.size[0] - x0, y1, pallet.size[1] - y0)
        note(min(-carton.bottom, inside), carton, f"pallet/{pallet.name}")
    for turn, (depth, name, other) in sorted(deepest.items()):
        message = f"{name} is {depth * 1000:.1f} mm inside {other}"
        yield (
            turn,
            _finding("fail", -1000 * depth, -1000 * CONTACT, "mm", message, (name, other)),
        )


def _overhang(pallet: Pallet, cartons: list[Standing], tolerances: Tolerances) -> Iterator[Found]:
    """Cartons past the deck's edge, the growth of their row included."""
    worst: dict[int, tuple[float, int, Growth, Standing]] = {}
    for carton, growths in zip(cartons, row_growth(cartons, tolerances), strict=True):
        x0, y0, x1, y1 = bounds([carton.outline])
        past = (-x0, -y0, x1 - pallet.size[0], y1 - pallet.size[1])
        for side in range(4):
            entry = (past[side] + growths[side].length, side, growths[side], carton)
            if carton.turn not in worst or entry[0] > worst[carton.turn][0] + _SLACK:
                worst[carton.turn] = entry
    for turn, (total, side, growth, carton) in sorted(worst.items()):
        if total > pallet.overhang + 1e-6:
            message = (
                f"{carton.name} hangs {total * 1000:.1f} mm over the {_SIDES[side]} edge of the "
                f"deck, allowed are {pallet.overhang * 1000:g} mm"
            )
            if growth.length > 0.0:
                message += (
                    f"; {growth.length * 1000:.1f} mm of it is growth of a row of "
                    f"{growth.cartons} by the carton size tolerance"
                )
            inward = np.array([[*_INWARD[side], 0.0]])
            turned = inward @ pallet.world_from_pallet[:3, :3].T
            gain = (float(turned[0, 0]), float(turned[0, 1]), float(turned[0, 2]))
            limit = 1000 * pallet.overhang
            between = (carton.name, f"pallet/{pallet.name}")
            yield turn, _finding("fail", 1000 * total, limit, "mm", message, between, gain)


def _lack_of_support(
    cartons: list[Standing], seats: list[Carried], support: Support
) -> Iterator[Found]:
    """The worst-carried carton of each placement, by area, by corners, by centre of gravity."""
    by_turn: dict[int, list[tuple[Standing, Carried]]] = {}
    for carton, seat in zip(cartons, seats, strict=True):
        by_turn.setdefault(carton.turn, []).append((carton, seat))
    for turn, pairs in sorted(by_turn.items()):
        carton, seat = min(pairs, key=lambda pair: pair[1].share)
        limit = 100.0 * support.least_area
        if seat.share <= _SLACK:
            yield turn, _finding("fail", 0.0, limit, "%", f"nothing carries {carton.name}")
            continue
        if seat.share < support.least_area - _SLACK:
            share = 100.0 * seat.share
            message = f"{share:.1f} % of the bottom of {carton.name} is carried, asked {limit:g} %"
            yield turn, _finding("fail", share, limit, "%", message)
        carton, seat = min(pairs, key=lambda pair: pair[1].corners)
        if seat.corners < support.least_corners:
            message = (
                f"{seat.corners} corners of {carton.name} are carried, "
                f"asked {support.least_corners}"
            )
            yield turn, _finding("fail", seat.corners, support.least_corners, "corners", message)
        carton, seat = min(pairs, key=lambda pair: pair[1].centre_inside)
        # On the very edge of what carries it a carton tips at a touch.
        if seat.centre_inside < CONTACT:
            inside = 1000 * seat.centre_inside
            message = (
                f"the centre of gravity of {carton.name} lies {abs(inside):.1f} mm "
                f"{'inside the edge' if inside >= 0 else 'outside'} of what carries it"
            )
            yield turn, _finding("fail", inside, 1000 * CONTACT, "mm", message)


def _height(pallet: Pallet, tolerances: Tolerances) -> Iterator[Found]:
    """Stacks over the pallet's greatest height; marginal where only tolerances lead there."""
    if pallet.max_height is None:
        return
    limit = 1000 * pallet.max_height
    for turn, placement in enumerate(pallet.placements):
        layers = placement.layer if tolerances.added == "sum" else placement.layer**0.5
        height = pallet.size[2] + placement.z
        most = height + layers * tolerances.carton_height
        if most > pallet.max_height + _SLACK:
            verdict: Verdict = "fail" if height > pallet.max_height + _SLACK else "marginal"
            message = f"the stack is {height * 1000:.1f} mm high, pallet included"
            if tolerances.carton_height > 0.0:
                message += f", up to {most * 1000:.1f} mm with the carton height tolerance"
            message += f"; allowed are {limit:g} mm"
            yield turn, _finding(verdict, 1000 * height, limit, "mm", message)


def _load(pallet: Pallet) -> Iterator[Found]:
    """Every placement from the one on at which the load is too much."""
    if pallet.max_load is None:
        return
    load = 0.0
    for turn, placement in enumerate(pallet.placements):
        load += sum(placement.group.items[k].carton.mass for k in placement.items)
        if load > pallet.max_load + _SLACK:
            message = f"the load is then {load:.1f} kg, allowed are {pallet.max_load:g} kg"
            yield turn, _finding("fail", load, pallet.max_load, "kg", message)


def _labels(pallet: Pallet, cartons: list[Standing]) -> Iterator[Found]:
    """Label sides that do not face out of their layer."""
    for turn in sorted({c.turn for c in cartons if c.carton.labels}):
        mine = [c for c in cartons if c.turn == turn]
        layer = pallet.placements[turn].layer
        others = [c.outline for c in cartons if c.turn != turn and c.layer == layer]
        hidden = hidden_labels([(c.carton, c.centre, c.yaw) for c in mine], others)
        if hidden:
            sides = " and ".join(f"{side} of {mine[k].name}" for k, side in hidden)
            message = f"label side {sides} does not face out of the layer"
            yield turn, _finding("fail", None, None, "", message)
