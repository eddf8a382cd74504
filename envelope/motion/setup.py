"""What is typed in on site: frames, pick poses, offsets, placements, each under a key of its own.

The set-up sheet shows these numbers, and a sheet that comes back filled in names them by the
same keys. Frames are x, y, z and the turns a, b, c about the fixed axes x, y and z of the
frame they are given in, taken in that order.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..cell.model import Cell, Pallet
from ..geometry.frames import Array, fixed_angles, from_fixed_angles, invert
from ..palletizing.group import Group, Placement
from .grip import centre_in_tool, tool_from_group
from .stations import world_from_picked

Kind = Literal["length", "angle", "mass", "time", "inertia"]
AXES = ("x", "y", "z", "a", "b", "c")
PRODUCTS = (("xx", 0, 0), ("yy", 1, 1), ("zz", 2, 2), ("xy", 0, 1), ("xz", 0, 2), ("yz", 1, 2))
"""Moments and products of inertia: name, row, column."""
CORNERS = ("corner 1", "corner 2", "corner 3", "corner 4")


@dataclass(frozen=True, slots=True)
class Typed:
    """One number that is typed in.

    Attributes:
        key: Its name on the sheet ("pallets.A.frame.x").
        value: As planned [m, rad, kg, s, kg m2].
    """

    key: str
    value: float
    kind: Kind


def components(matrix: Array) -> tuple[float, ...]:
    """x, y, z [m] and a, b, c [rad] of a pose, shape (4, 4); half a turn is +180 deg."""
    angles = (a + 2 * np.pi if a < 1e-9 - np.pi else a for a in fixed_angles(matrix[:3, :3]))
    return (*(float(v) for v in matrix[:3, 3]), *(float(a) for a in angles))


def from_components(values: tuple[float, ...]) -> Array:
    """A pose, shape (4, 4), of x, y, z [m] and a, b, c [rad]."""
    matrix = np.eye(4)
    matrix[:3, :3] = from_fixed_angles(*values[3:])
    matrix[:3, 3] = values[:3]
    return matrix


def frame(key: str, matrix: Array) -> list[Typed]:
    """The six numbers of a frame."""
    kinds: tuple[Kind, ...] = ("length",) * 3 + ("angle",) * 3
    return [
        Typed(f"{key}.{axis}", value, kind)
        for axis, value, kind in zip(AXES, components(matrix), kinds, strict=True)
    ]


def point(key: str, at: Array) -> list[Typed]:
    """The three numbers of a point, shape (3,)."""
    return [
        Typed(f"{key}.{axis}", float(v), "length") for axis, v in zip(AXES[:3], at, strict=True)
    ]


def base_from_infeed(cell: Cell) -> Array:
    """The infeed frame in the base frame, shape (4, 4)."""
    return invert(cell.mounted.world_from_base) @ cell.infeed.world_from_infeed


def base_from_pallet(cell: Cell, pallet: Pallet) -> Array:
    """A pallet's frame in the base frame, shape (4, 4)."""
    return invert(cell.mounted.world_from_base) @ pallet.world_from_pallet


def pallet_corners(pallet: Pallet) -> Array:
    """Corners of the deck in the pallet's frame, shape (4, 3) [m].

    From the origin along the length, then on around: 2 ends the length, 4 ends the width.
    """
    length, width = pallet.size[:2]
    return np.array([[0, 0, 0], [length, 0, 0], [length, width, 0], [0, width, 0]], float)


def infeed_from_tcp(cell: Cell, group: Group, turn: float) -> Array:
    """The pick pose: the TCP over a group that waits, in the infeed frame, shape (4, 4)."""
    infeed_from_group = invert(cell.infeed.world_from_infeed) @ world_from_picked(cell, group)
    return infeed_from_group @ invert(tool_from_group(cell.tool, group, turn))


def turn_key(group: Group, turn: float) -> str:
    """Key of what belongs to a group at one turn of the tool."""
    return f"groups.{group.name}.turn {round(float(np.degrees(turn)), 3):g}"


def of_once(cell: Cell) -> Iterator[Typed]:
    """Frames, tool and dwells."""
    yield from frame("base", cell.mounted.world_from_base)
    yield from frame("infeed", base_from_infeed(cell))
    yield from frame("tool.tcp", cell.tool.flange_from_tcp)
    yield Typed("tool.mass", cell.tool.mass, "mass")
    yield from point("tool.centre of gravity", np.array(cell.tool.centre))
    for name, row, column in PRODUCTS:
        yield Typed(f"tool.inertia.{name}", float(cell.tool.inertia[row, column]), "inertia")
    yield Typed("motion.grip time", cell.motion.grip_time, "time")
    yield Typed("motion.release time", cell.motion.release_time, "time")
    if cell.motion.settle_time:
        yield Typed("motion.settle time", cell.motion.settle_time, "time")


def of_group(cell: Cell, group: Group) -> Iterator[Typed]:
    """Mass, and for each turn the pick pose and the group's centre in the tool frame."""
    yield Typed(f"groups.{group.name}.mass", group.mass, "mass")
    for turn in group.turns:
        key = turn_key(group, turn)
        yield from frame(f"{key}.pick", infeed_from_tcp(cell, group, turn))
        yield from point(f"{key}.centre", np.append(offset_of(cell, group, turn), 0.0))[:2]


def offset_of(cell: Cell, group: Group, turn: float) -> Array:
    """Group centre in tool frame as the controller is to have it, shape (2,) [m].

    What the cell states comes first: a check says whether it is right.
    """
    if group.stated_offset is not None:
        return np.array(group.stated_offset)
    return centre_in_tool(cell.tool, group, turn)


def of_pallet(cell: Cell, pallet: Pallet) -> Iterator[Typed]:
    """Its frame, and the corners of its deck, in the base frame."""
    matrix = base_from_pallet(cell, pallet)
    yield from frame(f"pallets.{pallet.name}.frame", matrix)
    for name, corner in zip(CORNERS, pallet_corners(pallet), strict=True):
        at = matrix[:3, :3] @ corner + matrix[:3, 3]
        yield from point(f"pallets.{pallet.name}.{name}", at)


def of_placement(placement: Placement) -> Iterator[Typed]:
    """The pose of the group's frame (centre of its top face) in the pallet's frame."""
    key = f"placements.{placement.id}"
    yield from point(key, np.array([placement.x, placement.y, placement.z]))
    yield Typed(f"{key}.yaw", placement.yaw, "angle")


def groups_of(cell: Cell) -> list[Group]:
    """The groups that the cell puts down, in the order in which they first come."""
    found = {p.group.name: p.group for pallet in cell.pallets for p in pallet.placements}
    return list(found.values())


def setup_of(cell: Cell) -> dict[str, Typed]:
    """Every number that is typed in, by key."""
    found = list(of_once(cell))
    for group in groups_of(cell):
        found += of_group(cell, group)
    for pallet in cell.pallets:
        found += of_pallet(cell, pallet)
        for placement in pallet.placements:
            found += of_placement(placement)
    return {typed.key: typed for typed in found}
