"""States of motion of many cycles at once, sorted by what hangs on the flange in them.

Everything here is seen in the flange frame (z outward from its face): there, what hangs does
not move, and only gravity and the flange's acceleration change.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arm.flange_motion import Axis, FlangeMotion, flange_motions
from ..cell.model import Cell
from ..geometry.frames import Array
from ..motion.cycle import Cycle, Segment
from ..motion.states import Index, States, states_along
from ..palletizing.group import Group

GRAVITY = 9.80665  # [m/s2]: standard gravity, ISO 80000-3
_SAME_TIME = 9  # decimals of a duration [s] by which two segments are told apart


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """A run of states: one segment, or several that are alike but for the clock.

    Attributes:
        members: Cycle and segment, by number from 0, of each of them.
        first: Index of its first state.
        stop: One more than the index of its last state.
    """

    members: tuple[tuple[int, int], ...]
    first: int
    stop: int


@dataclass(frozen=True, slots=True, eq=False)
class Hanging:
    """All states in which the same cartons hang on the tool in the same way.

    Attributes:
        group: The group that was picked.
        turn: Turn of the tool over it [rad].
        carried: Which of its cartons hang.
        stretches: Without gaps, in order.
        times: Seconds from the start of the segment, shape (n,).
        joints: Shape (n, dof) [rad or m].
        gravity: Shape (3, n) [m/s2].
        acceleration: Of the flange's origin, shape (3, n) [m/s2].
        spin: Angular velocity, shape (3, n) [rad/s]; spin_change: its change [rad/s2].
        axes: Axes of the turning joints; points from the flange's origin.
        stop_acceleration: As acceleration, but braking in a stop begun in that state.
        stop_spin_change: As spin_change, likewise.
    """

    group: Group
    turn: float
    carried: tuple[int, ...]
    stretches: tuple[Stretch, ...]
    times: Array
    joints: Array
    gravity: Array
    acceleration: Array
    spin: Array
    spin_change: Array
    axes: dict[int, Axis]
    stop_acceleration: Array
    stop_spin_change: Array

    @property
    def starts(self) -> list[int]:
        """Index of the first state of each stretch."""
        return [stretch.first for stretch in self.stretches]


_What = tuple[Group, float, tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class Kind:
    """What hangs on the flange, and how, in some segments of cycles.

    Attributes:
        group: The group that was picked.
        turn: Turn of the tool over it [rad].
        carried: Which of its cartons hang.
        members: The segments, as cycle and segment by number; those that move alike together.
    """

    group: Group
    turn: float
    carried: tuple[int, ...]
    members: tuple[tuple[tuple[int, int], ...], ...]


def kinds(cycles: Sequence[tuple[Group, Cycle]]) -> list[Kind]:
    """The segments of cycles, each with the group that it carries, sorted by what hangs."""
    alike: dict[_What, dict[tuple[object, ...], list[tuple[int, int]]]] = {}
    for number, (group, cycle) in enumerate(cycles):
        mine: dict[tuple[int, ...], dict[tuple[object, ...], list[tuple[int, int]]]] = {}
        for index, segment in enumerate(cycle.segments):
            if segment.carried not in mine:
                what = group, cycle.pick_turn, segment.carried
                mine[segment.carried] = alike.setdefault(what, {})
            same = mine[segment.carried].setdefault(_motion_of(segment), [])
            same.append((number, index))
    return [Kind(*what, tuple(map(tuple, same.values()))) for what, same in alike.items()]


def hangings(cell: Cell, cycles: Sequence[tuple[Group, Cycle]]) -> list[Hanging]:
    """The states of cycles, each with the group that it carries, sorted by what hangs."""
    return [hanging_of(cell, cycles, kind) for kind in kinds(cycles)]


def hanging_of(cell: Cell, cycles: Sequence[tuple[Group, Cycle]], kind: Kind) -> Hanging:
    """The states in which one kind hangs; cycles as they were given to `kinds`."""
    segments = [cycles[number][1].segments[index] for (number, index), *_ in kind.members]
    return _hanging(cell, kind, *states_along(cell.mounted.arm, segments))


def _motion_of(segment: Segment) -> tuple[object, ...]:
    """What makes two segments of one cell alike: their rows and how long they take."""
    duration = float(segment.times[-1] - segment.times[0])
    return segment.kind, segment.joints.tobytes(), round(duration, _SAME_TIME)


def _hanging(cell: Cell, kind: Kind, states: States, counts: Index) -> Hanging:
    ends = np.cumsum(counts).tolist()
    stretches = tuple(
        Stretch(mine, first, stop)
        for mine, first, stop in zip(kind.members, [0, *ends[:-1]], ends, strict=True)
    )
    joints, speeds = states.joints, states.speeds
    chain = cell.mounted.arm.chain
    changes = [states.accelerations]
    if kind.carried and cell.tool.holds:
        changes.append(states.bends + _braking(cell, speeds))
    motion, *others = flange_motions(chain, joints, speeds, changes)
    stop = others[0] if others else motion
    down = -GRAVITY * cell.mounted.world_from_base[2, :3]  # in the base frame
    return Hanging(
        kind.group,
        kind.turn,
        kind.carried,
        stretches,
        states.times - np.repeat(states.times[[0, *ends[:-1]]], counts),
        joints,
        seen(motion, down[:, None]),
        seen(motion, motion.acceleration),
        seen(motion, motion.spin),
        seen(motion, motion.spin_change),
        {joint: _seen_axis(motion, axis) for joint, axis in motion.axes.items()},
        seen(motion, stop.acceleration),
        seen(motion, stop.spin_change),
    )


def _braking(cell: Cell, speeds: Array) -> Array:
    """Joint accelerations that brake along the path, all joints in step, shape (n, dof).

    The joint that takes longest brakes as hard as it does in a stop.
    """
    hardest = np.array([joint.acceleration for joint in cell.mounted.arm.joints])
    hardest = hardest * cell.hold.stop_deceleration
    with np.errstate(divide="ignore"):
        rate = (hardest / np.abs(speeds)).min(axis=1)
    return np.where(np.isfinite(rate), -rate, 0.0)[:, None] * speeds


def _seen_axis(motion: FlangeMotion, axis: Axis) -> Axis:
    return Axis(seen(motion, axis.point - motion.frames.position), seen(motion, axis.direction))


def seen(motion: FlangeMotion, vector: Array) -> Array:
    """Vectors of the base frame, shape (3, n), in the flange frame."""
    x, y, z = vector
    columns = motion.frames.columns
    found = np.empty(columns.shape[1:])
    for k, column in enumerate(columns):
        found[k] = column[0] * x + column[1] * y + column[2] * z
    return found
