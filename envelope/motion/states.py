"""Where the joints are, and how they move, at instants along a timed segment."""

from dataclasses import dataclass

import numpy as np

from ..arm.arm import Arm
from ..geometry.frames import Array
from .cycle import Segment
from .profile import DURATION, JERK, PLACE, SPEED, TIME, Index, passes, state
from .slopes import between, slopes

_STEP = np.radians(2.0)  # [rad], or as much in metres over _PER_METRE: joints between two states
_PER_METRE = 2.0  # [rad/m]: a sliding joint's way counts as this much turning
_CURVED = 8  # states at least in a phase whose acceleration changes
_MOST = 400  # states in one phase


@dataclass(frozen=True, slots=True, eq=False)
class States:
    """States of motion in the order of time; where the acceleration jumps, one at either side.

    Attributes:
        times: Seconds from the start of the cycle, shape (n,), ascending.
        joints: Shape (n, dof) [rad or m].
        speeds: Shape (n, dof) [rad/s or m/s].
        accelerations: Shape (n, dof) [rad/s2 or m/s2].
        bends: The part of them that the path's own curving takes at that speed, the speed along
            the path unchanged, shape (n, dof).
    """

    times: Array
    joints: Array
    speeds: Array
    accelerations: Array
    bends: Array


def states_of(arm: Arm, segment: Segment) -> States:
    """The states of a segment at its rows, at every switch of its acceleration, and between.

    Between two states no joint goes farther than 2 deg (17 mm where it slides). On a straight
    line, speeds and accelerations are those of the smooth curve through the rows; the joints are
    on the straight connections of rows, which are the motion.

    Args:
        arm: The arm; says which joints slide.
        segment: A segment as the planner timed it.

    Raises:
        ValueError: If the segment moves but carries no phases.
    """
    phases, rows = segment.phases, segment.joints
    if not len(phases):
        if segment.times[-1] > segment.times[0]:
            raise ValueError("the segment carries no phases")
        still = np.zeros((1, rows.shape[1]))
        return States(segment.times[:1], rows[:1], still, still, still)
    which, after = _instants(arm, segment, phases)
    joints, speeds, changes, bends = _moving(segment, which, after)
    return States(phases[which, TIME] + after, joints, speeds, changes + bends, bends)


def moving(segment: Segment, which: Index, after: Array) -> tuple[Array, Array, Array]:
    """Joints, their speeds and their accelerations at instants, each shape (n, dof).

    Args:
        segment: A segment that carries phases.
        which: In which of its phases, shape (n,).
        after: Seconds since the phase began, shape (n,).
    """
    joints, speeds, changes, bends = _moving(segment, which, after)
    return joints, speeds, changes + bends


def _moving(segment: Segment, which: Index, after: Array) -> tuple[Array, Array, Array, Array]:
    """Joints, their speeds, and their accelerations in two parts: along the path, and by bends."""
    phases, rows = segment.phases, segment.joints
    place, speed, acceleration = state(phases, which, after)
    place = np.clip(place, 0.0, len(rows) - 1.0)
    if segment.kind == "joint":
        leg = np.clip(np.floor(phases[which, PLACE] + 1e-9).astype(int), 0, len(rows) - 2)
        first = rows[leg + 1] - rows[leg]
        joints = rows[leg] + (place - leg)[:, None] * first
        second = np.zeros_like(first)
    else:
        d1, d2 = slopes(rows)
        joints, first, second = between(rows, place), between(d1, place), between(d2, place)
    return (
        joints,
        first * speed[:, None],
        first * acceleration[:, None],
        second * (speed * speed)[:, None],
    )


def _instants(arm: Arm, segment: Segment, phases: Array) -> tuple[Index, Array]:
    """Phases and times after their start: both ends of each, the rows within, and between."""
    metre = np.where(arm.chain.turning(), 1.0, _PER_METRE)
    way = (np.abs(np.diff(segment.joints, axis=0)) * metre).max(axis=1)
    along = np.concatenate([[0.0], np.cumsum(way)])
    numbers = np.arange(len(segment.joints), dtype=float)
    ends = np.append(phases[1:, PLACE], numbers[-1])
    begin, end = np.interp(phases[:, PLACE], numbers, along), np.interp(ends, numbers, along)
    # Even in time, the states are farthest apart where the phase is fastest.
    mean = np.maximum((ends - phases[:, PLACE]) / phases[:, DURATION], 1e-12)
    uneven = np.maximum(phases[:, SPEED], np.append(phases[1:, SPEED], 0.0)) / mean
    least = np.where(phases[:, JERK] != 0.0, _CURVED, 1)
    parts = np.clip(np.ceil((end - begin) * uneven / _STEP), least, _MOST).astype(int)
    which = np.repeat(np.arange(len(phases)), parts + 1)
    number = np.arange(len(which)) - np.repeat(np.cumsum(parts + 1) - parts - 1, parts + 1)
    after = phases[which, DURATION] * (number / parts[which])
    if segment.kind == "linear":
        past = passes(phases, numbers)[:, None] - phases[:, TIME]
        row, within = np.nonzero((past > 0.0) & (past < phases[:, DURATION]))
        which, after = np.append(which, within), np.append(after, past[row, within])
    order = np.lexsort((after, which))
    which, after = which[order], after[order]
    new = np.append(True, (np.diff(which) != 0) | (np.diff(after) != 0.0))
    return which[new], after[new]
