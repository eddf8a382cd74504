"""A cell as it was taught: numbers filled in on site, put in place of the planned ones.

What is left blank stays as planned: frames and solids stand where they stood in the world,
pick poses where they were over the infeed, placements where they were on their pallet.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from ..cell.model import Cell, Fixture, GripField, Infeed, Mounted, Pallet, Tool
from ..geometry.bodies import Body, frozen
from ..geometry.frames import Array, invert
from ..palletizing.group import AsTaught, Group, Placement
from .setup import (
    AXES,
    CORNERS,
    PRODUCTS,
    base_from_infeed,
    base_from_pallet,
    components,
    from_components,
    infeed_from_tcp,
    offset_of,
    pallet_corners,
    turn_key,
)
from .stations import world_from_picked

Shifts = Mapping[str, float]
"""By key, how far what was taught is off the plan [m, rad, kg, s, kg m2]; 0.0 is filled in, too."""


def as_taught(cell: Cell, shifts: Shifts) -> Cell:
    """The cell with what was taught in place of what was planned.

    Args:
        cell: As planned.
        shifts: Of the keys of `setup_of`; other keys play no part.
    """
    mounted = _mounted(cell, shifts)
    infeed = _infeed(cell, mounted, shifts)
    tool = _tool(cell.tool, shifts)
    groups = {
        group.name: _group(cell, group, shifts)
        for group in (
            *cell.groups,
            *(p.group for pallet in cell.pallets for p in pallet.placements),
        )
    }
    pallets = tuple(_pallet(cell, pallet, mounted, groups, shifts) for pallet in cell.pallets)
    motion = replace(
        cell.motion,
        grip_time=cell.motion.grip_time + shifts.get("motion.grip time", 0.0),
        release_time=cell.motion.release_time + shifts.get("motion.release time", 0.0),
        settle_time=cell.motion.settle_time + shifts.get("motion.settle time", 0.0),
    )
    moved = mounted.world_from_base @ invert(cell.mounted.world_from_base)
    own = mounted is not cell.mounted
    fixtures = tuple(
        _carried(fixture, moved) if own and fixture.kind == "pedestal" else fixture
        for fixture in cell.fixtures
    )
    return replace(
        cell,
        mounted=mounted,
        infeed=infeed,
        tool=tool,
        groups=tuple(groups[group.name] for group in cell.groups),
        pallets=pallets,
        motion=motion,
        fixtures=fixtures,
    )


def corners_disagree(cell: Cell, shifts: Shifts) -> list[tuple[str, float]]:
    """Pallets whose taught corners lie otherwise than the deck's: name, by how much [m]."""
    found: list[tuple[str, float]] = []
    for pallet in cell.pallets:
        matrix = _from_corners(cell, pallet, shifts)
        if matrix is not None:
            planned = base_from_pallet(cell, pallet)
            taught = _corners(planned, pallet, shifts)
            fitted = pallet_corners(pallet) @ matrix[:3, :3].T + matrix[:3, 3]
            told = [
                any(f"pallets.{pallet.name}.{name}.{axis}" in shifts for axis in AXES[:3])
                for name in CORNERS
            ]
            found.append((pallet.name, float(np.abs(taught - fitted)[told].max())))
    return found


def _shifted(key: str, matrix: Array, shifts: Shifts) -> Array:
    """A frame moved by its six shifts; the frame itself where there are none."""
    by = [shifts.get(f"{key}.{axis}", 0.0) for axis in AXES]
    if not any(by):
        return matrix
    moved = tuple(value + d for value, d in zip(components(matrix), by, strict=True))
    return frozen(from_components(moved))


def _mounted(cell: Cell, shifts: Shifts) -> Mounted:
    planned = cell.mounted.world_from_base
    taught = _shifted("base", planned, shifts)
    return cell.mounted if taught is planned else replace(cell.mounted, world_from_base=taught)


def _carried(fixture: Fixture, moved: Array) -> Fixture:
    body = fixture.body
    return Fixture(fixture.kind, Body(body.name, body.shape, frozen(moved @ body.pose)))


def _infeed(cell: Cell, mounted: Mounted, shifts: Shifts) -> Infeed:
    planned = base_from_infeed(cell)
    taught = _shifted("infeed", planned, shifts)
    filled = any(f"infeed.{axis}" in shifts for axis in AXES)
    if not filled or (taught is planned and mounted is cell.mounted):
        return cell.infeed
    world = mounted.world_from_base @ taught
    moved = world @ invert(cell.infeed.world_from_infeed)
    fixtures = tuple(_carried(fixture, moved) for fixture in cell.infeed.fixtures)
    return replace(cell.infeed, world_from_infeed=frozen(world), fixtures=fixtures)


