"""What a cycle spends its time on: which joint, which line, or standing still."""

from collections import defaultdict

import numpy as np

from ..cell.model import Cell
from ..geometry.frames import Array
from ..motion.cycle import Cycle, Segment
from ..motion.pace import pace_of
from ..motion.states import States, states_of

STANDING = "gripping, releasing and settling"


def spent(cell: Cell, cycle: Cycle) -> dict[str, float]:
    """Seconds of a cycle by what sets its pace, from the first segment to the last.

    While the arm moves, that is whatever is nearest to its limit: the speed or the acceleration
    of a joint or, on straight lines, of the TCP.
    """
    seconds: dict[str, float] = defaultdict(float)
    moving = 0.0
    for segment in cycle.segments:
        moving += float(segment.times[-1] - segment.times[0])
        for name, amount in _of_segment(cell, segment).items():
            seconds[name] += amount
    seconds[STANDING] += cycle.seconds - moving
    return dict(seconds)


def _of_segment(cell: Cell, segment: Segment) -> dict[str, float]:
    arm = cell.mounted.arm
    states = states_of(arm, segment)
    if len(states.times) < 2:
        return {}
    pace = pace_of(arm, cell.motion, loaded=bool(segment.carried))
    names = [f"{joint.name} {what}" for what in ("speed", "acceleration") for joint in arm.joints]
    shares = [np.abs(states.speeds) / pace.speed, np.abs(states.accelerations) / pace.acceleration]
    if segment.kind == "linear":
        speed, acceleration = _of_tcp(cell, segment, states)
        names += ["linear speed", "linear acceleration"]
        shares.append(np.stack([speed / pace.line.speed, acceleration / pace.line.acceleration], 1))
    use = np.concatenate(shares, axis=1)
    middle = np.round((use[1:] + use[:-1]) / 2.0, 4)  # ties go to the first by name, not rounding
    if segment.kind == "linear":
        middle[:, -2:] += 5e-3  # the line rules unless a joint holds it back
    taken = np.diff(states.times)
    seconds: dict[str, float] = defaultdict(float)
    for which, amount in zip(middle.argmax(axis=1).tolist(), taken.tolist(), strict=True):
        seconds[names[which]] += amount
    return seconds


def _of_tcp(cell: Cell, segment: Segment, states: States) -> tuple[Array, Array]:
    """Speed and acceleration of the TCP along a straight line at its states, each (n,)."""
    flange = cell.mounted.arm.chain.flange_poses(segment.joints[[0, -1]])
    tcp = (flange @ cell.tool.flange_from_tcp)[:, :3, 3]
    length = float(np.sqrt(((tcp[1] - tcp[0]) ** 2).sum()))
    along = _along(segment, states)
    step = length / (len(segment.joints) - 1)
    return along[:, 0] * step, np.abs(along[:, 1]) * step


def _along(segment: Segment, states: States) -> Array:
    """Speed and acceleration along the rows at the states, shape (n, 2)."""
    phases = segment.phases
    which = np.searchsorted(phases[:, 0], states.times[:-1] + 1e-9, side="right") - 1
    which = np.append(which, len(phases) - 1).clip(0)
    after = states.times - phases[which, 0]
    speed = phases[which, 3] + after * (phases[which, 4] + after * phases[which, 5] / 2.0)
    return np.stack([speed, phases[which, 4] + after * phases[which, 5]], axis=1)
