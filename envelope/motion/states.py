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
    at_rows = passes(phases, numbers) if segment.kind == "linear" else np.zeros(0)
    which: list[Index] = []
    after: list[Array] = []
    ends = np.append(phases[1:, PLACE], numbers[-1])
    starts = np.append(phases[:, SPEED], 0.0)
    for number in range(len(phases)):
        phase: Array = phases[number]
        begin, end = np.interp((phase[PLACE], ends[number]), numbers, along)
        # Even in time, the states are farthest apart where the phase is fastest.
        mean = max((ends[number] - phase[PLACE]) / phase[DURATION], 1e-12)
        uneven = max(phase[SPEED], starts[number + 1]) / mean
        least = _CURVED if phase[JERK] else 1
        parts = int(np.clip(np.ceil((end - begin) * uneven / _STEP), least, _MOST))
        even = np.linspace(0.0, float(phase[DURATION]), parts + 1)
        mine = at_rows[(at_rows > phase[TIME]) & (at_rows < phase[TIME] + phase[DURATION])]
        times = np.unique(np.concatenate([even, mine - phase[TIME]]))
        which.append(np.full(len(times), number))
        after.append(times)
    return np.concatenate(which), np.concatenate(after)
