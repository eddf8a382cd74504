"""Times of segments: joints together on joint moves, straight lines as fast as joints allow."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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
    runs_from_rest,
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


@dataclass(frozen=True, slots=True, eq=False)
class Timed:
    """How a segment is run, by a clock that starts with it.

    Attributes:
        phases: Shape (n, 6), see `profile`, places in rows; empty where nothing moves.
        times: At the rows, shape (rows,) [s]; the first is 0.
        demand: See `Segment`.
    """

    phases: Array
    times: Array
    demand: float = 0.0


def timed_moves(pace: Pace, moves: Sequence[Array]) -> list[Timed]:
    """Joint-interpolated moves that stop at each of their rows.

    All joints share one profile, so that they keep to the straight connection of the rows.

    Args:
        pace: What the joints may use.
        moves: Rows of each, shape (rows, dof) [rad or m].
    """
    if not moves:
        return []
    counts = [len(rows) for rows in moves]
    move = np.repeat(np.arange(len(moves)), counts)
    place = np.concatenate([np.arange(count, dtype=float) for count in counts])
    legs = np.diff(np.concatenate(moves), axis=0)
    own = np.flatnonzero((move[1:] == move[:-1]) & legs.any(axis=1))
    profiles: list[list[Array]] = [[] for _ in moves]
    places: list[list[float]] = [[] for _ in moves]
    whose, where = move[own].tolist(), place[own].tolist()
    for of, at, phases in zip(whose, where, runs_from_rest(*pace.along(legs[own])), strict=True):
        profiles[of].append(phases)
        places[of].append(at)
    found: list[Timed] = []
    for count, parts, starts in zip(counts, profiles, places, strict=True):
        whole = joined(parts, starts)
        found.append(Timed(whole, _times_of_stops(whole, count)))
    return found


def timed_lines(pace: Pace, lines: Sequence[tuple[Array, float]]) -> list[Timed]:
    """Straight lines, each run as asked for where every joint can follow, and slower elsewhere.

    Where jerk is limited a line is slowed as a whole.

    Errs: joints are taken to move on the smooth curve through the rows.

    Args:
        pace: What line and joints may use.
        lines: Evenly spaced rows of each, shape (rows, dof) [rad or m], and its length [m].
    """
    alike: dict[int, list[int]] = {}
    found: dict[int, Timed] = {}
    for number, (rows, length) in enumerate(lines):
        if length > 0.0:
            alike.setdefault(len(rows), []).append(number)
        else:
            found[number] = Timed(_STILL, np.zeros(len(rows)))
    for numbers in alike.values():
        rows = np.stack([lines[number][0] for number in numbers])
        lengths = np.array([lines[number][1] for number in numbers])
        found |= zip(numbers, _lines_of_as_many_rows(pace, rows, lengths), strict=True)
    return [found[number] for number in range(len(lines))]


def _lines_of_as_many_rows(pace: Pace, rows: Array, lengths: Array) -> Iterator[Timed]:
    """Straight lines, shape (n, rows, dof), of lengths above 0, shape (n,) [m]."""
    count = rows.shape[1]
    step = lengths / (count - 1)
    first, second = slopes(rows)
    speed, acceleration = pace.line.speed / step, pace.line.acceleration / step
    jerk = np.minimum(pace.line.jerk / step, _jerk_that_joints_take(pace, first))
    easy = np.isinf(jerk) & _easy(pace, speed, acceleration, first, second)
    shares = (np.abs(np.diff(rows, axis=1)) / pace.speed).max(axis=(1, 2))
    demands = shares * pace.line.speed / step
    plain: dict[tuple[float, ...], tuple[Array, Array]] = {}  # many lines are equally long
    asked = zip(speed.tolist(), acceleration.tolist(), jerk.tolist(), strict=True)
    for k, (limits, demand) in enumerate(zip(asked, demands.tolist(), strict=True)):
        if limits not in plain:
            phases = run(float(count - 1), Limits(*limits))
            plain[limits] = phases, _times_of_rows(phases, count)
        phases, times = plain[limits]
        if not easy[k]:
            slower = _held_back(pace, Limits(*limits), phases, first[k], second[k])
            if slower is not None:
                phases, times = slower, _times_of_rows(slower, count)
        yield Timed(phases, times, demand)


def _jerk_that_joints_take(pace: Pace, first: Array) -> Array:
    """Jerk along rows at which no joint's own is exceeded where the path is straight, (n,)."""
    with np.errstate(divide="ignore"):
        return (pace.jerk / np.abs(first).max(axis=1)).min(axis=1)


def _easy(
    pace: Pace, speed: Array, acceleration: Array, first: Array, second: Array
) -> NDArray[np.bool_]:
    """Whether every joint can follow a line even if all is at its greatest at once, shape (n,).

    A bound of what `_slower` looks at instant by instant, for a fraction of the work; it does
    not look at jerk.

    Args:
        pace: What the joints may use.
        speed: Greatest along each line, per row, shape (n,).
        acceleration: The same.
        first: Joints' first derivative by the row, shape (n, rows, dof).
        second: Their second derivative.
    """
    most, bent = np.abs(first).max(axis=1), np.abs(second).max(axis=1)
    speed, acceleration = speed[:, None], acceleration[:, None]
    fast = most * speed / pace.speed
    steep = (most * acceleration + bent * speed**2) / pace.acceleration
    return np.maximum(fast, steep).max(axis=1) <= 1.0


def _held_back(
    pace: Pace, limits: Limits, profile: Array, first: Array, second: Array
) -> Array | None:
    """Phases of a line on which joints may not follow; None where they do follow the profile."""
    slower = _slower(pace, profile, first, second)
    if slower <= _OVER:
        return None
    if np.isinf(limits.jerk):
        return fastest(pace, limits, first, second)
    return stretched(profile, slower)


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


def _times_of_rows(profile: Array, rows: int) -> Array:
    """Times [s] at the rows of a straight line, shape (rows,)."""
    times = passes(profile, np.arange(rows, dtype=float))
    times[0], times[-1] = 0.0, duration(profile)
    return times


def _times_of_stops(profile: Array, rows: int) -> Array:
    """Times [s] at which the rows of a joint move are left, (rows,); rows alike share one."""
    if rows == 2 or not len(profile):
        return np.array([*[0.0] * (rows - 1), duration(profile)])
    first = np.searchsorted(profile[:, PLACE], np.arange(rows, dtype=float) - 1e-9)
    times = np.append(profile[:, TIME], duration(profile))[first]
    times[0], times[-1] = 0.0, duration(profile)
    return times
