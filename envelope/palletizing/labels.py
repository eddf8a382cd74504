"""Label sides: which of them face out of a layer, and turning groups so that they do.

A side faces out when the strip in front of it, as wide as the side and without end, meets no
other carton of its layer. It then faces the outside of the pallet, whatever its yaw. A carton
enclosed by others has no such side.
"""

import math
from collections.abc import Sequence
from dataclasses import replace

from .footprint import Point, Quad, rectangle
from .group import Carton, Group
from .pattern import Pattern, Spot, Vector, side_normal, wrapped

EDGE = 1e-4  # a neighbour that stands in the strip by less than this is beside it [m]


def faces_out(carton: Carton, side: str, centre: Point, yaw: float, others: Sequence[Quad]) -> bool:
    """Whether a side of a carton faces out past the other cartons of its layer.

    Args:
        carton: Whose side it is.
        side: "+x", "-x", "+y" or "-y" in the carton's frame.
        centre: Of the carton, in the pallet's frame [m].
        yaw: Likewise [rad].
        others: Outlines of the other cartons.
    """
    nx, ny = side_normal(side, yaw)
    across = carton.size[1 if side[1] == "x" else 0] / 2 - EDGE
    ahead = carton.size[0 if side[1] == "x" else 1] / 2 - EDGE
    for corners in others:
        local = [(x - centre[0], y - centre[1]) for x, y in corners]
        if _meets_strip([(nx * x + ny * y, nx * y - ny * x) for x, y in local], ahead, across):
            return False
    return True


def _meets_strip(corners: Sequence[Point], ahead: float, across: float) -> bool:
    """Whether a convex outline reaches into u > ahead, |v| < across."""
    inside = [
        (u, v)
        for (u, v), (u1, v1) in zip(corners, [*corners[1:], corners[0]], strict=True)
        for u, v in _within((u, v), (u1, v1), across)
    ]
    return any(u > ahead for u, _ in inside)


def _within(start: Point, end: Point, across: float) -> list[Point]:
    """Ends of the stretch of an edge that lies in |v| <= across; none when it does not."""
    (u0, v0), (u1, v1) = start, end
    if v0 == v1:
        return [start, end] if abs(v0) < across else []
    low, high = sorted(((-across - v0) / (v1 - v0), (across - v0) / (v1 - v0)))
    low, high = max(low, 0.0), min(high, 1.0)
    if low >= high:
        return []
    return [(u0 + t * (u1 - u0), v0 + t * (v1 - v0)) for t in (low, high)]


def hidden_labels(
    cartons: Sequence[tuple[Carton, Vector, float]], others: Sequence[Quad]
) -> list[tuple[int, str]]:
    """Label sides that do not face out.

    Args:
        cartons: Each with its centre [m] and yaw [rad] in the pallet's frame.
        others: Outlines of the layer's other cartons.

    Returns:
        Index of the carton and the side.
    """
    quads = [rectangle(centre, carton.size[:2], yaw) for carton, centre, yaw in cartons]
    return [
        (k, side)
        for k, (carton, centre, yaw) in enumerate(cartons)
        for side in carton.labels
        if not faces_out(carton, side, centre, yaw, [*others, *quads[:k], *quads[k + 1 :]])
    ]


def same_turned(group: Group) -> bool:
    """Whether the group's cartons, labels aside, look the same when turned by 180 degrees."""
    left = list(group.items)
    for item in group.items:
        twin = next(
            (
                other
                for other in left
                if other.carton == item.carton
                and math.hypot(other.x + item.x, other.y + item.y) < EDGE
                and abs(math.sin(other.yaw - item.yaw)) < EDGE
            ),
            None,
        )
        if twin is None:
            return False
        left.remove(twin)
    return True


def labels_out(spot: Spot, pattern: Pattern) -> bool:
    """Whether every label side of a spot's cartons faces out of the layer.

    Args:
        spot: One of the layer.
        pattern: The layer; the spot itself in it, by identity, is left out.
    """
    others = [quad for other in pattern if other is not spot for quad in other.footprints()]
    return not hidden_labels(list(spot.cartons()), others)


def half_turned(spot: Spot) -> Spot:
    """The spot with its group turned by 180 degrees about its frame; not for parts."""
    return replace(spot, yaw=wrapped(spot.yaw + math.pi))


def may_half_turn(spot: Spot, pattern: Pattern) -> bool:
    """Whether the group may as well be put down turned by 180 degrees, labels included.

    Never for a group put down in parts: its cartons would land elsewhere.
    """
    if spot.releases or not same_turned(spot.group):
        return False
    if not any(item.carton.labels for item in spot.group.items):
        return True
    others = [quad for other in pattern if other is not spot for quad in other.footprints()]
    return not hidden_labels(list(half_turned(spot).cartons()), others)


def face_labels_out(pattern: Pattern) -> Pattern:
    """The pattern with each group turned by 180 degrees where that shows more labels."""
    if not any(item.carton.labels for spot in pattern for item in spot.group.items):
        return pattern
    chosen: list[Spot] = []
    for spot in pattern:
        others = [quad for other in pattern if other is not spot for quad in other.footprints()]
        turns = (
            (spot,)
            if spot.releases or not same_turned(spot.group)
            else (
                spot,
                half_turned(spot),
            )
        )
        chosen.append(min(turns, key=lambda s: len(hidden_labels(list(s.cartons()), others))))
    return tuple(chosen)
