"""The set-up sheet, last part: solids to declare in the controller, as boxes."""

import numpy as np

from ..cell.model import Cell, Pallet
from ..cell.shapes import bounds
from ..geometry.bodies import Body
from ..geometry.frames import Array, invert
from ..motion.grip import tool_from_group
from ..motion.setup import frame, groups_of, turn_key
from .sheet import Block, Column, Section, column, length


def solids(cell: Cell) -> Section:
    """Boxes around what stands still, the tool, and what it carries."""
    base = invert(cell.mounted.world_from_base)
    fixtures = [*cell.infeed.fixtures, *cell.fixtures, *(p.fixture for p in cell.pallets)]
    standing = [_around(f"solids.{f.body.name}", f.body.name, f.body, base) for f in fixtures]
    full = [_stack(cell, pallet) for pallet in cell.pallets if pallet.placements]
    tool = [_around(f"solids.tool.{b.name}", b.name, b, np.eye(4)) for b in cell.tool.bodies]
    tool += [
        _around(f"solids.tool.{f.lips.name}", f.lips.name, f.lips, np.eye(4))
        for f in cell.tool.fields
        if f.lips is not None
    ]
    carried = [column_ for group in groups_of(cell) for column_ in _carried(cell, group.name)]
    remark = (
        "x, y, z: the box's centre, a, b, c: its turn, in the frame named; sizes along its own "
        "axes. Round bodies and meshes get the box around them. Add the distances that you want "
        "the controller to keep."
    )
    return Section(
        "solids",
        (
            Block("What stands still, in the base frame", (remark,), tuple(standing)),
            Block(
                "Full pallets, in the base frame", ("Stack as planned, on the deck.",), tuple(full)
            ),
            Block("Tool, in the flange frame", (), tuple(tool)),
            Block("What is carried, in the tool frame", (), tuple(carried)),
        ),
    )


def _around(key: str, title: str, body: Body, outer: Array) -> Column:
    """The box around a body, along the body's own axes."""
    own = bounds(Body(body.name, body.shape))
    return _box(key, title, outer @ body.pose, own)


def _box(key: str, title: str, outer: Array, own: Array) -> Column:
    centre = np.eye(4)
    centre[:3, 3] = own.mean(axis=0)
    sizes = [
        length(f"{key}.size {axis}", f"size {axis}", float(edge))
        for axis, edge in zip("xyz", own[1] - own[0], strict=True)
    ]
    return Column(title, (*column("", frame(key, outer @ centre)).numbers, *sizes))


def _stack(cell: Cell, pallet: Pallet) -> Column:
    """The box around all cartons of a full pallet."""
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    for placement in pallet.placements:
        for carton, at in placement.carton_poses():
            half = np.array(carton.size[:2]) / 2
            reach = np.abs(at[:2, :2]) @ half
            low = np.minimum(low, [*(at[:2, 3] - reach), at[2, 3] - carton.size[2]])
            high = np.maximum(high, [*(at[:2, 3] + reach), at[2, 3]])
    base_from_pallet = invert(cell.mounted.world_from_base) @ pallet.world_from_pallet
    name = f"stack on {pallet.name}"
    return _box(f"solids.{name}", name, base_from_pallet, np.stack([low, high]))


def _carried(cell: Cell, name: str) -> list[Column]:
    group = next(g for g in groups_of(cell) if g.name == name)
    found: list[Column] = []
    for angle in group.turns:
        held = tool_from_group(cell.tool, group, angle)
        key = f"solids.{turn_key(group, angle)}"
        title = f"{name}, turn {round(float(np.degrees(angle)), 3):g}"
        found.append(_box(key, title, held, group.extent()))
    return found
