"""How the tool sits over a group: which field holds which carton, and where the centre is."""

import numpy as np

from ..cell.model import GripField, Tool
from ..geometry.frames import Array, from_fixed_angles, turn
from ..palletizing.group import Group

SAME_PLACE = 1e-3  # [m]: two cartons of a group that change places in a half-turn


def is_half_turn(angle: float) -> bool:
    """Whether an angle [rad] is half a turn (rather than none)."""
    return abs(np.cos(angle) + 1.0) < 1e-9


def partner(group: Group, item: int) -> int | None:
    """The carton that stands where `item` does once the group is turned by half; None if none."""
    mine = group.items[item]
    for index, other in enumerate(group.items):
        apart = np.hypot(other.x + mine.x, other.y + mine.y)
        if other.carton == mine.carton and apart < SAME_PLACE:
            return index
    return None


def holding(tool: Tool, group: Group, item: int, angle: float) -> tuple[GripField, ...]:
    """The fields that hold one carton of a group when the tool is turned over it.

    Turned by half, a carton hangs under the fields of the carton opposite; a group that
    does not look the same then keeps its own fields.
    """
    index = partner(group, item) if is_half_turn(angle) else item
    names = group.fields[item if index is None else index]
    return tuple(field for field in tool.fields if field.name in names)


def centre_in_tool(tool: Tool, group: Group, angle: float) -> Array:
    """Group centre in tool frame (x, y) as grip fields and turn give it, shape (2,) [m].

    The tool is set over the group so that, on average, each carton's centre lies under the
    centre of the fields that hold it. What was taught comes first.
    """
    taught = group.taught_at(angle)
    if taught is not None and taught.held is not None:
        return np.array(taught.held[:2])
    flip = tool_from_group_rotation(angle)
    shifts: list[Array] = []
    for index, item in enumerate(group.items):
        fields = holding(tool, group, index, angle)
        under = np.mean([field.centre for field in fields], axis=0)
        shifts.append(under - (flip @ np.array([item.x, item.y, 0.0]))[:2])
    return np.mean(shifts, axis=0)


def tool_from_group_rotation(angle: float) -> Array:
    """Rotation of a group in the tool frame: tool z points down into the group; (3, 3)."""
    return turn("z", angle) @ turn("x", np.pi)


def tool_from_group(tool: Tool, group: Group, angle: float) -> Array:
    """Pose of the group's frame (top centre) in the tool frame while held, shape (4, 4).

    The top face lies on the compressed lips: at the TCP where the TCP is on compressed
    lips, deeper by the compression where it is on free ones. What was taught comes first.
    """
    matrix = np.eye(4)
    taught = group.taught_at(angle)
    if taught is not None and taught.held is not None:
        matrix[:3, :3] = from_fixed_angles(*taught.held[3:])
        matrix[:3, 3] = taught.held[:3]
        return matrix
    matrix[:3, :3] = tool_from_group_rotation(angle)
    matrix[:2, 3] = centre_in_tool(tool, group, angle)
    if tool.tcp_on == "free":
        fields = {
            field.name: field
            for i in range(len(group.items))
            for field in holding(tool, group, i, angle)
        }
        matrix[2, 3] = -max(field.compression for field in fields.values())
    return matrix
