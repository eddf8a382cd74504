"""The set-up sheet, first part: what is entered once."""

import numpy as np

from ..arm.arm import Arm
from ..cell.model import Cell
from ..checks.finding import Judged, Result
from ..geometry.frames import Array
from ..geometry.inertia import MassProperties
from ..motion.burden import of_tool
from ..motion.setup import PRODUCTS, Typed, base_from_infeed, frame, of_once, point
from .results import joint_scale
from .sheet import Block, Column, Number, Section, column, length, shown

CAUTIONS = (
    "This sheet is a planning aid. It is no program, no acceptance test and no risk assessment. "
    "What it gives is computed for the bodies as drawn; the cell as built differs.",
    "Teach at reduced speed (at most 250 mm/s at the tool, ISO 10218-1), with the enabling device "
    "in hand, and with nobody under or beside the load. Go to every pose once without cartons "
    "before you go there with them. Measure every frame on site, and do not trust the planned one.",
    "A wrong mass, centre of gravity or inertia makes stopping ways longer and lets collision "
    "detection trip late, or not at all: enter them for the empty tool and for every group.",
    "Distances to guards come from the standards in force (ISO 10218-2, ISO 13855, ISO 13857) and "
    "from a competent person's assessment on site. Local codes come first.",
)
READING = (
    "Lengths are in mm, angles in deg, masses in kg. Each frame is x, y, z and the turns a, b, c: "
    "turned by a about x, then by b about y, then by c about z, all about the fixed axes of the "
    "frame it is given in (the same as c about z, then b about the new y, then a about the new "
    "x). If the controller takes them in another order, convert; do not type them in as they are.",
    "Base frame: the arm's own, at its mounting base (ISO 9787). Infeed frame: on the belt at the "
    "end stop, on the centre line, x against the travel, z up. Pallet frame: on the deck, at the "
    "corner where length (x) and width (y) start, z up. Tool frame (TCP): z away from the "
    "flange. Group's frame: at the centre of the group's top face, x along the group, z up; over "
    "a group at tool turn 0 the tool's x lies along the group's x, and its y against it.",
    "Joints are the arm's own, in its own sense and zero: compare one pose before you type in a "
    "second. They hold for the branch that is named.",
    "Write what was taught beside each number, on paper or in the files that --csv and --json "
    "write, and check the cell again with `envelope check CELL --taught FILE`. Blank means: as "
    "planned.",
)


def once(cell: Cell, result: Result, verdict: str) -> Section:
    """Frames, tool, home, branch, dwells."""
    blocks = [
        Block("Cautions", CAUTIONS),
        Block("What the check says", (verdict, *_warnings(result))),
        Block("How to read the numbers", READING),
        _frames(cell),
        _tool(cell),
        _inertia("Tool alone, as payload without cartons", "tool", of_tool(cell.tool)),
        _dwells(cell),
        *_homes(cell, result),
    ]
    return Section("entered once", tuple(blocks))


def _warnings(result: Result) -> list[str]:
    open_ones = [
        judged for judged in result.placements if judged.verdict in ("fail", "not checked")
    ]
    if not open_ones:
        return []
    names = ", ".join(judged.placement.id for judged in open_ones[:12])
    more = f" and {len(open_ones) - 12} more" if len(open_ones) > 12 else ""
    return [f"DO NOT RUN: {names}{more} fail or were not checked. See `envelope check`."]


def _frames(cell: Cell) -> Block:
    arm = cell.mounted.arm
    up = cell.mounted.world_from_base[:3, 2]
    lean = float(np.degrees(np.arccos(np.clip(up[2], -1.0, 1.0))))
    mounting = "upright" if lean < 1e-6 else f"leaning by {lean:.3f} deg"
    axis = "" if arm.axis is None else f" (with the {arm.axis.kind} at 0)"
    remarks = (
        f"Arm: {arm.name}, mounted {mounting}. The base{axis} in the world frame is for the "
        "fitters (the world's z = 0 is the floor); put the base as built beside it. Everything "
        "else that is typed in is given in the base frame, or in a frame that is.",
    )
    return Block(
        "Frames",
        remarks,
        (
            column("base as built, in the world", frame("base", cell.mounted.world_from_base)),
            column("infeed frame, in the base frame", frame("infeed", base_from_infeed(cell))),
        ),
    )


