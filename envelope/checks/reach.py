"""Reach: joint room along the motion, joint speeds on straight lines, the shoulder's axis."""

from dataclasses import replace

import numpy as np

from ..arm.arm import Arm
from ..cell.model import Cell
from ..geometry.frames import Array
from ..motion.cycle import Segment
from .case import Case
from .finding import Finding

NEAR_AXIS = 0.050  # [m]: a flange nearer to the first joint's axis than this swings wildly


def check(case: Case) -> list[Finding]:
    """Findings on reach for one placement."""
    if case.cycle is None:
        return [] if case.unreached is None else [case.unreached]
    segments = case.segments()
    room = min((_room(case.cell, segment) for segment in segments), key=lambda f: f.value or 0.0)
    lines = [segment for segment in segments if segment.kind == "linear"]
    taken = f"{room.message}; taken: {case.cycle.route}, {case.cycle.branch}"
    room = replace(room, message=taken)
    others = [*(_speed(case.cell, segment) for segment in lines), _axis(case.cell, lines)]
    others.append(case.unreached)
    return [room, *(finding for finding in others if finding is not None)]


def _room(cell: Cell, segment: Segment) -> Finding:
    """Least room of any joint to its usable range; joint moves are extreme at their rows."""
    arm, q = cell.mounted.arm, segment.joints
    usable = np.array(cell.mounted.usable)
    coupled = arm.limit_margin(q)[:, arm.dof :]
    own = np.minimum(q - usable[:, 0], usable[:, 1] - q)
    margins = np.concatenate([own, coupled], axis=1)
    wanted = np.concatenate(
        [cell.mounted.wanted_room(), np.full(coupled.shape[1], cell.mounted.joint_margin)]
    )
    row, which = _least(cell, margins)
    room = float(margins[row, which])
    name, turns = _joint_name(arm, which)
    return Finding(
        "reach",
        "fail" if room < -1e-9 else "marginal" if room < wanted[which] else "pass",
        float(np.degrees(room)) if turns else room * 1e3,
        0.0,
        "deg" if turns else "mm",
        f"{name} has the least room to its usable range",
        segment=segment.name,
        at=float(segment.times[row]),
    )


def _least(cell: Cell, margins: Array) -> tuple[int, int]:
    """Row and number of the limit with the least room: slides count as angles."""
    scale = cell.mounted.room_scale()
    scaled = margins.copy()
    scaled[:, : len(scale)] *= scale
    if cell.mounted.arm.axis is not None and cell.mounted.arm.axis.in_steps:
        scaled[:, 0] = np.where(margins[:, 0] < -1e-9, -np.inf, np.inf)
    row, which = np.unravel_index(scaled.argmin(), scaled.shape)
    return int(row), int(which)


def _joint_name(arm: Arm, which: int) -> tuple[str, bool]:
    """Name of a limit in the order of `Arm.limit_margin`, and whether it is an angle."""
    if which < arm.dof:
        return arm.joints[which].name, bool(arm.chain.turning()[which])
    return arm.coupled[which - arm.dof].name, True


def _speed(cell: Cell, segment: Segment) -> Finding | None:
    """A straight line that has to be slowed for a joint's speed."""
    arm, demand = cell.mounted.arm, segment.demand
    if demand <= 1.0:
        return None
    speed = cell.motion.linear_speed / demand
    steps = np.abs(np.diff(segment.joints, axis=0)) / [joint.speed for joint in arm.joints]
    row, which = (int(i) for i in np.unravel_index(steps.argmax(), steps.shape))
    return Finding(
        "reach",
        "marginal",
        demand * 100.0,
        100.0,
        "% of joint speed",
        f"{arm.joints[which].name} is too slow for {cell.motion.linear_speed * 1e3:g} mm/s near a "
        f"singular posture; the line is slowed to {speed * 1e3:.0f} mm/s there",
        segment=segment.name,
        at=float(segment.times[row]),
    )


def _axis(cell: Cell, lines: list[Segment]) -> Finding | None:
    """Straight lines that pass close by the axis of the first joint: the closest of them."""
    rows = np.concatenate([segment.joints for segment in lines])
    at = np.concatenate([segment.times for segment in lines])
    of = np.repeat(np.arange(len(lines)), [len(segment.times) for segment in lines])
    chain = cell.mounted.arm.chain
    axis = chain.path(chain.flange_link)
    turning = [link for link in axis if not chain.links[link - 1].prismatic]
    if len(turning) < 2:
        return None  # a head that turns on the spot swings nothing
    links = chain.link_poses(rows)
    centre = links[:, turning[0], :3, 3]
    flange = (links[:, chain.flange_link] @ chain.link_from_flange)[:, :3, 3]
    distance = np.hypot(*(flange - centre)[:, :2].T)
    row = int(distance.argmin())
    if distance[row] >= NEAR_AXIS:
        return None
    return Finding(
        "reach",
        "marginal",
        float(distance[row]) * 1e3,
        NEAR_AXIS * 1e3,
        "mm",
        "the flange passes close by the first joint's axis",
        segment=lines[int(of[row])].name,
        at=float(at[row]),
    )
