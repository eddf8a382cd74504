"""What the flange bears: the tool, and the cartons of a group that still hang on it."""

from collections.abc import Sequence

from ..cell.model import Tool
from ..geometry.bodies import frozen
from ..geometry.frames import pose
from ..geometry.inertia import MassProperties, combined, solid_box
from ..palletizing.group import Group
from .grip import tool_from_group


def of_tool(tool: Tool) -> MassProperties:
    """The tool alone, in the flange frame."""
    return MassProperties(tool.mass, frozen(tool.centre), tool.inertia)


def of_carton(tool: Tool, group: Group, pick_turn: float, index: int) -> MassProperties:
    """One carton of a group where it hangs, in the flange frame.

    A carton counts as a box filled evenly: its centre of gravity lies in its middle.

    Args:
        tool: The gripper.
        group: What it carries.
        pick_turn: Turn of the tool over the group [rad].
        index: Which carton of the group.
    """
    carton = group.items[index].carton
    flange_from_top = (
        tool.flange_from_tcp
        @ tool_from_group(tool, group, pick_turn)
        @ group.group_from_item(index)
    )
    flange_from_carton = flange_from_top @ pose(z=-carton.size[2] / 2)
    return solid_box(carton.mass, carton.size).moved(flange_from_carton)


def burden(
    tool: Tool, group: Group, pick_turn: float = 0.0, carried: Sequence[int] | None = None
) -> MassProperties:
    """Tool and cartons together, in the flange frame (z outward from the flange's face).

    Args:
        tool: The gripper.
        group: What it carries.
        pick_turn: Turn of the tool over the group [rad].
        carried: Which cartons still hang; all by default, an empty sequence for none.
    """
    hanging = range(len(group.items)) if carried is None else carried
    cartons = [of_carton(tool, group, pick_turn, index) for index in hanging]
    return combined([of_tool(tool), *cartons])
