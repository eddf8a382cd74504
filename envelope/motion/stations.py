"""Where the tool stands: over groups at the infeed, and over placements on a pallet."""

from collections.abc import Sequence

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
        self._turns: dict[tuple[float, float], Array] = {}

    def pick(self, group: Group, turn: float) -> Array:
        """Pose base_from_tcp over a group at the infeed, shape (4, 4)."""
        key = (group.name, turn)
        if key not in self._picks:
            at = self._base_from_world @ world_from_picked(self._cell, group)
            self._picks[key] = at @ self._held(group, turn)
        return self._picks[key]

    def place(self, placement: Placement, pick_turn: float, place_turn: float) -> Array:
        """Pose base_from_tcp at a placement, the group turned there, shape (4, 4)."""
        found = self._places.get((placement.id, pick_turn, place_turn))
        return self.places([(placement, pick_turn, place_turn)])[0] if found is None else found

    def places(self, asked: Sequence[tuple[Placement, float, float]]) -> Array:
        """Poses as those of `place`, shape (n, 4, 4), what is not known yet in one go."""
        keys = [(placement.id, pick, place) for placement, pick, place in asked]
        known = self._places
        new = {key: one for key, one in zip(keys, asked, strict=True) if key not in known}
        if new:
            stand = np.stack([self._standing(one, turn) for one, _, turn in new.values()])
            held = np.stack([self._held(one.group, turn) for one, turn, _ in new.values()])
            known |= zip(new, self._base_from_pallet @ stand @ held, strict=True)
        return np.array([known[key] for key in keys]).reshape(-1, 4, 4)

    def _standing(self, placement: Placement, turn: float) -> Array:
        """Pose pallet_from_group of a group turned there, shape (4, 4)."""
        key = (placement.yaw, turn)
        if key not in self._turns:
            self._turns[key] = pose(yaw=placement.yaw) @ pose(yaw=turn)
        stand = self._turns[key].copy()
        stand[:3, 3] = placement.x, placement.y, placement.z
        return stand

    def _held(self, group: Group, turn: float) -> Array:
        """Pose group_from_tool while held."""
        key = (group.name, turn)
        if key not in self._group_from_tool:
            self._group_from_tool[key] = invert(tool_from_group(self._cell.tool, group, turn))
        return self._group_from_tool[key]
