"""Reach: joint room along the motion, joint speeds on straight lines, the shoulder's axis."""

import numpy as np

from ..cell.model import Cell
from ..motion.cycle import Segment
from .case import Case
from .finding import Finding
from .joint_room import reached_of


def check(case: Case) -> list[Finding]:
    """Findings on reach for one placement."""
    if case.cycle is None:
        return [] if case.unreached is None else [case.unreached]
    segments = case.segments()
    reached = case.reached or reached_of(case.cell, [segments])[0]
    taken = f"{reached.room.message}; taken: {case.cycle.route}, {case.cycle.branch}"
    room = reached.room._replace(message=taken)
    lines = [segment for segment in segments if segment.kind == "linear"]
    others = [*(_speed(case.cell, segment) for segment in lines), reached.axis, case.unreached]
    return [room, *(finding for finding in others if finding is not None)]


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
