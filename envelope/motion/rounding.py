"""How much time is saved where corners are rounded: the next move starts before one ends.

Source: superposition of the end of one move and the start of the next, as in Siciliano,
Sciavicco, Villani and Oriolo, Robotics (2009), section 4.2.3 (way points passed by anticipating
the next segment); from memory.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np

from ..cell.model import Cell
from ..geometry.frames import Array
from .cycle import Cycle, Segment
from .pace import Pace, pace_of
from .profile import ACCELERATION, DURATION, JERK, PLACE, TIME, passes, state
from .slopes import between, slopes

_LOOKS = 13  # instants at which a stretch beside a corner is looked at
_SHARES = (1.0, 0.75, 0.5, 0.25)  # of the longest overlap that are tried
_OVER = 1.0 + 1e-6  # of a limit: rounding, no excess


class _Leg:
    """One move from rest to rest: a straight line, or a joint move between two points.

    Args:
        segment: Of which it is a part, or the whole.
        which: Which of its phases.
        start: Row where it starts.
        end: Row where it ends.
    """

    def __init__(self, segment: Segment, which: slice, start: int, end: int) -> None:
        self.segment, self.start, self.end = segment, start, end
        self.phases: Array = segment.phases[which]
        self.begins = float(self.phases[0, TIME])
        self.ends = float(self.phases[-1, TIME] + self.phases[-1, DURATION])
        self._count = float(end - start)
        rows = segment.joints[start : end + 1]
        # joints and their first two derivatives by the row, side by side, at each row
        self._rows: Array = np.concatenate([rows, *slopes(rows)], axis=1)

    def halfway(self) -> float:
        """When half of its rows are passed [s]."""
        return float(passes(self.phases, np.array([(self.start + self.end) / 2.0]))[0])

    def at(self, times: Array) -> tuple[Array, Array, Array]:
        """Joints, speeds and accelerations at times within it, each (n, dof)."""
        place, speed, acceleration = self.along(times)
        here = between(self._rows, np.minimum(np.maximum(place - self.start, 0.0), self._count))
        dof = here.shape[1] // 3
        joints, first, second = here[:, :dof], here[:, dof : 2 * dof], here[:, 2 * dof :]
        speed, acceleration = speed[:, None], acceleration[:, None]
        return joints, first * speed, first * acceleration + second * (speed * speed)

    def along(self, times: Array) -> tuple[Array, Array, Array]:
        """Place in rows, speed and acceleration along them at times within it, each (n,)."""
        which = np.searchsorted(self.phases[:, TIME], times + 1e-12, side="right") - 1
        which = np.maximum(which, 0)
        after = np.maximum(times - self.phases[which, TIME], 0.0)
        return state(self.phases, which, np.minimum(after, self.phases[which, DURATION]))


def saved_by_rounding(cell: Cell, cycles: Sequence[Cycle]) -> list[float]:
    """Seconds by which cycles are shorter when corners are rounded as far as they may be.

    The next move starts while the one before still slows down: within the blend radius of the
    corner, no farther than half way along either, and only where all joints stay within their
    speed and acceleration while both go on, and the TCP within its own between two lines.

    Errs: on the short side. A longer overlap, or one at changed accelerations, is not tried.

    Args:
        cell: The cell.
        cycles: Some of its cycles, timed with a stop at every corner.
    """
    if not cell.motion.blend_radius:
        return [0.0] * len(cycles)
    corners = [(n, corner) for n, cycle in enumerate(cycles) for corner in _corners(cycle)]
    if not corners:
        return [0.0] * len(cycles)
    stretches = [_beside(*legs) for _, legs in corners]
    joints = [
        leg.at(times)[0]
        for (_, legs), both in zip(corners, stretches, strict=True)
        for leg, times in zip(legs, both, strict=True)
    ]
    near = iter(_near(cell, np.stack(joints)))
    paces = {
        loaded: pace_of(cell.mounted.arm, cell.motion, loaded=loaded) for loaded in (False, True)
    }
    saved = [0.0] * len(cycles)
    for (number, (before, after)), both in zip(corners, stretches, strict=True):
        longest = min(float(np.ptp(times[next(near)])) for times in both)
        pace = paces[bool(after.segment.carried)]
        saved[number] += _overlap(cell, pace, before, after, longest)
    return saved


def _corners(cycle: Cycle) -> Iterator[tuple[_Leg, _Leg]]:
    """The legs on either side of each corner that is no rest."""
    legs = [leg for segment in cycle.segments for leg in _legs(segment)]
    for before, after in pairwise(legs):
        if before.segment is not after.segment:
            lowest = min(float(before.segment.to_go[-1]), float(after.segment.to_go[0]))
            if lowest <= 0.0 or after.begins - before.ends > 1e-9:
                continue
        yield before, after


def _legs(segment: Segment) -> Iterator[_Leg]:
    phases = segment.phases
    if not len(phases):
        return
    if segment.kind == "linear":
        yield _Leg(segment, slice(None), 0, len(segment.joints) - 1)
        return
    legs = np.floor(phases[:, PLACE] + 1e-9).astype(int)
    for leg in np.unique(legs).tolist():
        mine = np.flatnonzero(legs == leg)
        yield _Leg(segment, slice(int(mine[0]), int(mine[-1]) + 1), leg, leg + 1)


def _beside(before: _Leg, after: _Leg) -> tuple[Array, Array]:
    """Instants from the corner on, back along one leg and forward along the other, (looks,).

    As far as one never gains speed and the other never loses any, and half way at most.
    """
    phases = before.phases
    gains = np.flatnonzero(np.maximum(phases[:, ACCELERATION], _later(phases)) > 1e-9)
    since = phases[gains[-1], TIME] + phases[gains[-1], DURATION] if len(gains) else before.begins
    into = np.linspace(before.ends, max(float(since), before.halfway()), _LOOKS)
    phases = after.phases
    loses = np.flatnonzero(np.minimum(phases[:, ACCELERATION], _later(phases)) < -1e-9)
    until = float(phases[loses[0], TIME]) if len(loses) else after.ends
    return into, np.linspace(after.begins, min(until, after.halfway()), _LOOKS)


def _later(phases: Array) -> Array:
    """Acceleration at the end of each phase."""
    return phases[:, ACCELERATION] + phases[:, JERK] * phases[:, DURATION]


def _near(cell: Cell, joints: Array) -> list[slice]:
    """Which of the looks along each stretch keep within the blend radius, from the corner on.

    Args:
        cell: The cell.
        joints: Shape (stretches, looks, dof); the first look is the corner.
    """
    flat = joints.reshape(-1, joints.shape[-1])
    flange = cell.mounted.arm.chain.flange_poses(flat)
    tcp = (flange @ cell.tool.flange_from_tcp)[:, :3, 3].reshape(*joints.shape[:2], 3)
    off = np.sqrt(((tcp - tcp[:, :1]) ** 2).sum(axis=2)) > cell.motion.blend_radius
    within = np.logical_and.accumulate(~off, axis=1).sum(axis=1)
    return [slice(0, int(count)) for count in within]


def _overlap(cell: Cell, pace: Pace, before: _Leg, after: _Leg, longest: float) -> float:
    """How long both legs may go on together at their corner [s]."""
    lines = before.segment.kind == after.segment.kind == "linear"
    steps = [_row_step(cell, leg) for leg in (before, after)] if lines else []
    end, begin = (before, np.array([before.ends])), (after, np.array([after.begins]))
    if not _joints_allow(pace, end, begin):
        return 0.0  # at the very corner accelerations add up to too much
    for share in _SHARES:
        seconds = longest * share
        if seconds <= 0.0:
            return 0.0
        since = np.linspace(0.0, seconds, _LOOKS)
        both = ((before, before.ends - seconds + since), (after, after.begins + since))
        if _joints_allow(pace, *both) and (not lines or _line_allows(pace, steps, *both)):
            return seconds
    return 0.0


_Stretch = tuple[_Leg, Array]  # a leg, and instants of it


def _joints_allow(pace: Pace, one: _Stretch, other: _Stretch) -> bool:
    """Whether all joints keep their limits when two legs go on together."""
    ways = [leg.at(times) for leg, times in (one, other)]
    speed, acceleration = (np.abs(ways[0][k] + ways[1][k]) for k in (1, 2))
    if (speed > pace.speed * _OVER).any() or (acceleration > pace.acceleration * _OVER).any():
        return False
    if len(one[1]) < 2 or np.isinf(pace.jerk).all():
        return True
    step = float(one[1][1] - one[1][0])
    jerk = np.abs(np.diff(ways[0][2] + ways[1][2], axis=0)) / step
    return not (jerk > pace.jerk * _OVER).any()


def _line_allows(pace: Pace, steps: list[Array], one: _Stretch, other: _Stretch) -> bool:
    """Whether the TCP keeps the limits of lines when two of them go on together.

    Args:
        pace: Its limits.
        steps: Way of the TCP from row to row of each line, (3,) each [m].
        one: The line that ends, and when.
        other: The line that starts, and when.
    """
    ways = [leg.along(times) for leg, times in (one, other)]
    speed, acceleration = (
        np.sqrt(((ways[0][k][:, None] * steps[0] + ways[1][k][:, None] * steps[1]) ** 2).sum(1))
        for k in (1, 2)
    )
    fast = speed.max() > pace.line.speed * _OVER
    return not (fast or acceleration.max() > pace.line.acceleration * _OVER)


def _row_step(cell: Cell, leg: _Leg) -> Array:
    """Way of the TCP from one row of a straight line to the next, (3,) [m]."""
    flange = cell.mounted.arm.chain.flange_poses(leg.segment.joints[[leg.start, leg.end]])
    tcp = (flange @ cell.tool.flange_from_tcp)[:, :3, 3]
    return (tcp[1] - tcp[0]) / (leg.end - leg.start)
