"""The set-up sheet, second part: what is entered for each group."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from ..cell.model import Cell, GripField
from ..cell.shapes import bounds
from ..checks.finding import Judged, Result
from ..geometry.frames import Array, invert, turn
from ..motion.burden import burden
from ..motion.grip import centre_in_tool, holding
from ..motion.setup import (
    frame,
    groups_of,
    infeed_from_tcp,
    of_group,
    point,
    turn_key,
)
from ..motion.stations import world_from_picked
from ..palletizing.group import Group
from .sheet import Block, Column, Number, Section, column, length
from .sheet_once import inertia_numbers, joint_numbers
from .sheet_strain import strain

HALF = float(np.pi)


def groups(cell: Cell, result: Result) -> Section:
    """One block after the other for each group."""
    blocks = [block for group in groups_of(cell) for block in _of_group(cell, group, result)]
    return Section("per group", tuple(blocks))


def _of_group(cell: Cell, group: Group, result: Result) -> Iterator[Block]:
    cycles = [j for j in result.placements if j.placement.group.name == group.name and j.cycle]
    yield _size(cell, group)
    used = Counter(judged.cycle.pick_turn for judged in cycles if judged.cycle)
    for angle in group.turns:
        members = [j for j in cycles if j.cycle and j.cycle.pick_turn == angle]
        yield _pick(cell, group, angle, members, used[angle])
        if members or not used:  # a turn that no cycle takes needs no more than its pose
            yield _payload(cell, group, angle)
            yield _ruler(cell, group, angle)
    yield _centres(cell, group)
    yield _outputs(cell, group, result)
    yield from strain(group, result)


def _degrees(angle: float) -> str:
    return f"{round(float(np.degrees(angle)), 3):g} deg"


def _size(cell: Cell, group: Group) -> Block:
    low, high = group.extent()
    turned = np.abs(turn("z", cell.infeed.carton_yaw))
    along, across, height = (float(v) for v in turned @ (high - low))
    key = f"groups.{group.name}"
    cartons = Counter(item.carton.name for item in group.items)
    named = ", ".join(f"{count} x {name}" for name, count in cartons.items())
    sides = {
        0: "the group's x lies along the travel",
        1: "the group's y lies along the travel",
    }
    c, s = abs(np.cos(cell.infeed.carton_yaw)), abs(np.sin(cell.infeed.carton_yaw))
    side = sides[0] if s < 1e-9 else sides[1] if c < 1e-9 else "the group lies at an angle"
    first = group.items[0]
    length_, width, _ = first.carton.size
    lengthwise = abs(np.cos(first.yaw + cell.infeed.carton_yaw)) > 0.9
    leading = (width, "lengthwise") if lengthwise else (length_, "crosswise")
    return Block(
        f"Group {group.name}: {named}",
        (
            f"On the belt {side}; cartons run {leading[1]}, their {leading[0] * 1e3:g} mm side "
            "against the end stop.",
        ),
        (
            Column(
                "size as picked",
                (
                    length(f"{key}.size.along", "along the travel", along),
                    length(f"{key}.size.across", "across", across),
                    length(f"{key}.size.height", "height", height),
                ),
            ),
            Column("", (_mass(cell, group),)),
        ),
    )


def _mass(cell: Cell, group: Group) -> Number:
    typed = next(iter(of_group(cell, group)))
    return Number(typed.key, "mass of group", typed.value, "kg", 3)


def _pick(cell: Cell, group: Group, angle: float, members: list[Judged], used: int) -> Block:
    key = turn_key(group, angle)
    columns = [
        column("TCP at the pick, in the infeed frame",
               frame(f"{key}.pick", infeed_from_tcp(cell, group, angle)))
    ]  # fmt: skip
    remarks: list[str] = []
    if members:
        picks = {pick_joints(judged) for judged in members}
        branch, q = usual_pick(members)
        columns.append(
            Column(
                "joints at the pick", joint_numbers(f"{key}.joints", cell.mounted.arm, np.array(q))
            )
        )
        remarks.append(f"Used by {used} placements. Joints in the branch {branch}.")
        if len(picks) > 1:
            remarks.append(
                "Some cycles pick in another branch or turn of the wrist: see the placements."
            )
    else:
        remarks.append("Not used by any placement: tried, and another turn was taken.")
    return Block(
        f"Group {group.name}: pick pose at tool turn {_degrees(angle)}",
        tuple(remarks),
        tuple(columns),
    )


def usual_pick(members: list[Judged]) -> tuple[str, tuple[float, ...]]:
    """Branch and joints at the pick of most of some placements with motions."""
    return Counter(pick_joints(judged) for judged in members).most_common(1)[0][0]


def pick_joints(judged: Judged) -> tuple[str, tuple[float, ...]]:
    """Branch and joints at the pick of a placement with a motion."""
    assert judged.cycle is not None
    lift = next(s for s in judged.cycle.segments if s.name == "lift off")
    return judged.cycle.branch, tuple(float(v) for v in lift.joints[0])


def _payload(cell: Cell, group: Group, angle: float) -> Block:
    load = burden(cell.tool, group, angle)
    key = f"{turn_key(group, angle)}.payload"
    mass = Number(f"{key}.mass", "mass", load.mass, "kg", 3)
    centre = tuple(
        Number(n.key, f"centre {n.item}", n.value, n.unit, n.decimals)
        for n in column("", point(key, load.centre)).numbers
    )
    return Block(
        f"Group {group.name}: payload of tool and group at tool turn {_degrees(angle)}",
        ("Centre of gravity from the flange, in the flange frame; inertia about it.",),
        (
            Column("mass and centre of gravity", (mass, *centre)),
            Column("inertia", inertia_numbers(key, load.inertia)),
        ),
    )


def _held_fields(cell: Cell, group: Group, angle: float) -> list[GripField]:
    found = {
        field.name: field
        for index in range(len(group.items))
        for field in holding(cell.tool, group, index, angle)
    }
    return list(found.values())


def _ruler(cell: Cell, group: Group, angle: float) -> Block:
    """Distances that a ruler can check with the tool at the pick pose."""
    key = f"{turn_key(group, angle)}.ruler"
    infeed_from_world = invert(cell.infeed.world_from_infeed)
    infeed_from_group = infeed_from_world @ world_from_picked(cell, group)
    tcp = infeed_from_tcp(cell, group, angle)
    low, high = _box(infeed_from_group, *group.extent())
    faces = [_face(tcp, field) for field in _held_fields(cell, group, angle)]
    first = np.min([face[0] for face in faces], axis=0)
    last = np.max([face[1] for face in faces], axis=0)
    inside = (
        length(f"{key}.downstream", "end stop's side", float(first[0] - low[0])),
        length(f"{key}.upstream", "upstream side", float(high[0] - last[0])),
        length(f"{key}.left", "left", float(first[1] - low[1])),
        length(f"{key}.right", "right", float(high[1] - last[1])),
    )
    infeed_from_flange = tcp @ invert(cell.tool.flange_from_tcp)
    boxes = [bounds(body, infeed_from_flange) for body in cell.tool.bodies]
    outline = np.stack(
        [np.min([b[0] for b in boxes], axis=0), np.max([b[1] for b in boxes], axis=0)]
    )
    return Block(
        f"Group {group.name}: ruler check at tool turn {_degrees(angle)}",
        (
            "Left and right as seen along the travel. Edge of the gripping face to edge of the "
            "group: how far the group stands out beyond it (negative: the face stands out). Edge "
            "of the whole tool to stop and guides: negative where it stands over them.",
        ),
        (
            Column("gripping face to group's edge", inside),
            Column("tool's edge to stop and guides", tuple(_to_fixed(cell, key, outline))),
            Column("over-travel of cups", tuple(_travel(cell, group, angle, key))),
        ),
    )


def _to_fixed(cell: Cell, key: str, outline: Array) -> Iterator[Number]:
    infeed_from_world = invert(cell.infeed.world_from_infeed)
    for fixture in cell.infeed.fixtures:
        low, high = bounds(fixture.body, infeed_from_world)
        name = fixture.body.name.rsplit("/", 1)[-1]
        if fixture.kind == "stop":
            yield length(f"{key}.to {name}", "end stop", float(outline[0, 0] - high[0]))
        elif fixture.kind == "guide" and low[1] > 0:
            yield length(f"{key}.to {name}", name, float(low[1] - outline[1, 1]))
        elif fixture.kind == "guide":
            yield length(f"{key}.to {name}", name, float(outline[0, 1] - high[1]))


def _travel(cell: Cell, group: Group, angle: float, key: str) -> Iterator[Number]:
    """How far lips are pressed in at the pick, and how much of their stroke is left."""
    for field in _held_fields(cell, group, angle):
        spare = field.stroke - field.compression
        yield length(
            f"{key}.pressed {field.name}", f"field {field.name}: pressed in", field.compression
        )
        yield length(f"{key}.spare {field.name}", f"field {field.name}: to spare", spare)


def _box(matrix: Array, low: Array, high: Array) -> tuple[Array, Array]:
    """Upright box around a box of another frame."""
    corners = np.array([(x, y, z) for x in (low[0], high[0]) for y in (low[1], high[1])
                        for z in (low[2], high[2])])  # fmt: skip
    moved = corners @ matrix[:3, :3].T + matrix[:3, 3]
    return moved.min(axis=0), moved.max(axis=0)


def _face(tcp: Array, field: GripField) -> tuple[Array, Array]:
    half = np.array(field.size) / 2
    low, high = np.append(field.centre - half, 0.0), np.append(field.centre + half, 0.0)
    return _box(tcp, low, high)


def _centres(cell: Cell, group: Group) -> Block:
    """Group centre in tool frame for each half-turn, and under each single head."""
    columns: list[Column] = []
    for angle in dict.fromkeys((*group.turns, 0.0, HALF)):
        mark = "" if angle in group.turns else " (not tried)"
        key = f"{turn_key(group, angle)}.centre"
        if angle in group.turns:
            typed = [t for t in of_group(cell, group) if t.key.startswith(f"{key}.")]
        else:
            typed = point(key, np.append(centre_in_tool(cell.tool, group, angle), 0.0))[:2]
        names = " + ".join(field.name for field in _held_fields(cell, group, angle))
        columns.append(column(f"{names}, turn {_degrees(angle)}{mark}", typed))
    if len(group.items) == 1:
        columns += _other_heads(cell, group)
    return Block(
        f"Group {group.name}: group centre in tool frame",
        (
            "From the TCP to the centre of the group's top face, in the tool frame: the "
            "tool-to-group offset. At a half-turn the cartons hang under the other heads where "
            "the group looks the same.",
        ),
        tuple(columns),
    )


def _other_heads(cell: Cell, group: Group) -> Iterator[Column]:
    own = set(group.fields[0])
    for field in cell.tool.fields:
        if own == {field.name}:
            continue
        other = replace(group, fields=((field.name,),), taught=())
        for angle in (0.0, HALF):
            key = f"groups.{group.name}.head {field.name}.turn {_degrees(angle)[:-4]}.centre"
            at = np.append(centre_in_tool(cell.tool, other, angle), 0.0)
            title = f"{field.name}, turn {_degrees(angle)} (not used)"
            yield column(title, point(key, at)[:2])


def _outputs(cell: Cell, group: Group, result: Result) -> Block:
    """Which grip fields are on, which stay off, and in which order they let go."""
    remarks: list[str] = []
    for angle in group.turns:
        on = [field.name for field in _held_fields(cell, group, angle)]
        off = [field.name for field in cell.tool.fields if field.name not in on]
        text = f"Tool turn {_degrees(angle)}: ON {', '.join(on)}; " + (
            f"OFF {', '.join(off)}: idle, and it must stay off until the group is down, for the "
            "next carton may lie under it."
            if off
            else "no field is idle."
        )
        remarks.append(text)
    remarks += _releases(cell, group)
    return Block(f"Group {group.name}: outputs and release order", tuple(remarks))


def _releases(cell: Cell, group: Group) -> list[str]:
    """The ways in which the group is put down, in words."""
    ways: dict[tuple[tuple[int, ...], ...], list[str]] = {}
    for pallet in cell.pallets:
        cycles: dict[int, list[tuple[int, ...]]] = {}
        for placement in pallet.placements:
            if placement.group.name == group.name:
                cycles.setdefault(placement.cycle, []).append(placement.items)
        for number, items in cycles.items():
            ways.setdefault(tuple(items), []).append(f"{pallet.name} {number}")
    told: list[str] = []
    for way, cycles_ in ways.items():
        count = f"{len(cycles_)} cycle{'s' if len(cycles_) > 1 else ''}"
        if len(way) == 1:
            told.append(f"Release: all cartons at once ({count}).")
            continue
        steps = ", then ".join(
            f"carton {' and '.join(str(i + 1) for i in items)} "
            f"({', '.join(_names(cell, group, items))} off)"
            for items in way
        )
        told.append(
            f"Release in parts, at tool turn {_degrees(group.turns[0])}: {steps} ({count})."
        )
    return told


def _names(cell: Cell, group: Group, items: tuple[int, ...]) -> list[str]:
    return list(
        dict.fromkeys(f.name for i in items for f in holding(cell.tool, group, i, group.turns[0]))
    )