def _tool(cell: Cell) -> Block:
    tool = cell.tool
    typed = {entry.key: entry for entry in of_once(cell)}
    body = [typed["tool.mass"], *point("tool.centre of gravity", np.array(tool.centre))]
    lips = "compressed, as while they hold" if tool.tcp_on == "compressed" else "free"
    presses = ", ".join(
        f"{f.name}: compressed by {f.compression * 1e3:g} of {f.stroke * 1e3:g} mm stroke"
        for f in tool.fields
    )
    return Block(
        f"Tool: {tool.name}",
        (
            f"The TCP lies on the lips' plane, with the lips {lips}. {presses}. Check it with a "
            "ruler from the flange face to the lips in that state.",
        ),
        (
            column("TCP, in the flange frame", frame("tool.tcp", tool.flange_from_tcp)),
            column("mass; centre of gravity from flange", body),
        ),
    )


def _inertia(title: str, key: str, load: MassProperties) -> Block:
    """Mass properties as a payload entry; the inertia about the centre of gravity."""
    return Block(
        title,
        ("Inertia about the centre of gravity, axes parallel to the flange frame's.",),
        (Column("inertia", inertia_numbers(key, load.inertia)),),
    )


def inertia_numbers(key: str, inertia: Array) -> tuple[Number, ...]:
    """The six numbers of an inertia, shape (3, 3) [kg m2]."""
    return tuple(
        shown(Typed(f"{key}.inertia.{name}", float(inertia[row, column]), "inertia"), f"I{name}")
        for name, row, column in PRODUCTS
    )


def _dwells(cell: Cell) -> Block:
    typed = [entry for entry in of_once(cell) if entry.kind == "time"]
    return Block(
        "Dwells and speeds",
        (
            "Grip and release time: standing still until the grip holds, and until it is free. "
            "Speeds as checked; slower ones change the times, not the way. Corners may be rounded "
            "within the blend radius, and not further.",
        ),
        (column("dwells", typed), Column("speeds", _speeds(cell))),
    )


def _speeds(cell: Cell) -> tuple[Number, ...]:
    motion = cell.motion
    acceleration = motion.linear_acceleration * 1e3
    return (
        Number("motion.linear speed", "linear", motion.linear_speed * 1e3, "mm/s", 0),
        Number("motion.linear acceleration", "acceleration", acceleration, "mm/s2", 0),
        Number("motion.joint speed", "joint speed", motion.joint_speed_share * 100.0, "%", 1),
        length("motion.blend radius", "blend radius", motion.blend_radius),
    )


def joint_numbers(key: str, arm: Arm, q: Array) -> tuple[Number, ...]:
    """Joint coordinates, shape (dof,) [rad or m], as the sheet shows them."""
    scale, turning = joint_scale(arm.chain), arm.chain.turning()
    return tuple(
        Number(
            f"{key}.{joint.name}", joint.name, float(value * factor), "deg" if turns else "mm", 3
        )
        for joint, value, factor, turns in zip(arm.joints, q, scale, turning, strict=True)
    )


def _homes(cell: Cell, result: Result) -> list[Block]:
    """Where every cycle starts and ends; pallets with the same one together."""
    found: dict[tuple[float, ...], list[Judged]] = {}
    for judged in result.placements:
        if judged.cycle is not None:
            found.setdefault(tuple(judged.cycle.segments[0].joints[0]), []).append(judged)
    arm = cell.mounted.arm
    blocks: list[Block] = []
    for number, (q, members) in enumerate(found.items(), start=1):
        pallets = dict.fromkeys(judged.placement.pallet for judged in members)
        branches = dict.fromkeys(j.cycle.branch for j in members if j.cycle is not None)
        key = "home" if number == 1 else f"home {number}"
        joints = np.array(q)
        tcp = arm.chain.flange_poses(joints[None])[0] @ cell.tool.flange_from_tcp
        blocks.append(
            Block(
                f"Safe home, pallet {', '.join(pallets)}",
                (
                    "Every cycle starts and ends here, straight above the pick. Bring the arm here "
                    "with the branch that is named before the first cycle: from another branch or "
                    "another turn of the wrist the cycles are not the ones that were checked.",
                    f"Branch at entry: {', '.join(branches)}.",
                ),
                (
                    Column("joints", joint_numbers(key, arm, joints)),
                    column("TCP, in the base frame", frame(key, tcp)),
                ),
            )
        )
    return blocks
