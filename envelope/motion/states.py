"""Where the joints are, and how they move, at instants along a timed segment."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arm.arm import Arm
from ..geometry.frames import Array
from .cycle import Segment
from .profile import ACCELERATION, DURATION, JERK, PLACE, SPEED, TIME, Index, passes, state
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
    return states_along(arm, [segment])[0]


def states_along(arm: Arm, segments: Sequence[Segment]) -> tuple[States, Index]:
    """The states of segments, one after another, each as in `states_of`.

    Returns:
        The states, with the clock of each segment's own cycle, and how many each segment has.

    Raises:
        ValueError: If a segment moves but carries no phases.
    """
    alike: dict[tuple[object, ...], list[int]] = {}
    for number, segment in enumerate(segments):
        curved = bool(len(segment.phases)) and bool(segment.phases[:, JERK].any())
        shape = segment.kind, len(segment.joints), len(segment.phases), curved
        alike.setdefault(shape, []).append(number)
    parts: list[tuple[States, Index]] = []
    for numbers in alike.values():
        some = [segments[number] for number in numbers]
        states, of = _at_rest(some) if not len(some[0].phases) else _alike(arm, some)
        parts.append((states, np.array(numbers, dtype=np.intp)[of]))
    if len(parts) == 1 and len(segments) == 1:
        return parts[0][0], np.array([len(parts[0][1])], dtype=np.intp)
    every = np.concatenate([of for _, of in parts]) if parts else np.zeros(0, np.intp)
    order = np.argsort(every, kind="stable")
    fields = ("times", "joints", "speeds", "accelerations", "bends")
    joined = (np.concatenate([getattr(s, name) for s, _ in parts])[order] for name in fields)
    return States(*joined), np.bincount(every, minlength=len(segments))


def _at_rest(segments: Sequence[Segment]) -> tuple[States, Index]:
    """The one state of each segment in which nothing moves. Raises ValueError."""
    if any(segment.times[-1] > segment.times[0] for segment in segments):
        raise ValueError("the segment carries no phases")
    joints = np.stack([segment.joints[0] for segment in segments])
    still = np.zeros_like(joints)
    times = np.array([segment.times[0] for segment in segments])
    return States(times, joints, still, still, still), np.arange(len(segments))


def _alike(arm: Arm, segments: Sequence[Segment]) -> tuple[States, Index]:
    """The states of segments of one kind, with as many rows and phases each; and whose they are."""
    rows = np.stack([segment.joints for segment in segments])
    phases = np.stack([segment.phases for segment in segments])
    which, after = _instants(arm, segments[0].kind, rows, phases)
    joints, speeds, changes, bends = _moving(segments[0].kind, rows, phases, which, after)
    times = phases.reshape(-1, 6)[which, TIME] + after
    return States(times, joints, speeds, changes + bends, bends), which // phases.shape[1]


def moving(segment: Segment, which: Index, after: Array) -> tuple[Array, Array, Array]:
    """Joints, their speeds and their accelerations at instants, each shape (n, dof).

    Args:
        segment: A segment that carries phases.
        which: In which of its phases, shape (n,).
        after: Seconds since the phase began, shape (n,).
    """
    rows, phases = segment.joints[None], segment.phases[None]
    joints, speeds, changes, bends = _moving(segment.kind, rows, phases, which, after)
    return joints, speeds, changes + bends


def _moving(
    kind: str, rows: Array, phases: Array, which: Index, after: Array
) -> tuple[Array, Array, Array, Array]:
    """Joints, their speeds, and their accelerations in two parts: along the path, and by bends.

    Args:
        kind: Of all the segments.
        rows: Shape (segments, rows, dof).
        phases: Shape (segments, phases, 6).
        which: Number of the phase over all segments, shape (n,).
        after: Seconds since it began, shape (n,).
    """
    of, last = which // phases.shape[1], rows.shape[1] - 1
    flat = phases.reshape(-1, 6)
    place, speed, acceleration = state(flat, which, after)
    place = np.clip(place, 0.0, float(last))
    if kind == "joint":
        leg = np.clip(np.floor(flat[which, PLACE] + 1e-9).astype(int), 0, last - 1)
        begin = rows[of, leg]
        first = rows[of, leg + 1] - begin
        joints = begin + (place - leg)[:, None] * first
        second = np.zeros_like(first)
    else:
        d1, d2 = slopes(rows)
        joints, first, second = (between(values, place, of) for values in (rows, d1, d2))
    return (
        joints,
        first * speed[:, None],
        first * acceleration[:, None],
        second * (speed * speed)[:, None],
    )


def _instants(arm: Arm, kind: str, rows: Array, phases: Array) -> tuple[Index, Array]:
    """Phases, numbered over all segments, and times after their start.

    Both ends of each phase, the rows within, and between. Arguments as in `_moving`.
    """
    count = rows.shape[1]
    metre = np.where(arm.chain.turning(), 1.0, _PER_METRE)
    way = (np.abs(np.diff(rows, axis=1)) * metre).max(axis=2)
    along = np.concatenate([np.zeros((len(rows), 1)), np.cumsum(way, axis=1)], axis=1)
    place, lasts = phases[:, :, PLACE], phases[:, :, DURATION]
    end = np.full((len(rows), 1), count - 1.0)
    ends = np.concatenate([place[:, 1:], end], axis=1)
    still = np.concatenate([phases[:, 1:, SPEED], 0.0 * end], axis=1)
    travelled = _travelled(along, ends) - _travelled(along, place)
    # Even in time, the states are farthest apart where the phase is fastest.
    mean = np.maximum((ends - place) / lasts, 1e-12)
    uneven = np.maximum(phases[:, :, SPEED], still) / mean
    least = np.where(phases[:, :, JERK] != 0.0, _CURVED, 1)
    parts = np.clip(np.ceil(travelled * uneven / _STEP), least, _MOST).astype(int).ravel()
    which = np.repeat(np.arange(len(parts)), parts + 1)
    number = np.arange(len(which)) - np.repeat(np.cumsum(parts + 1) - parts - 1, parts + 1)
    after = lasts.ravel()[which] * (number / parts[which])
    if kind == "linear":
        times = _passes(phases, count)
        past = times[:, None, :] - phases[:, :, TIME, None]
        of, within, row = np.nonzero((past > 0.0) & (past < lasts[:, :, None]))
        which = np.append(which, of * phases.shape[1] + within)
        after = np.append(after, past[of, within, row])
    order = np.lexsort((after, which))
    which, after = which[order], after[order]
    new = np.append(True, (np.diff(which) != 0) | (np.diff(after) != 0.0))
    return which[new], after[new]


def _passes(phases: Array, count: int) -> Array:
    """Times at which segments pass their rows, shape (segments, rows), each as `passes` has it."""
    rows = np.arange(float(count))
    if phases[:, :, JERK].any():
        return np.stack([passes(own, rows) for own in phases])
    which = (phases[:, None, :, PLACE] < rows[:, None]).sum(axis=2) - 1
    phase = np.take_along_axis(phases, np.maximum(which, 0)[:, :, None], axis=1)
    way = np.maximum(rows - phase[:, :, PLACE], 0.0)
    speed, a = phase[:, :, SPEED], phase[:, :, ACCELERATION]
    below = speed + np.sqrt(np.maximum(speed * speed + 2.0 * a * way, 0.0))
    after = np.divide(2.0 * way, below, out=np.zeros(way.shape), where=below > 0.0)
    return phase[:, :, TIME] + np.minimum(after, phase[:, :, DURATION])


def _travelled(along: Array, places: Array) -> Array:
    """Way up to places in rows, (segments, n), between the ways up to rows, (segments, rows)."""
    low = np.clip(np.floor(places).astype(int), 0, along.shape[1] - 2)
    begin, end = (np.take_along_axis(along, low + k, axis=1) for k in (0, 1))
    return begin + (end - begin) * np.clip(places - low, 0.0, 1.0)
