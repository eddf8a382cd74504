"""The order in which a layer is laid, and the side from which each group comes in."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from .footprint import Quad, bounds, gap, rectangle
from .group import Placement
from .pattern import Pattern, Spot, Vector

BESIDE = 0.06  # a neighbour farther off than this does not hinder a slanted approach [m]
_TOUCH = 1e-4  # outlines that share less than this are beside each other [m]
_ROUND = 4  # decimals of a metre, so that rounding never decides over the order


@dataclass(frozen=True, slots=True)
class _Laid:
    """A spot seen from the arm: u away from it, v to the side, in the deck's directions.

    Attributes:
        boxes: Least u, least v, greatest u, greatest v of each carton.
        key: What decides between spots that are equally good: far ones first.
    """

    spot: Spot
    boxes: tuple[tuple[float, float, float, float], ...]
    key: tuple[float, float, float, float]


def ordered(
    pattern: Pattern, towards_arm: Vector, before: tuple[tuple[int, int], ...] = ()
) -> Pattern:
    """The pattern in an order that lets the arm lay it without reaching over what it laid.

    Rows across the direction of the arm, the farthest first; in a row from the end away from
    the arm, so that each group has neighbours at its back and at one side only. No group is
    laid behind one that stands between it and the arm's side of the deck, and as few as can
    be between two that stand already. Lengths are rounded to 0.1 mm before they decide; ties
    go by x, then y.

    Args:
        pattern: The layer.
        towards_arm: Direction from the pallet to the arm's base, in the pallet's frame; the
            deck's axis nearest to it counts, the rest says at which end rows start.
        before: Pairs of spots, by index, of which the first is laid before the second.
    """
    return _ordered(pattern, _heading(towards_arm), before)


@lru_cache(maxsize=128)
def _ordered(
    pattern: Pattern, heading: Vector, before: tuple[tuple[int, int], ...] = ()
) -> Pattern:
    left = [_seen(spot, heading) for spot in pattern]
    earlier: dict[int, list[_Laid]] = {}
    for first, second in before:
        earlier.setdefault(id(left[second]), []).append(left[first])
    down: list[_Laid] = []
    while left:
        due = [p for p in left if all(q in down for q in earlier.get(id(p), ()))]
        # Outlines that overlap can hide each other in a ring: then all are open.
        clear = [p for p in due if not any(_hides(p, q) for q in left if q is not p)] or due or left
        chosen = min(clear, key=lambda p: (*_squeezed(p, down, left), *p.key))
        left.remove(chosen)
        down.append(chosen)
    return tuple(laid.spot for laid in down)


def spots_behind(front: Spot, others: Sequence[Spot], towards_arm: Vector) -> frozenset[int]:
    """Which other spots, by index, must be laid before one that would stand in their way in."""
    heading = _heading(towards_arm)
    seen = _seen(front, heading)
    return frozenset(
        index
        for index, other in enumerate(others)
        if other is not front and _hides(seen, _seen_once(other, heading))
    )


@lru_cache(maxsize=2048)
def _seen_once(spot: Spot, heading: Vector) -> "_Laid":
    return _seen(spot, heading)


def _heading(towards_arm: Vector) -> Vector:
    """All that counts of the arm's direction: 2 along the deck's axis nearest to it, 1 across.

    Only eight are told apart, so that arms that stand nearly alike ask for one order.
    """
    ax, ay = towards_arm
    along = abs(ax) >= abs(ay)
    main, minor = (ax, ay) if along else (ay, ax)
    # A side direction of next to nothing is none: rows then start at the least x or y.
    side = 1.0 if minor >= -0.05 * math.hypot(ax, ay) else -1.0
    far = math.copysign(2.0, main)
    return (far, side) if along else (side, far)


def _seen(spot: Spot, heading: Vector) -> _Laid:
    """The spot in the arm's directions."""
    ax, ay = heading
    along = abs(ax) > abs(ay)
    ahead, side = (-ax / 2.0, ay) if along else (-ay / 2.0, ax)
    boxes: list[tuple[float, float, float, float]] = []
    for quad in spot.footprints():
        x0, y0, x1, y1 = bounds([quad])
        (u0, u1), (v0, v1) = ((x0, x1), (y0, y1)) if along else ((y0, y1), (x0, x1))
        us, vs = sorted((ahead * u0, ahead * u1)), sorted((side * v0, side * v1))
        boxes.append((us[0], vs[0], us[1], vs[1]))
    x, y = _middle(spot)
    far, low = max(b[2] for b in boxes), min(b[1] for b in boxes)
    key = (round(-far, _ROUND), round(low, _ROUND), round(x, _ROUND), round(y, _ROUND))
    return _Laid(spot, tuple(boxes), key)


