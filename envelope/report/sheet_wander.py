"""The set-up sheet: how far a group may stand off where it is picked, and what that costs."""

import math
from collections.abc import Iterator

from ..cell.model import Cell
from ..checks.finding import Result
from ..motion.detectors import Seen
from ..motion.pads import Room, rooms, square
from ..motion.waiting import Wander, wander
from ..palletizing.group import Group
from .sheet import Block, Column, Number, angle, length


def how_to_read(cell: Cell) -> Block:
    """What the numbers on wandering rest on."""
    return Block(
        "How far groups may wander where they are picked",
        (
            *_tolerances(cell),
            "Cups: from the outermost rim that seals on the carton to the carton's edge. Approach: "
            f"the least clearance to cartons that are down, over {_mm(cell)} mm above rest. Under "
            "that it tapers to the gap of the pattern: a group that is off by more than that gap "
            "pushes its neighbours aside.",
        ),
    )


def _mm(cell: Cell) -> str:
    return f"{cell.clearances.taper_height * 1e3:g}"


def wandering(cell: Cell, group: Group, told: Seen, result: Result) -> Block:
    """How far the group's centre may wander, against its cups and the approach clearance."""
    off, key = wander(cell, group), f"groups.{group.name}.wander"
    columns = [
        Column(
            "its centre may be off by, +/-",
            (
                length(f"{key}.along", "along", off.along),
                length(f"{key}.across", "across", off.across),
                angle(f"{key}.skew", "turned", off.skew),
            ),
        )
    ]
    remarks: list[str] = []
    if off.across_by == "guides":
        remarks.append("No pick position is stated: across, as far as guides let a carton go.")
    for turn in _turns_used(group, result):
        found = rooms(cell, group, turn) if square(cell, group) else []
        degrees = f"{round(math.degrees(turn), 3):g}"
        columns += _cups(f"{key}.turn {degrees}", degrees, found)
        remarks.append(_verdict(found, degrees, told, group))
    columns.append(_approach(cell, group, off, result, key))
    return Block(f"Group {group.name}: how far it may wander", tuple(remarks), tuple(columns))


def _turns_used(group: Group, result: Result) -> list[float]:
    """Turns of the tool at which the group is picked; all that are tried if none is known."""
    found = {
        judged.cycle.pick_turn
        for judged in result.placements
        if judged.cycle is not None and judged.placement.group.name == group.name
    }
    return [turn for turn in group.turns if turn in found] or list(group.turns)


def _tolerances(cell: Cell) -> Iterator[str]:
    tolerances = cell.tolerances
    stated = [
        f"{name.replace('_', ' ')} {value:g} {unit}"
        for name, value, unit in (
            ("carton_size", tolerances.carton_size * 1e3, "mm"),
            ("pick_position", tolerances.pick_position * 1e3, "mm"),
            ("pick_skew", math.degrees(tolerances.pick_skew), "deg"),
            ("group_gap", tolerances.group_gap * 1e3, "mm"),
        )
        if value
    ]
    if stated:
        yield f"Of the cell's tolerances: {', '.join(stated)}, added as {tolerances.added}."
    else:
        yield (
            "THE CELL STATES NO TOLERANCES of carton size, pick position, skew and gap: without "
            "them this says only what the guides allow."
        )


def _cups(key: str, degrees: str, found: list[Room]) -> list[Column]:
    room = tuple(length(f"{key}.cups.{r.side}", r.side, r.room) for r in found)
    left = tuple(length(f"{key}.worst.{r.side}", r.side, r.left) for r in found)
    if not found:
        return []
    return [
        Column(f"cup's rim to edge, tool turn {degrees}", room),
        Column("room at the worst", left),
    ]


def _verdict(found: list[Room], degrees: str, told: Seen, group: Group) -> str:
    """Whether the cups stay on their cartons, in words."""
    where = f"Tool turn {degrees} deg: "
    if not found:
        return where + "NOT JUDGED: no cups over these cartons, or cartons that lie at an angle."
    worst = min(found, key=lambda room: room.left)
    short = max((sight.early for sight in told.of_group(group.name)), default=0.0)
    if worst.left < 0.0:
        text = (
            f"NOT ENOUGH for all cups: the outermost can come {-worst.left * 1e3:.1f} mm over the "
            f"{worst.side} edge of carton {worst.number}, and then hold nothing."
        )
    else:
        text = (
            f"enough: the cups stay on their cartons, with {worst.left * 1e3:.1f} mm left at the "
            f"{worst.side} edge of carton {worst.number}."
        )
    downstream = next((room for room in found if room.side == "downstream"), None)
    if downstream is not None and short > downstream.room:
        text += (
            f" A carton that stops short is seen up to {short * 1e3:.0f} mm before its place, and "
            f"the cups take {downstream.room * 1e3:.0f} mm: it could be picked over its edge. A "
            "narrower beam, placed closer, sees it later."
        )
    return where + text


def _approach(cell: Cell, group: Group, off: Wander, result: Result, key: str) -> Column:
    """Clearance to cartons that are down, and what is left of it where the group is off."""
    full = cell.clearances.carried_to_placed
    told = [
        finding.value / 1e3
        for judged in result.placements
        if judged.placement.group.name == group.name
        for finding in judged.findings
        if finding.check == "approach" and finding.value is not None
        and finding.between is not None
        and all(name.startswith("carton/") for name in finding.between)
        and finding.limit is not None and finding.limit / 1e3 >= full - 1e-9
    ]  # fmt: skip
    low, high = group.extent()
    half = math.hypot(*(high - low)[:2]) / 2
    moved = max(off.along, off.across) + half * math.sin(off.skew)
    kept = min(told, default=full)
    numbers: tuple[Number, ...] = (
        length(f"{key}.approach", "measured" if told else "asked for", kept),
        length(f"{key}.approach worst", "at the worst", kept - moved),
    )
    return Column("clearance on the approach", numbers)
