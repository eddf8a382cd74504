"""Where the tool stands: over groups at the infeed, and over placements on a pallet."""

import numpy as np

from ..cell.model import Cell, Pallet
from ..geometry.frames import Array, invert, pose
from ..palletizing.group import Group, Placement
from .grip import tool_from_group


def world_from_picked(cell: Cell, group: Group) -> Array:
    """Pose of a group's frame where it is picked: against the stop, centred on the belt."""
    low, high = group.extent()
    turned = pose(yaw=cell.infeed.carton_yaw)[:3, :3]
    corners = np.array([(x, y, 0.0) for x in (low[0], high[0]) for y in (low[1], high[1])])
    corners = (turned @ corners.T).T
    at = pose(-corners[:, 0].min(), -corners[:, 1].mean(), -low[2], cell.infeed.carton_yaw)
    return cell.infeed.world_from_infeed @ at


class Stations:
    """TCP poses in the base frame for one pallet; what recurs is worked out once."""

    def __init__(self, cell: Cell, pallet: Pallet) -> None:
        self._cell = cell
        self._base_from_world = invert(cell.mounted.world_from_base)
        self._base_from_pallet = self._base_from_world @ pallet.world_from_pallet
        self._group_from_tool: dict[tuple[str, float], Array] = {}
        self._picks: dict[tuple[str, float], Array] = {}
        self._places: dict[tuple[str, float, float], Array] = {}

    def pick(self, group: Group, turn: float) -> Array:
        """Pose base_from_tcp over a group at the infeed, shape (4, 4)."""
        key = (group.name, turn)
        if key not in self._picks:
            at = self._base_from_world @ world_from_picked(self._cell, group)
            self._picks[key] = at @ self._held(group, turn)
        return self._picks[key]

    def place(self, placement: Placement, pick_turn: float, place_turn: float) -> Array:
        """Pose base_from_tcp at a placement, the group turned there, shape (4, 4)."""
        key = (placement.id, pick_turn, place_turn)
        if key not in self._places:
            pallet_from_group = placement.pallet_from_group() @ pose(yaw=place_turn)
            held = self._held(placement.group, pick_turn)
            self._places[key] = self._base_from_pallet @ pallet_from_group @ held
        return self._places[key]

    def _held(self, group: Group, turn: float) -> Array:
        """Pose group_from_tool while held."""
        key = (group.name, turn)
        if key not in self._group_from_tool:
            self._group_from_tool[key] = invert(tool_from_group(self._cell.tool, group, turn))
        return self._group_from_tool[key]