def _middle(spot: Spot) -> Vector:
    """Centre of the spot's outline."""
    x0, y0, x1, y1 = bounds(spot.footprints())
    return (x0 + x1) / 2, (y0 + y1) / 2


def _hides(front: _Laid, back: _Laid) -> bool:
    """Whether one spot stands between another and the arm's side of the deck."""
    return any(
        min(f[3], b[3]) - max(f[1], b[1]) > _TOUCH and f[2] <= b[0] + _TOUCH
        for f in front.boxes
        for b in back.boxes
    )


def _beside(one: _Laid, other: _Laid) -> int:
    """1 or -1 when the other stands close at the side of greater or lesser v, else 0."""
    for a in one.boxes:
        for b in other.boxes:
            if min(a[2], b[2]) - max(a[0], b[0]) > _TOUCH:
                if -_TOUCH <= b[1] - a[3] <= BESIDE:
                    return 1
                if -_TOUCH <= a[1] - b[3] <= BESIDE:
                    return -1
    return 0


def _squeezed(candidate: _Laid, down: Sequence[_Laid], left: Sequence[_Laid]) -> tuple[int, int]:
    """Whether it goes between two that stand, and how many would have to once it is down."""

    def between(laid: _Laid, standing: Sequence[_Laid]) -> bool:
        return {1, -1} <= {_beside(laid, other) for other in standing}

    after = [*down, candidate]
    later = sum(
        between(other, after) and not between(other, down)
        for other in left
        if other is not candidate and _beside(other, candidate)
    )
    return int(between(candidate, down)), later


def approach_direction(
    placement: Placement, neighbours: Sequence[Placement], within: float = BESIDE
) -> Vector:
    """The side from which a group comes in: away from the neighbours already down.

    Args:
        placement: What is put down.
        neighbours: What stands; only its own layer counts.
        within: How near a neighbour must be to count [m].

    Returns:
        Unit vector in the pallet's frame, diagonal with neighbours on two adjacent sides;
        (0, 0), straight down, with none or where opposite sides cancel.
    """
    quads = [
        rectangle((pose[0, 3], pose[1, 3]), carton.size[:2], math.atan2(pose[1, 0], pose[0, 0]))
        for other in neighbours
        if other.layer == placement.layer and other.pallet == placement.pallet
        for carton, pose in other.carton_poses()
    ]
    x = y = 0.0
    for (nx, ny), strip in _strips(placement, within):
        if any(gap(strip, quad) < -_TOUCH for quad in quads):
            x, y = x - nx, y - ny
    length = math.hypot(x, y)
    # Opposite sides leave a rounding residue, never a direction.
    return (
        (round(x / length, 12) + 0.0, round(y / length, 12) + 0.0) if length > 0.5 else (0.0, 0.0)
    )


def _strips(placement: Placement, width: float) -> list[tuple[Vector, Quad]]:
    """The four strips along the sides of the outline put down, each with its outward normal."""
    low, high = placement.group.extent(placement.items)
    c, s = math.cos(placement.yaw), math.sin(placement.yaw)
    length, breadth = (float(v) for v in (high - low)[:2])
    middle = ((low + high) / 2)[:2]
    strips: list[tuple[Vector, Quad]] = []
    for nx, ny in ((1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)):
        reach = (abs(nx) * length + abs(ny) * breadth + width) / 2
        px, py = float(middle[0]) + nx * reach, float(middle[1]) + ny * reach
        size = (width, breadth) if nx else (length, width)
        centre = (placement.x + c * px - s * py, placement.y + s * px + c * py)
        strips.append(((c * nx - s * ny, s * nx + c * ny), rectangle(centre, size, placement.yaw)))
    return strips
