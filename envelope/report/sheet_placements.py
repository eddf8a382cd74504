"""The set-up sheet, fourth part: one block for each placement, in the order of work."""

import numpy as np

from ..arm.arm import Arm
from ..cell.model import Cell, Pallet
from ..checks.case import belongs_to
from ..checks.finding import Judged, Result
from ..geometry.frames import Array, invert
from ..motion.cycle import Cycle, Segment
from ..motion.setup import of_placement
from .sheet import Block, Column, Number, Section, angle, length, shown
from .sheet_groups import pick_joints, usual_pick
from .sheet_once import joint_numbers


def placements(cell: Cell, result: Result) -> list[Section]:
    """A section for each pallet."""
    sections: list[Section] = []
    usual = _usual_picks(result)
    for pallet in cell.pallets:
        members = [j for j in result.placements if j.placement.pallet == pallet.name]
        if not members:
            continue
        releases = _releases(members)
        blocks = tuple(
            _block(cell, pallet, judged, *releases[judged.placement.id], usual)
            for judged in members
        )
        sections.append(Section(f"placements on {pallet.name}", (_head(pallet), *blocks)))
    return sections


Picks = dict[tuple[str, float], tuple[str, tuple[float, ...]]]


def _usual_picks(result: Result) -> Picks:
    """Branch and joints at the pick that stand with each group and turn of the tool."""
    members: dict[tuple[str, float], list[Judged]] = {}
    for judged in result.placements:
        if judged.cycle is not None:
            key = (judged.placement.group.name, judged.cycle.pick_turn)
            members.setdefault(key, []).append(judged)
    return {key: usual_pick(found) for key, found in members.items()}


def _head(pallet: Pallet) -> Block:
    return Block(
        f"Placements on pallet {pallet.name}",
        (
            "Pose: the group's frame in the pallet's frame. Half-turn: by how much the group "
            "itself is turned when it is put down, on top of yaw. From: where the last straight "
            "line to the placement starts, seen from the placement, along the pallet's x, y, z. "
            "Lifted, arrival: height (z) of the TCP in the base frame where the sideways move "
            "starts and ends. Approach: where that last line starts; place: where it ends.",
        ),
    )


def _releases(members: list[Judged]) -> dict[str, tuple[int, int]]:
    """Of each placement: which release of its cycle it is, from 0, and of how many."""
    cycles: dict[int, list[str]] = {}
    for judged in members:
        cycles.setdefault(judged.placement.cycle, []).append(judged.placement.id)
    return {
        name: (number, len(names)) for names in cycles.values() for number, name in enumerate(names)
    }


def _block(
    cell: Cell, pallet: Pallet, judged: Judged, release: int, releases: int, usual: Picks
) -> Block:
    placement, cycle = judged.placement, judged.cycle
    key = f"placements.{placement.id}"
    typed = [shown(entry) for entry in of_placement(placement)]
    part = f", release {release + 1} of {releases}" if releases > 1 else ""
    title = (
        f"{placement.id}: order {placement.order}, cycle {placement.cycle}, group "
        f"{placement.group.name}{part}"
    )
    if judged.verdict in ("fail", "not checked"):
        title += f"  ** {judged.verdict.upper()}: DO NOT RUN **"
    if cycle is None:
        remark = "No motion was found: no joints can be given."
        return Block(title, (remark,), (Column("pose and way", tuple(typed)),))
    turn = f"{round(float(np.degrees(cycle.pick_turn)), 3):g} deg"
    own_pick = pick_joints(judged) != usual[placement.group.name, cycle.pick_turn]
    where = "below" if own_pick else f"see group {placement.group.name}, tool turn {turn}"
    remark = (
        f"Tool turn {turn} over the group; branch {cycle.branch}; way: {cycle.route}. Joints at "
        f"the pick: {where}."
    )
    own = [s for s in cycle.segments if belongs_to(s, releases - 1) == release]
    arm = cell.mounted.arm
    way = Way(cell, pallet, cycle, own, release)
    more = (angle(f"{key}.half-turn", "half-turn", way.half_turn), *way.numbers(key))
    columns = [
        Column("pose and way", (*typed, *more)),
        Column("joints at the approach", joint_numbers(f"{key}.approach", arm, way.approach)),
        Column("at the place", joint_numbers(f"{key}.place", arm, way.place), labels=False),
    ]
    if own_pick:
        columns.append(Column("joints at the pick", joint_numbers(f"{key}.pick", arm, way.pick)))
    columns += _points_on_the_way(arm, key, way)
    return Block(title, (remark,), tuple(columns))


def _points_on_the_way(arm: Arm, key: str, way: "Way") -> list[Column]:
    """Joints at the points between lift-off and arrival, and on the way back."""
    found: list[Column] = []
    for name, rows in (("via", way.across), ("back via", way.back)):
        for number, q in enumerate(rows, start=1):
            title = f"{name} {number}"
            found.append(Column(title, joint_numbers(f"{key}.{title}", arm, q), labels=not found))
    return found


class Way:
    """What is told of the motion to one placement.

    Args:
        cell: The cell.
        pallet: The pallet.
        cycle: The motion.
        own: The segments that belong to the placement.
        release: Which release of the cycle it is, from 0.
    """

    def __init__(
        self, cell: Cell, pallet: Pallet, cycle: Cycle, own: list[Segment], release: int
    ) -> None:
        self._cell, self._pallet = cell, pallet
        lift = next(s for s in cycle.segments if s.name == "lift off")
        inward = [s for s in own if s.name == "approach place"]
        transfer = [s for s in own if s.name == "transfer"]
        returning = [s for s in own if s.name == "return"]
        self.pick: Array = lift.joints[0]
        self.approach: Array = inward[-1].joints[0]
        self.place: Array = inward[-1].joints[-1]
        self.half_turn = cycle.place_turns[release]
        self.across: list[Array] = [q for s in transfer for q in s.joints[1:-1]]
        self.back: list[Array] = [q for s in returning for q in s.joints[1:-1]]
        self._lifted: Array = transfer[0].joints[0] if transfer else lift.joints[-1]
        self._arrived: Array = transfer[-1].joints[-1] if transfer else self.approach

    def numbers(self, key: str) -> list[Number]:
        """Approach vector in the pallet's frame, and heights of the sideways move."""
        cell = self._cell
        poses = cell.mounted.arm.chain.flange_poses(
            np.stack([self.approach, self.place, self._lifted, self._arrived])
        )
        tcp = poses @ cell.tool.flange_from_tcp
        pallet_from_base = invert(self._pallet.world_from_pallet) @ cell.mounted.world_from_base
        vector = pallet_from_base[:3, :3] @ (tcp[0, :3, 3] - tcp[1, :3, 3])
        found = [
            length(f"{key}.from.{axis}", f"from {axis}", float(value))
            for axis, value in zip("xyz", vector, strict=True)
        ]
        found.append(length(f"{key}.lifted", "lifted", float(tcp[2, 2, 3])))
        found.append(length(f"{key}.arrival", "arrival", float(tcp[3, 2, 3])))
        return found
