"""The layers of a cell as single cartons, whatever groups it takes them in."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..cell.model import Cell
from ..cell.patterns import towards_arm
from ..geometry.frames import invert
from ..palletizing.group import Carton, Group, Placement
from ..palletizing.order import approach_direction
from ..palletizing.pattern import Spot, Vector, wrapped
from .errors import SurveyError

_DIGITS = 9  # of metres and radians: equal layers stay equal


@dataclass(frozen=True, slots=True, eq=False)
class SingleLayer:
    """One layer of one pallet, taken apart.

    Attributes:
        number: From 1, from the bottom.
        spots: Its cartons, each alone, in the order of the cell file.
        towards_arm: Direction from the pallet to the arm's base in the pallet's frame [m].
        cycles: How many the cell file takes for it.
    """

    pallet: str
    number: int
    spots: tuple[Spot, ...]
    towards_arm: Vector
    cycles: int


def layers_of(cell: Cell, singles: Mapping[Carton, Group]) -> tuple[SingleLayer, ...]:
    """Every layer of a cell, pallet by pallet, from the bottom.

    Args:
        cell: The cell.
        singles: For each carton type, the group that carries one of it.
    """
    found: list[SingleLayer] = []
    for pallet in cell.pallets:
        arm = towards_arm(pallet.world_from_pallet, pallet.size, cell.mounted.world_from_base)
        for number in dict.fromkeys(placement.layer for placement in pallet.placements):
            mine = [p for p in pallet.placements if p.layer == number]
            spots = tuple(
                spot
                for k, placement in enumerate(mine)
                for spot in _taken_apart(placement, mine[:k], singles)
            )
            cycles = len({placement.cycle for placement in mine})
            found.append(SingleLayer(pallet.name, number, spots, arm, cycles))
    return tuple(found)


def _taken_apart(
    placement: Placement, before: list[Placement], singles: Mapping[Carton, Group]
) -> list[Spot]:
    """The cartons of a placement, each as a group of its own."""
    approach = None
    if len(placement.items) == len(placement.group.items) == 1:
        # What the user wrote stays; what was derived is derived anew in the new order.
        derived = approach_direction(placement, before)
        written = placement.approach
        if written is not None and not np.allclose(written, derived, atol=1e-9):
            approach = written
    spots: list[Spot] = []
    for carton, pallet_from_carton in placement.carton_poses():
        single = singles[carton]
        pose = pallet_from_carton @ invert(single.group_from_item(0))
        x, y = round(float(pose[0, 3]), _DIGITS), round(float(pose[1, 3]), _DIGITS)
        yaw = math.atan2(round(float(pose[1, 0]), _DIGITS) + 0.0, float(pose[0, 0]))
        spots.append(Spot(single, x, y, wrapped(yaw), approach))
    return spots


def refuse_part_built(cell: Cell, doing: str) -> None:
    """Make sure that nothing stands on a pallet at the start.

    Args:
        cell: The cell.
        doing: What takes whole pallets, as in "pair".

    Raises:
        SurveyError: If a pallet is part-built.
    """
    built = next((pallet for pallet in cell.pallets if pallet.done), None)
    if built is not None:
        text = f"{built.done} placements of pallet {built.name} are there at the start"
        raise SurveyError(f"{text}; {doing} the whole pallet, with done: 0")
