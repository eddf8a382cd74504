"""A layer's pattern: where the groups of one layer are put down, and its mirror images."""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from .footprint import Quad, rectangle
from .group import Carton, Group, Item

Vector = tuple[float, float]
Pattern = tuple["Spot", ...]


@dataclass(frozen=True, slots=True)
class Release:
    """Some cartons of a group put down while the others stay on the tool.

    Attributes:
        items: Which cartons of the group are let go.
        x, y, yaw: Where the group's frame stands in the pallet's frame meanwhile [m, rad].
        approach: As in `Placement.approach`; None to derive it.
    """

    items: tuple[int, ...]
    x: float
    y: float
    yaw: float
    approach: Vector | None = None


@dataclass(frozen=True, slots=True)
class Spot:
    """One group in a layer; the pallet's frame has its origin at a corner of the deck.

    Attributes:
        x, y, yaw: Group's frame (centre of its top face) in the pallet's frame [m, rad].
        approach: As in `Placement.approach`; None to derive it.
        releases: The parts in which the group is put down, in order; empty when it is put
            down whole at x, y, yaw.
    """

    group: Group
    x: float
    y: float
    yaw: float
    approach: Vector | None = None
    releases: tuple[Release, ...] = ()

    def parts(self) -> tuple[Release, ...]:
        """The releases; one of all cartons when the group is put down whole."""
        if self.releases:
            return self.releases
        everything = tuple(range(len(self.group.items)))
        return (Release(everything, self.x, self.y, self.yaw, self.approach),)

    def cartons(self) -> Iterator[tuple[Carton, Vector, float]]:
        """Each carton put down, its centre in the pallet's frame [m] and its yaw [rad]."""
        for part in self.parts():
            for index in part.items:
                item = self.group.items[index]
                yield (
                    item.carton,
                    _moved((item.x, item.y), (part.x, part.y), part.yaw),
                    part.yaw + item.yaw,
                )

    def footprints(self) -> tuple[Quad, ...]:
        """Corners of each carton put down, in the pallet's frame [m]."""
        return tuple(
            rectangle(centre, carton.size[:2], yaw) for carton, centre, yaw in self.cartons()
        )


def mirrored(pattern: Pattern, deck: Vector, axis: Literal["x", "y"]) -> Pattern:
    """The pattern with the cartons at their mirror images.

    A group cannot be mirrored, only turned: where the mirror image of its outline is not the
    outline turned (three cartons in a corner, say), it is put as near to it as a turn brings
    it, and the layer may then overlap; the stacking check tells.

    Args:
        pattern: The layer.
        deck: Length and width of the deck [m].
        axis: "x" swaps the ends of the length, "y" those of the width.
    """
    sign = (-1.0, 1.0) if axis == "x" else (1.0, -1.0)
    origin = (deck[0], 0.0) if axis == "x" else (0.0, deck[1])

    def reflect(point: Vector) -> Vector:
        return origin[0] + sign[0] * point[0], origin[1] + sign[1] * point[1]

    def place(spot: Spot, part: Release) -> Release:
        return _mirror_image(spot.group, part, reflect, sign)

    return tuple(_mapped(spot, place) for spot in pattern)


def turned(pattern: Pattern, deck: Vector) -> Pattern:
    """The pattern turned by 180 degrees about the centre of the deck, shape (L, W) [m]."""

    def place(_: Spot, part: Release) -> Release:
        away = part.approach
        return replace(
            part,
            x=deck[0] - part.x,
            y=deck[1] - part.y,
            yaw=wrapped(part.yaw + math.pi),
            approach=None if away is None else (-away[0], -away[1]),
        )

    return tuple(_mapped(spot, place) for spot in pattern)


def wrapped(angle: float) -> float:
    """The angle in (-pi, pi] [rad], so that a pattern turned twice is itself."""
    remainder = math.remainder(angle, 2 * math.pi)
    return math.pi if remainder <= -math.pi + 1e-12 else remainder


def _mapped(spot: Spot, place: Callable[[Spot, Release], Release]) -> Spot:
    """The spot and its releases at other places."""
    everything = tuple(range(len(spot.group.items)))
    whole = place(spot, Release(everything, spot.x, spot.y, spot.yaw, spot.approach))
    return replace(
        spot,
        x=whole.x,
        y=whole.y,
        yaw=whole.yaw,
        approach=whole.approach,
        releases=tuple(place(spot, part) for part in spot.releases),
    )


def _mirror_image(
    group: Group, part: Release, reflect: Callable[[Vector], Vector], sign: Vector
) -> Release:
    """Where the group's frame stands so that its cartons stand at their mirror images.

    Of the two turns that map the outline's directions onto the mirrored ones, the one that
    brings the cartons, then their labels, nearest to the image.
    """
    items = [group.items[index] for index in part.items]
    middle = (sum(i.x for i in items) / len(items), sum(i.y for i in items) / len(items))
    target = reflect(_moved(middle, (part.x, part.y), part.yaw))
    best: tuple[tuple[float, float], Release] | None = None
    for yaw in (wrapped(-part.yaw), wrapped(math.pi - part.yaw)):
        back = _moved(middle, (0.0, 0.0), yaw)
        moved = replace(part, x=target[0] - back[0], y=target[1] - back[1], yaw=yaw)
        miss = _mirror_miss(items, part, moved, reflect)
        if best is None or miss < best[0]:
            best = (miss, moved)
    assert best is not None
    away = part.approach
    return replace(
        best[1], approach=None if away is None else (sign[0] * away[0], sign[1] * away[1])
    )


def _mirror_miss(
    items: Sequence[Item], before: Release, after: Release, reflect: Callable[[Vector], Vector]
) -> tuple[float, float]:
    """How far cartons, and label sides, lie from their mirror images, rounded to compare."""
    cartons = labels = 0.0
    for item in items:
        image = reflect(_moved((item.x, item.y), (before.x, before.y), before.yaw))
        distance, other = min(
            (
                (math.dist(image, _moved((o.x, o.y), (after.x, after.y), after.yaw)), k)
                for k, o in enumerate(items)
                if o.carton == item.carton
            )
        )
        cartons += distance
        for side in item.carton.labels:
            nx, ny = side_normal(side, before.yaw + item.yaw)
            wanted, here = reflect((nx, ny)), reflect((0.0, 0.0))
            got = side_normal(side, after.yaw + items[other].yaw)
            labels += math.dist((wanted[0] - here[0], wanted[1] - here[1]), got)
    return round(cartons, 6), round(labels, 6)


def side_normal(side: str, yaw: float) -> Vector:
    """Outward unit normal of a side ("+x", "-x", "+y", "-y") of a carton at that yaw."""
    angle = yaw + {"+x": 0.0, "+y": math.pi / 2, "-x": math.pi, "-y": -math.pi / 2}[side]
    return math.cos(angle), math.sin(angle)


def _moved(point: Vector, origin: Vector, yaw: float) -> Vector:
    """A point of a frame at origin and yaw, in the outer frame."""
    c, s = math.cos(yaw), math.sin(yaw)
    return origin[0] + c * point[0] - s * point[1], origin[1] + s * point[0] + c * point[1]
