"""Offset: is the group where the tool thinks it is, and does each field hold what it should?"""

import numpy as np

from ..cell.model import Cell
from ..geometry.frames import invert
from ..motion.grip import centre_in_tool, holding, tool_from_group
from ..motion.sealing import on_top, sealing
from ..motion.stations import world_from_picked
from ..palletizing.group import Group
from .case import Case
from .cast import queue_of
from .finding import Finding

SAME = 0.002  # [m]: a stated offset may differ by this much
_MM = 1e3


def check(case: Case) -> list[Finding]:
    """Findings on the tool-to-group centre offset and on cups over edges, seams, strangers."""
    if case.offset is not None:
        return list(case.offset)
    turn = case.cycle.pick_turn if case.cycle else case.task.group.turns[0]
    return offsets(case.cell, case.task.group, turn)


def offsets(cell: Cell, group: Group, turn: float) -> list[Finding]:
    """The same for a group, whatever becomes of it, picked with the tool turned over it [rad]."""
    findings = [
        _stated(cell, group, turn),
        *_cups(cell, group, turn),
        *_strangers(cell, group, turn),
    ]
    notable = [finding for finding in findings if finding.verdict != "pass"]
    return notable or findings[:1]


def _stated(cell: Cell, group: Group, turn: float) -> Finding:
    """The stated group centre in tool frame against the one that fields and pick pose give."""
    centre = centre_in_tool(cell.tool, group, turn)
    where = f"group centre in tool frame ({centre[0] * _MM:.1f}, {centre[1] * _MM:.1f}) mm"
    taught = group.taught_at(turn)
    told = group.stated_offset if taught is None or taught.stated is None else taught.stated
    if told is None:
        return Finding("offset", "pass", 0.0, SAME * _MM, "mm", f"{where}, from the grip fields")
    off = float(np.hypot(*(centre - np.array(told))))
    stated = ", ".join(f"{value * _MM:.1f}" for value in told)
    return Finding(
        "offset",
        "pass" if off <= SAME else "fail",
        off * _MM,
        SAME * _MM,
        "mm",
        f"{where}; stated: ({stated})",
    )


def _cups(cell: Cell, group: Group, turn: float) -> list[Finding]:
    """For each carton: cups of its fields that seal on it, those over a seam or edge lost."""
    findings: list[Finding] = []
    for index, item in enumerate(group.items):
        found, cups = sealing(cell.tool, group, turn, index)
        count = len(found.at)
        findings.append(
            Finding(
                "offset",
                "pass" if count else "fail",
                float(count),
                1.0,
                "cups",
                f"{count} of {cups} cups seal on {item.carton.name} {index + 1} of the group",
            )
        )
    return findings


def _strangers(cell: Cell, group: Group, turn: float) -> list[Finding]:
    """Cartons that queue behind the group and lie under a field that grips."""
    world_from_tool = world_from_picked(cell, group) @ invert(
        tool_from_group(cell.tool, group, turn)
    )
    active = {
        field.name: field
        for index in range(len(group.items))
        for field in holding(cell.tool, group, index, turn)
    }
    findings: list[Finding] = []
    for number, (carton, at) in enumerate(queue_of(cell, group), start=1):
        face_from_tool = invert(at) @ world_from_tool
        if abs(face_from_tool[2, 3]) > max(field.stroke for field in active.values()) + 1e-4:
            continue
        half = np.array(carton.size[:2]) / 2
        for field in active.values():
            caught = int(on_top((field,), face_from_tool).touching(half).sum())
            if caught:
                findings.append(
                    Finding(
                        "offset",
                        "fail",
                        float(caught),
                        0.0,
                        "cups",
                        f"{caught} cups of {field.name} also grip the carton that queues behind",
                        between=(
                            f"tool/{field.name}",
                            f"infeed/queue {number} behind {group.name}",
                        ),
                    )
                )
    return findings
