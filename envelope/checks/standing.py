"""Cartons as they stand on a pallet, which of them meet, and what carries each."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ..geometry.frames import Array
from ..palletizing.footprint import (
    Point,
    Polygon,
    Quad,
    area,
    bounds,
    clip,
    gap,
    hull,
    inside_by,
    rectangle,
)
from ..palletizing.group import Carton, Placement, carton_names

CONTACT = 1e-4  # how far touching faces may be apart, or in each other [m]


@dataclass(frozen=True, slots=True)
class Standing:
    """One carton in the pallet's frame [m, rad].

    Attributes:
        name: In the scene.
        turn: Place of its placement in the order, from 0.
        layer: From 1.
        outline: Corners in plan.
        bottom: Height over the deck; top: likewise.
    """

    name: str
    turn: int
    layer: int
    carton: Carton
    centre: Point
    yaw: float
    outline: Quad
    bottom: float
    top: float


@dataclass(frozen=True, slots=True)
class Carried:
    """How a carton stands.

    Attributes:
        share: Share of its bottom that is carried.
        corners: How many of its bottom's corners are.
        centre_inside: How far its centre lies inside the hull of what carries it [m];
            negative outside, minus infinity where nothing carries it.
    """

    share: float
    corners: int
    centre_inside: float


def standing(placements: Sequence[Placement]) -> list[Standing]:
    """All cartons of the placements, in order."""
    cartons: list[Standing] = []
    for turn, placement in enumerate(placements):
        names = carton_names(placement)
        for name, (carton, pose) in zip(names, placement.carton_poses(), strict=True):
            centre = (float(pose[0, 3]), float(pose[1, 3]))
            yaw = math.atan2(pose[1, 0], pose[0, 0])
            outline = rectangle(centre, carton.size[:2], yaw)
            top = float(pose[2, 3])
            cartons.append(
                Standing(
                    name=name,
                    turn=turn,
                    layer=placement.layer,
                    carton=carton,
                    centre=centre,
                    yaw=yaw,
                    outline=outline,
                    bottom=top - carton.size[2],
                    top=top,
                )
            )
    return cartons


def overlaps(cartons: Sequence[Standing]) -> Iterator[tuple[int, int]]:
    """Pairs, lower index first, whose bounding boxes share more than a touch."""
    low, high = _boxes(cartons)
    meet = np.ones((len(cartons), len(cartons)), dtype=bool)
    for axis in range(3):
        reach = np.minimum(high[:, None, axis], high[None, :, axis])
        meet &= reach - np.maximum(low[:, None, axis], low[None, :, axis]) > CONTACT
    for first, second in np.argwhere(np.triu(meet, 1)):
        yield int(first), int(second)


def carried(cartons: Sequence[Standing], deck: Point, overhang: float = 0.0) -> list[Carried]:
    """How each carton stands on the deck, or on cartons put down before it.

    Args:
        cartons: All of a pallet.
        deck: Length and width [m].
        overhang: A corner that hangs over the deck by no more than this counts as carried [m];
            the area that hangs over never does.
    """
    low, high = _boxes(cartons)
    turns = np.array([carton.turn for carton in cartons])
    middle = (deck[0] / 2, deck[1] / 2)
    floor = rectangle(middle, deck, 0.0)
    wide = rectangle(middle, (deck[0] + 2 * overhang, deck[1] + 2 * overhang), 0.0)
    seats: list[Carried] = []
    for k, carton in enumerate(cartons):
        level = np.abs(high[:, 2] - carton.bottom) <= CONTACT + 1e-9
        near = (low[:, :2] < high[k, :2]).all(axis=1) & (high[:, :2] > low[k, :2]).all(axis=1)
        under = level & near & (turns < carton.turn)
        # What only touches the outline carries neither a corner nor the centre of gravity.
        below: list[Polygon] = [
            cartons[int(j)].outline
            for j in np.flatnonzero(under)
            if gap(carton.outline, cartons[int(j)].outline) < -CONTACT
        ]
        if abs(carton.bottom) <= CONTACT + 1e-9:
            seats.append(_seat(carton, [*below, floor], [*below, wide]))
        else:
            seats.append(_seat(carton, below, below))
    return seats


def _boxes(cartons: Sequence[Standing]) -> tuple[Array, Array]:
    """Lower and upper corners of the bounding boxes, shape (n, 3) each."""
    plans = np.array([bounds([carton.outline]) for carton in cartons]).reshape(-1, 4)
    bottoms = np.array([carton.bottom for carton in cartons])
    tops = np.array([carton.top for carton in cartons])
    return np.column_stack([plans[:, :2], bottoms]), np.column_stack([plans[:, 2:], tops])


def _seat(carton: Standing, below: Sequence[Polygon], wide: Sequence[Polygon]) -> Carried:
    """How a carton stands on level outlines below it; its corners may stand on the wide ones."""
    parts = [part for outline in below if (part := clip(carton.outline, outline))]
    covered = sum(area(part) for part in parts)
    for k, part in enumerate(parts):
        # What two of them carry together is taken off twice rather than counted twice.
        covered -= sum(area(both) for other in parts[:k] if (both := clip(part, other)))
    share = max(covered, 0.0) / area(carton.outline)
    corners = sum(
        any(inside_by(corner, outline) >= -CONTACT for outline in wide) for corner in carton.outline
    )
    outer = hull([point for part in parts for point in part])
    inside = inside_by(carton.centre, outer) if len(outer) >= 3 else -math.inf
    return Carried(min(share, 1.0), corners, inside)
