"""Layer plans to scale: where each group goes, in which order, from where, how well."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..cell.model import Cell, Pallet
from ..checks.finding import Judged, Result, Verdict
from ..geometry.frames import Array, invert
from ..palletizing.group import Placement

_LEAST_ARROW = 1e-3  # [m]: a shift sideways smaller than this is straight down
_ROOMY = 112.0  # [mm]: half a carton as small as this has room for number, mark and arrow
_SMALLEST, _LARGEST = 0.5, 1.3  # of number and mark, for other cartons
_MARGIN = 110.0  # [mm] around the deck, for arrows and the arm's side


@dataclass(frozen=True, slots=True)
class Outline:
    """A carton seen from above: corners as SVG points, in mm, y down."""

    corners: str


@dataclass(frozen=True, slots=True)
class Spot:
    """A placement on a plan, in mm, y down.

    Attributes:
        x, y: Middle of what is put down.
        scale: Of its number and verdict mark, which shrink with small cartons.
        whole: The outline of a group of several cartons.
        arrow: Where the approach starts and ends, or None for straight down.
    """

    id: str
    number: int
    verdict: Verdict | None
    x: float
    y: float
    scale: float
    cartons: tuple[Outline, ...]
    whole: Outline | None
    arrow: tuple[float, float, float, float] | None
    label: str


@dataclass(frozen=True, slots=True)
class Plan:
    """One layer of one pallet, seen from above, as drawn.

    Attributes:
        box: View box of the drawing.
        arm: Where to point out the arm at the edge: x, y [mm] and the turn of the mark [deg].
        words: What the plan shows, for who cannot see it.
    """

    pallet: str
    layer: int
    length: float
    width: float
    box: str
    spots: tuple[Spot, ...]
    arm: tuple[float, float, float]
    words: str


def plans(cell: Cell, result: Result) -> list[Plan]:
    """A plan of every layer in which something was checked, pallet by pallet from below."""
    judged = {entry.placement.id: entry for entry in result.placements}
    found: list[Plan] = []
    for pallet in cell.pallets:
        layers: dict[int, list[Placement]] = {}
        for placement in pallet.placements:
            layers.setdefault(placement.layer, []).append(placement)
        for layer in sorted(layers):
            if any(placement.id in judged for placement in layers[layer]):
                found.append(_plan(cell, pallet, layer, layers[layer], judged))
    return found


def _plan(
    cell: Cell, pallet: Pallet, layer: int, members: list[Placement], judged: dict[str, Judged]
) -> Plan:
    length, width = pallet.size[0] * 1e3, pallet.size[1] * 1e3
    spots = tuple(_spot(cell, pallet, placement, judged.get(placement.id)) for placement in members)
    corners = [
        [float(value) for value in point.split(",")]
        for spot in spots
        for outline in spot.cartons
        for point in outline.corners.split()
    ]
    x = [0.0, length, *(corner[0] for corner in corners)]
    y = [-width, 0.0, *(corner[1] for corner in corners)]
    low, high = (min(x) - _MARGIN, min(y) - _MARGIN), (max(x) + _MARGIN, max(y) + _MARGIN)
    box = f"{low[0]:.0f} {low[1]:.0f} {high[0] - low[0]:.0f} {high[1] - low[1]:.0f}"
    return Plan(
        pallet.name,
        layer,
        length,
        width,
        box,
        spots,
        _towards_arm(cell, pallet, low, high),
        _words(spots),
    )


def _words(spots: tuple[Spot, ...]) -> str:
    """What a plan shows, for who cannot see it."""
    bad = [f"{spot.id} {spot.verdict}" for spot in spots if spot.verdict not in ("pass", None)]
    order = ", ".join(str(spot.number) for spot in spots)
    told = "; ".join(bad) if bad else "nothing fails or is marginal"
    return f"{len(spots)} placements, in the order {order}: {told}"


def _spot(cell: Cell, pallet: Pallet, placement: Placement, judged: Judged | None) -> Spot:
    outlines: list[Outline] = []
    corners: list[Array] = []
    middles: list[Array] = []
    least = math.inf
    for carton, at in placement.carton_poses():
        half = np.array(carton.size[:2]) / 2
        signs = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
        flat = (signs * half) @ at[:2, :2].T + at[:2, 3]
        outlines.append(_outline(flat))
        corners.append(flat)
        middles.append(at[:2, 3])
        least = min(least, float(half.min()))
    middle = np.mean(middles, axis=0) * 1e3
    verdict = None if judged is None else judged.verdict
    return Spot(
        placement.id,
        placement.order,
        verdict,
        float(middle[0]),
        -float(middle[1]),
        min(max(least * 1e3 / _ROOMY, _SMALLEST), _LARGEST),
        tuple(outlines),
        _around(np.concatenate(corners)) if len(corners) > 1 else None,
        _arrow(cell, pallet, placement, judged, middle, least * 1e3),
        f"{placement.id}: {verdict or 'not asked for'}",
    )


def _outline(points: Array) -> Outline:
    return Outline(" ".join(f"{x * 1e3:.1f},{-y * 1e3:.1f}" for x, y in points))


def _around(points: Array) -> Outline:
    """The convex outline of a group."""
    from scipy.spatial import ConvexHull

    return _outline(points[ConvexHull(points).vertices])


def _arrow(
    cell: Cell,
    pallet: Pallet,
    placement: Placement,
    judged: Judged | None,
    middle: Array,
    least: float,
) -> tuple[float, float, float, float] | None:
    """The way in, as driven; as asked for where no motion was found."""
    way = None if judged is None else _driven(cell, pallet, judged)
    if way is None and placement.approach is not None:
        way = -np.array(placement.approach)
    if way is None or float(np.linalg.norm(way)) < _LEAST_ARROW:
        return None
    step = way / np.linalg.norm(way) * least
    tail, head = middle - 1.25 * step, middle - 0.66 * step
    return float(tail[0]), -float(tail[1]), float(head[0]), -float(head[1])


def _driven(cell: Cell, pallet: Pallet, judged: Judged) -> Array | None:
    """How the tool moves sideways on the last straight way down, in the pallet's frame [m]."""
    if judged.cycle is None:
        return None
    tasks = [s for s in judged.cycle.segments if s.name == "approach place" and s.to_go[-1] <= 0.0]
    release = _release(judged)
    if release >= len(tasks):
        return None
    ends = tasks[release].joints[[0, -1]]
    poses = cell.mounted.world_from_base @ cell.mounted.arm.chain.flange_poses(ends)
    local = invert(pallet.world_from_pallet) @ poses
    return local[1, :2, 3] - local[0, :2, 3]


