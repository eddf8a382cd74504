"""Cartons, the groups that one cycle carries, and where they are put down.

A group's frame has its origin at the centre of the group's top face, x along
the group, z up. A carton's own frame likewise sits at the centre of its top.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..geometry.bodies import frozen
from ..geometry.frames import Array, pose

SIDES = ("+x", "-x", "+y", "-y")


@dataclass(frozen=True, slots=True)
class Carton:
    """A carton type [m, kg].

    Attributes:
        size: Length (x), width (y), height (z).
        labels: Sides (of "+x", "-x", "+y", "-y") that must face out of the pallet.
        bulge: How far the sides bulge while carried, each side.
        sag: How far the bottom sags while carried.
        tilt: How far it may tilt on the lips while carried, any way [rad].
    """

    name: str
    size: tuple[float, float, float]
    mass: float
    labels: tuple[str, ...] = ()
    bulge: float = 0.0
    sag: float = 0.0
    tilt: float = 0.0

    def growth(self) -> tuple[float, float]:
        """How much more room it takes while carried: each side, and below [m].

        Errs: on the safe side. Tilted about the middle of its top, no corner leaves the box
        grown by height x sin(tilt) sideways and half the top's diagonal x sin(tilt) down.
        """
        length, width, height = self.size
        lean = float(np.sin(self.tilt))
        return self.bulge + height * lean, self.sag + float(np.hypot(length, width)) / 2 * lean


@dataclass(frozen=True, slots=True)
class Item:
    """One carton of a group; x, y, yaw: its top centre in the group's frame [m, rad]."""

    carton: Carton
    x: float
    y: float
    yaw: float = 0.0


@dataclass(frozen=True, slots=True)
class AsTaught:
    """How a group sits under the tool at one turn of the tool, as it was taught on site.

    Attributes:
        turn: Turn of the tool over the group [rad].
        held: Pose of the group's frame in the tool frame: x, y, z [m] and turns about the fixed
            axes x, y, z [rad]; None where it is as the grip fields give it.
        stated: Group centre in tool frame (x, y) as the controller has it, if told [m].
    """

    turn: float
    held: tuple[float, float, float, float, float, float] | None = None
    stated: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Group:
    """What one cycle carries.

    Attributes:
        items: The cartons, tops flush.
        fields: For each carton, the names of the grip fields that hold it.
        stated_offset: Group centre in tool frame (x, y) as the user states it, if stated [m].
        turns: Turns of the tool over the group [rad] that are tried at the pick.
        taught: How it sits under the tool, where that was taught; at most one a turn.
    """

    name: str
    items: tuple[Item, ...]
    fields: tuple[tuple[str, ...], ...]
    stated_offset: tuple[float, float] | None = None
    turns: tuple[float, ...] = (0.0,)
    taught: tuple[AsTaught, ...] = ()

    def taught_at(self, turn: float) -> AsTaught | None:
        """How it sits under the tool at a turn [rad], if that was taught."""
        return next((entry for entry in self.taught if entry.turn == turn), None)

    def group_from_item(self, index: int) -> Array:
        """Pose of a carton's top centre in the group's frame, shape (4, 4)."""
        item = self.items[index]
        return pose(item.x, item.y, 0.0, item.yaw)

    def extent(self, items: tuple[int, ...] | None = None) -> Array:
        """Bounds of the cartons named (all by default) in the group's frame.

        Returns:
            Shape (2, 3): lower and upper corner [m]; the top is z = 0.
        """
        return _extent(self, tuple(range(len(self.items))) if items is None else items)

    @property
    def mass(self) -> float:
        """Mass of all cartons [kg]."""
        return sum(item.carton.mass for item in self.items)


@lru_cache(maxsize=256)
def _extent(group: Group, items: tuple[int, ...]) -> Array:
    corners: list[Array] = []
    for index in items:
        item = group.items[index]
        c, s = abs(np.cos(item.yaw)), abs(np.sin(item.yaw))
        length, width, height = item.carton.size
        half = np.array([c * length + s * width, s * length + c * width]) / 2
        centre = np.array([item.x, item.y])
        corners.append(np.append(centre - half, -height))
        corners.append(np.append(centre + half, 0.0))
    stacked = np.array(corners)
    return frozen(np.stack([stacked.min(axis=0), stacked.max(axis=0)]))


@dataclass(frozen=True, slots=True)
class Placement:
    """Cartons of one group put down at one pose, at their turn in the order.

    Attributes:
        id: "PALLET/LAYER/NUMBER", as on every screen ("A/3/5").
        cycle: Number of the cycle that brings it, from 1, over the pallet. Placements of
            one cycle are releases of one picked group, in order.
        order: Turn in the order over the pallet, from 1.
        items: Which cartons of the group are put down here.
        x, y, yaw: Where the group's frame stands in the pallet's frame at this release [m, rad].
        z: Height of the group's top face over the pallet's deck [m].
        approach: Horizontal direction (x, y) in the pallet's frame from which the group comes
            in, a unit vector or (0, 0) for straight down; None lets the tool choose.
        half_turn: Whether the group looks the same, labels included, when turned by 180 degrees.
    """

    id: str
    pallet: str
    layer: int
    order: int
    cycle: int
    group: Group
    items: tuple[int, ...]
    x: float
    y: float
    z: float
    yaw: float
    approach: tuple[float, float] | None = None
    half_turn: bool = False

    def pallet_from_group(self) -> Array:
        """Pose of the group's top centre in the pallet's frame, shape (4, 4)."""
        return pose(self.x, self.y, self.z, self.yaw)

    def carton_poses(self) -> tuple[tuple[Carton, Array], ...]:
        """Each carton put down here and the pose of its top centre in the pallet's frame."""
        return tuple(
            (self.group.items[i].carton, self.pallet_from_group() @ self.group.group_from_item(i))
            for i in self.items
        )


def carton_names(placement: Placement) -> tuple[str, ...]:
    """Scene names of the cartons put down at a placement, in the order of its items.

    "carton/A/1/3" where it is one carton, "carton/A/1/3.1", "carton/A/1/3.2" where several.
    """
    if len(placement.items) == 1:
        return (f"carton/{placement.id}",)
    return tuple(f"carton/{placement.id}.{k}" for k in range(1, len(placement.items) + 1))
