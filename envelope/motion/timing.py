"""Times of segments: joints together on joint moves, straight lines as fast as joints allow."""

from itertools import pairwise

import numpy as np

from ..geometry.frames import Array
from .line_speed import fastest
from .pace import Pace
from .profile import (
    ACCELERATION,
    DURATION,
    JERK,
    PLACE,
    SPEED,
    TIME,
    Index,
    Limits,
    duration,
    joined,
    passes,
    run,
    state,
)
from .slopes import between, slopes

_OVER = 1.0 + 1e-6  # of a joint's limit: rounding, no excess
_STILL = np.zeros((0, 6))


def trapezoid(distance: float, speed: float, acceleration: float) -> float:
    """Rest-to-rest time [s] of a move with limited speed and acceleration.

    Source: Biagiotti and Melchiorri, Trajectory Planning for Automatic Machines and Robots
    (2008), section 3.2: D/v + v/a when the speed is reached, else 2 sqrt(D/a).
    """
    return duration(run(distance, Limits(speed, acceleration))) if distance > 0.0 else 0.0


def joint_phases(pace: Pace, rows: Array) -> Array:
    """Phases of a joint-interpolated move that stops at each row, places in rows; (n, 6).

    All joints share one profile, so that they keep to the straight connection of the rows.

    Args:
        pace: What the joints may use.
        rows: Shape (rows, dof) [rad or m].
    """
    legs = [(k, b - a) for k, (a, b) in enumerate(pairwise(rows)) if (a != b).any()]
    return joined([run(1.0, pace.along(leg)) for _, leg in legs], [float(k) for k, _ in legs])


def line_phases(pace: Pace, rows: Array, length: float) -> Array:
    """Phases along the evenly spaced rows of a straight line, places in rows; shape (n, 6).

    The line is run as asked for where every joint can follow, and slower only where one cannot.
    Where jerk is limited the whole line is slowed alike.

    Errs: joints are taken to move on the smooth curve through the rows.

    Args:
        pace: What line and joints may use.
        rows: Shape (rows, dof) [rad or m].
        length: Of the line [m].
    """
    if length <= 0.0:
        return _STILL
    count = len(rows) - 1
    step = length / count
    first, second = slopes(rows)
    jerk = min(pace.line.jerk / step, _jerk_that_joints_take(pace, first))
    limits = Limits(pace.line.speed / step, pace.line.acceleration / step, jerk)
    profile = run(float(count), limits)
    if _easy(pace, limits, first, second):
        return profile
    slower = _slower(pace, profile, first, second)
    if slower <= _OVER:
        return profile
    if np.isinf(jerk):
        return fastest(pace, limits, first, second)
    return stretched(profile, slower)


def _jerk_that_joints_take(pace: Pace, first: Array) -> float:
    """Jerk along the rows at which no joint's own is exceeded where the path is straight."""
    with np.errstate(divide="ignore"):
        return float((pace.jerk / np.abs(first).max(axis=0)).min())


def _easy(pace: Pace, limits: Limits, first: Array, second: Array) -> bool:
    """Whether every joint can follow a line even if all is at its greatest at once.

    A bound of what `_slower` looks at instant by instant, for a fraction of the work.
    """
    if np.isfinite(limits.jerk):
        return False
    most, bent = np.abs(first).max(axis=0), np.abs(second).max(axis=0)
    fast = (most * limits.speed / pace.speed).max()
    steep = most * limits.acceleration + bent * limits.speed**2
    return bool(max(fast, (steep / pace.acceleration).max()) <= 1.0)


def _slower(pace: Pace, profile: Array, first: Array, second: Array) -> float:
    """By which factor a line's time must grow until every joint can follow it."""
    which, after = _looks(profile, len(first))
    place, speed, acceleration = state(profile, which, after)
    place = np.minimum(np.maximum(place, 0.0), len(first) - 1.0)
    d1, d2 = between(first, place), between(second, place)
    speed, acceleration = speed[:, None], acceleration[:, None]
    fast = (np.abs(d1 * speed) / pace.speed).max()
    steep = (np.abs(d1 * acceleration + d2 * speed * speed) / pace.acceleration).max()
    factor = max(float(fast), float(steep) ** 0.5)
    if np.isinf(pace.jerk).all():
        return factor
    d3 = between(np.gradient(second, axis=0), place)
    jerk = profile[which, JERK][:, None]
    total = d1 * jerk + 3.0 * d2 * speed * acceleration + d3 * speed**3
    return max(factor, float((np.abs(total) / pace.jerk).max()) ** (1.0 / 3.0))


def _looks(profile: Array, rows: int) -> tuple[Index, Array]:
    """Phases and times in them: the rows, from either side, and both ends of each phase."""
    at = passes(profile, np.arange(rows, dtype=float))
    begin, end = profile[:, TIME], profile[:, TIME] + profile[:, DURATION]
    inside = (at >= begin[:, None] - 1e-12) & (at <= end[:, None] + 1e-12)
    which, row = np.nonzero(inside)
    every = np.arange(len(profile))
    which = np.concatenate([which, every, every])
    times = np.concatenate([at[row], begin, end])
    after = np.maximum(times - begin[which], 0.0)
    return which, np.minimum(after, profile[which, DURATION])


def stretched(profile: Array, factor: float) -> Array:
    """The same motion in a time that is longer by a factor."""
    slow = profile.copy()
    slow[:, [TIME, DURATION]] *= factor
    for power, column in enumerate((SPEED, ACCELERATION, JERK), start=1):
        slow[:, column] /= factor**power
    return slow


def row_times(profile: Array, kind: str, rows: int) -> Array:
    """Times [s] at the rows of a segment, shape (rows,); the first is 0."""
    if not len(profile):
        return np.zeros(rows)
    numbers = np.arange(rows, dtype=float)
    times = passes(profile, numbers) if kind == "linear" else _at_stops(profile, numbers)
    times[0], times[-1] = 0.0, duration(profile)
    return times


def _at_stops(profile: Array, numbers: Array) -> Array:
    """Times at which the rows of a joint move are left; rows that are alike share one."""
    first = np.searchsorted(profile[:, PLACE], numbers - 1e-9)
    starts = np.append(profile[:, TIME], duration(profile))
    return starts[first]


def line_demand(pace: Pace, rows: Array, length: float) -> float:
    """Greatest share of a joint's speed that a straight line needs at the speed asked for."""
    if length <= 0.0:
        return 0.0
    step = length / (len(rows) - 1)
    return float((np.abs(np.diff(rows, axis=0)) / pace.speed).max() * pace.line.speed / step)


def shifted(profile: Array, seconds: float) -> Array:
    """The same phases later."""
    later = profile.copy()
    later[:, TIME] += seconds
    return later