def _release(judged: Judged) -> int:
    """Which release of its cycle a placement is: the one at which its cartons leave the tool."""
    if judged.cycle is None:
        return 0
    for segment in judged.cycle.segments:
        gone = segment.release and not set(judged.placement.items) & set(segment.carried)
        if gone:
            return segment.release - 1
    return 0


def _towards_arm(
    cell: Cell, pallet: Pallet, low: tuple[float, float], high: tuple[float, float]
) -> tuple[float, float, float]:
    """A mark on the edge of the drawing on the side of the arm."""
    base = invert(pallet.world_from_pallet) @ cell.mounted.world_from_base[:, 3]
    middle = np.array([(low[0] + high[0]) / 2, (low[1] + high[1]) / 2])
    half = np.array([(high[0] - low[0]) / 2, (high[1] - low[1]) / 2]) - 40.0
    way = np.array([base[0] * 1e3, -base[1] * 1e3]) - middle
    share = float((half / np.maximum(np.abs(way), 1e-9)).min())
    at = middle + way * min(share, 1.0)
    return float(at[0]), float(at[1]), math.degrees(math.atan2(way[1], way[0]))


def by_pallet(found: list[Plan]) -> Iterator[tuple[str, list[Plan]]]:
    """Plans gathered by pallet."""
    for name in dict.fromkeys(plan.pallet for plan in found):
        yield name, [plan for plan in found if plan.pallet == name]