def _tool(tool: Tool, shifts: Shifts) -> Tool:
    """Lips move with the TCP; rigid bodies stay as drawn."""
    taught = _shifted("tool.tcp", tool.flange_from_tcp, shifts)
    mass = tool.mass + shifts.get("tool.mass", 0.0)
    x, y, z = (
        value + shifts.get(f"tool.centre of gravity.{axis}", 0.0)
        for axis, value in zip(AXES[:3], tool.centre, strict=True)
    )
    inertia = np.array(tool.inertia)
    for name, row, column in PRODUCTS:
        inertia[row, column] += shifts.get(f"tool.inertia.{name}", 0.0)
        inertia[column, row] = inertia[row, column]
    fields = tool.fields
    if taught is not tool.flange_from_tcp:
        moved = taught @ invert(tool.flange_from_tcp)
        fields = tuple(_field(field, moved) for field in fields)
    return replace(
        tool,
        flange_from_tcp=taught,
        mass=mass,
        centre=(x, y, z),
        inertia=frozen(inertia),
        fields=fields,
    )


def _field(field: GripField, moved: Array) -> GripField:
    if field.lips is None:
        return field
    lips = Body(field.lips.name, field.lips.shape, frozen(moved @ field.lips.pose))
    return replace(field, lips=lips)


def _group(cell: Cell, group: Group, shifts: Shifts) -> Group:
    taught = tuple(
        entry for turn in group.turns if (entry := _at_turn(cell, group, turn, shifts)) is not None
    )
    more = shifts.get(f"groups.{group.name}.mass", 0.0)
    items = group.items
    if more:
        share = (group.mass + more) / group.mass
        items = tuple(
            replace(item, carton=replace(item.carton, mass=item.carton.mass * share))
            for item in items
        )
    return replace(group, taught=taught, items=items)


def _at_turn(cell: Cell, group: Group, turn: float, shifts: Shifts) -> AsTaught | None:
    """How a group sits under the tool by the pick pose, and where the controller has it."""
    key = turn_key(group, turn)
    planned = infeed_from_tcp(cell, group, turn)
    pick = _shifted(f"{key}.pick", planned, shifts)
    stated = [shifts.get(f"{key}.centre.{axis}") for axis in AXES[:2]]
    if pick is planned and stated == [None, None]:
        return None
    x, y = (
        float(value) + (by or 0.0)
        for value, by in zip(offset_of(cell, group, turn), stated, strict=True)
    )
    if pick is planned:
        return AsTaught(turn, None, (x, y))
    infeed_from_group = invert(cell.infeed.world_from_infeed) @ world_from_picked(cell, group)
    held = components(invert(pick) @ infeed_from_group)
    return AsTaught(turn, (held[0], held[1], held[2], held[3], held[4], held[5]), (x, y))


def _pallet(
    cell: Cell, pallet: Pallet, mounted: Mounted, groups: Mapping[str, Group], shifts: Shifts
) -> Pallet:
    placements = tuple(_placement(p, groups[p.group.name], shifts) for p in pallet.placements)
    planned = base_from_pallet(cell, pallet)
    prefix = f"pallets.{pallet.name}."
    corners = _from_corners(cell, pallet, shifts)
    taught = _shifted(f"{prefix}frame", planned, shifts) if corners is None else corners
    filled = any(key.startswith(prefix) for key in shifts)
    if not filled or (taught is planned and mounted is cell.mounted):
        return replace(pallet, placements=placements)
    world = mounted.world_from_base @ taught
    moved = world @ invert(pallet.world_from_pallet)
    return replace(
        pallet,
        world_from_pallet=frozen(world),
        fixture=_carried(pallet.fixture, moved),
        placements=placements,
    )


def _corners(planned: Array, pallet: Pallet, shifts: Shifts) -> Array:
    """Corners of the deck as taught, in the base frame, shape (4, 3)."""
    by = [
        [shifts.get(f"pallets.{pallet.name}.{name}.{axis}", 0.0) for axis in AXES[:3]]
        for name in CORNERS
    ]
    corners: Array = pallet_corners(pallet) @ planned[:3, :3].T + planned[:3, 3]
    return corners + np.array(by)


def _from_corners(cell: Cell, pallet: Pallet, shifts: Shifts) -> Array | None:
    """The frame that three taught corners give; None where none of them is off the plan.

    The origin lies on corner 1, x runs to corner 2, and corner 4 lies in the plane of x and y.
    """
    planned = base_from_pallet(cell, pallet)
    keys = [f"pallets.{pallet.name}.{name}." for name in CORNERS]
    if not any(by and key.startswith(tuple(keys)) for key, by in shifts.items()):
        return None
    corners = _corners(planned, pallet, shifts)
    x = corners[1] - corners[0]
    z = np.cross(x, corners[3] - corners[0])
    x, z = x / np.linalg.norm(x), z / np.linalg.norm(z)
    matrix = np.eye(4)
    matrix[:3, :3] = np.column_stack([x, np.cross(z, x), z])
    matrix[:3, 3] = corners[0]
    return frozen(matrix)


def _placement(placement: Placement, group: Group, shifts: Shifts) -> Placement:
    by = [shifts.get(f"placements.{placement.id}.{axis}", 0.0) for axis in ("x", "y", "z", "yaw")]
    return replace(
        placement,
        group=group,
        x=placement.x + by[0],
        y=placement.y + by[1],
        z=placement.z + by[2],
        yaw=placement.yaw + by[3],
    )
