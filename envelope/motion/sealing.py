"""Which cups lie wholly on a carton's top: those over an edge or a seam hold nothing."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..cell.model import GripField, Tool
from ..geometry.frames import Array, invert
from ..palletizing.group import Group
from .grip import holding, tool_from_group


@dataclass(frozen=True, slots=True, eq=False)
class OnTop:
    """The cups of some fields, seen on a top face.

    Attributes:
        at: Centres in the face's frame, shape (n, 2) [m].
        half: Half their extents along the face's axes, shape (n, 2) [m].
        radius: Of a round cup; of a pad half its smaller side, shape (n,) [m].
        area: On which the vacuum works, shape (n,) [m2].
    """

    at: Array
    half: Array
    radius: Array
    area: Array

    def within(self, face: Array) -> NDArray[np.bool_]:
        """Which lie wholly on a face with these half sides (2,), centred on its frame: (n,)."""
        return np.all(np.abs(self.at) + self.half <= face + 1e-9, axis=1)

    def touching(self, face: Array) -> NDArray[np.bool_]:
        """Which have any part on it, shape (n,); those that just meet its edge do."""
        return np.all(np.abs(self.at) - self.half <= face, axis=1)

    def only(self, chosen: NDArray[np.bool_]) -> "OnTop":
        """Some of them."""
        return OnTop(self.at[chosen], self.half[chosen], self.radius[chosen], self.area[chosen])


def on_top(fields: tuple[GripField, ...], face_from_tool: Array) -> OnTop:
    """The cups of fields as they lie on a face; the pose has shape (4, 4)."""
    points: list[Array] = []
    halves: list[Array] = []
    radii: list[float] = []
    areas: list[float] = []
    turned = np.abs(face_from_tool[:2, :2])
    for field in fields:
        count = len(field.cups)
        cups = np.column_stack([field.cups, np.zeros(count), np.ones(count)])
        points.append((cups[:, None, :] * face_from_tool[:2]).sum(axis=2))
        half = np.full(2, field.cup_radius)
        if field.pad is not None:
            half = (turned * np.array(field.pad)).sum(axis=1)
        halves.append(np.tile(half, (count, 1)))
        radii += [field.cup_radius] * count
        areas += [field.cup_area] * count
    return OnTop(np.concatenate(points), np.concatenate(halves), np.array(radii), np.array(areas))


def sealing(tool: Tool, group: Group, turn: float, item: int) -> tuple[OnTop, int]:
    """The cups that seal on one carton of a group, in its top's frame, and how many it has.

    Args:
        tool: The gripper.
        group: What it carries.
        turn: Turn of the tool over the group [rad].
        item: Which carton.
    """
    fields = holding(tool, group, item, turn)
    face_from_tool = invert(tool_from_group(tool, group, turn) @ group.group_from_item(item))
    cups = on_top(fields, face_from_tool)
    half = np.array(group.items[item].carton.size[:2]) / 2
    return cups.only(cups.within(half)), len(cups.at)
