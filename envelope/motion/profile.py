"""How fast a distance is run through: speed over time in phases of constant jerk.

A profile is an array of phases, shape (n, 6), one row a phase: time at its start [s], duration
[s], place, speed, acceleration and jerk at its start. What a place is measured in (metres, rows
of a path, shares of a move) is the caller's choice.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from ..geometry.frames import Array

TIME, DURATION, PLACE, SPEED, ACCELERATION, JERK = range(6)
_HALVINGS = 60  # of an interval, after which doubles can tell no difference
Index = NDArray[np.intp]
Changes = list[tuple[float, float, float]]


@dataclass(frozen=True, slots=True)
class Limits:
    """Greatest speed, acceleration and jerk of a move; a jerk of inf is no limit."""

    speed: float
    acceleration: float
    jerk: float = math.inf


def run(distance: float, limits: Limits, start: float = 0.0, end: float = 0.0) -> Array:
    """The fastest profile over a distance: a trapezoid, or a double S where jerk is limited.

    Args:
        distance: Above 0.
        limits: What the move may use.
        start: Speed at the start, at most the limit; the acceleration there is 0.
        end: The same at the end.

    Returns:
        Phases, shape (n, 6); the first starts at time 0 and place 0.

    Raises:
        ValueError: If the distance is too short to change from one speed to the other.

    Source:
        Biagiotti and Melchiorri, Trajectory Planning for Automatic Machines and Robots (2008),
        sections 3.2 (trapezoid) and 3.4 (double S). The greatest speed of a short double S is
        found by halving rather than by their table of cases.
    """
    top, up, down = _to_the_top(distance, limits, start, end)
    cruise = distance - _way(start, top, up) - _way(top, end, down)
    level = [(cruise / top, 0.0, 0.0)] if cruise > 1e-12 * distance else []
    return phases(up + level + down, start)


def runs_from_rest(speed: Array, acceleration: Array, jerk: Array) -> Iterator[Array]:
    """What `run` finds from rest to rest over a distance of 1, for many moves at once.

    Args:
        speed: Limit of each move, shape (n,).
        acceleration: The same.
        jerk: The same; a jerk of inf is no limit.
    """
    if not np.isinf(jerk).all():
        for limits in zip(speed.tolist(), acceleration.tolist(), jerk.tolist(), strict=True):
            yield run(1.0, Limits(*limits))
        return
    way = speed / 2.0 * (speed / acceleration)
    top = np.where(way + way <= 1.0, speed, np.minimum(np.sqrt(acceleration), speed))
    rise = top / acceleration
    way = top / 2.0 * rise
    cruise = 1.0 - way - way
    level = np.where(cruise > 1e-12, cruise / top, 0.0)
    found = np.zeros((len(speed), 3, 6))  # up to the top, level, down to rest
    found[:, 1:, TIME] = np.stack([rise, rise + level], axis=1)
    found[:, :, DURATION] = np.stack([rise, level, rise], axis=1)
    found[:, 1, PLACE] = rise * (rise * (acceleration / 2))
    found[:, 1:, SPEED] = (rise * acceleration)[:, None]
    found[:, 2, PLACE] = found[:, 1, PLACE] + level * found[:, 1, SPEED]
    found[:, 0, ACCELERATION], found[:, 2, ACCELERATION] = acceleration, -acceleration
    for own, whole in zip(found, (level > 0.0).tolist(), strict=True):
        yield own if whole else own[[0, 2]]


def phases(changes: Changes, start: float) -> Array:
    """Phases from (duration, acceleration, jerk) each, and the speed at the start; (n, 6)."""
    rows: list[tuple[float, ...]] = []
    time, place, speed = 0.0, 0.0, start
    for duration, acceleration, jerk in changes:
        rows.append((time, duration, place, speed, acceleration, jerk))
        time += duration
        place += duration * (speed + duration * (acceleration / 2 + duration * jerk / 6))
        speed = max(0.0, speed + duration * (acceleration + duration * jerk / 2))
    return np.array(rows).reshape(-1, 6)


def _to_the_top(
    distance: float, limits: Limits, start: float, end: float
) -> tuple[float, Changes, Changes]:
    """The greatest speed that is reached, the change to it and the change from it."""

    def over(top: float) -> tuple[float, Changes, Changes]:
        return top, _change(start, top, limits), _change(top, end, limits)

    def needed(top: float, up: Changes, down: Changes) -> float:
        return _way(start, top, up) + _way(top, end, down)

    fastest = over(limits.speed)
    if needed(*fastest) <= distance:
        return fastest
    low, high = max(start, end), limits.speed
    if needed(*over(low)) > distance * (1.0 + 1e-9):
        raise ValueError("the distance is too short to change from one speed to the other")
    if math.isinf(limits.jerk):
        square = limits.acceleration * distance + (start * start + end * end) / 2.0
        return over(min(max(math.sqrt(square), low), high))
    if start == end == 0.0:
        return over(_top_of_rest_to_rest(distance, limits))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if needed(*over(middle)) <= distance else (low, middle)
    return over(low)


def _top_of_rest_to_rest(distance: float, limits: Limits) -> float:
    """The greatest speed of a double S from rest to rest that does not reach its limit."""
    a, j = limits.acceleration, limits.jerk
    gentle = (distance * distance * j / 4.0) ** (1.0 / 3.0)  # the acceleration is not reached
    if gentle * j <= a * a:
        return gentle
    return (math.sqrt((a * a / j) ** 2 + 4.0 * a * distance) - a * a / j) / 2.0


def _way(one: float, other: float, changes: Changes) -> float:
    """Distance on which one speed changes to another: their mean times the time it takes."""
    return (one + other) / 2.0 * math.fsum([duration for duration, _, _ in changes])


def _change(one: float, other: float, limits: Limits) -> Changes:
    """The quickest change of speed, with no acceleration at its ends."""
    size, a, j = abs(other - one), limits.acceleration, limits.jerk
    sign = 1.0 if other >= one else -1.0
    if size == 0.0:
        return []
    if math.isinf(j):
        return [(size / a, sign * a, 0.0)]
    if size * j >= a * a:
        rise = a / j
        flat = [(size / a - rise, sign * a, 0.0)] if size / a > rise else []
        return [(rise, 0.0, sign * j), *flat, (rise, sign * a, -sign * j)]
    rise = math.sqrt(size / j)
    return [(rise, 0.0, sign * j), (rise, sign * j * rise, -sign * j)]


def duration(profile: Array) -> float:
    """How long a profile takes [s]."""
    return float(profile[-1, TIME] + profile[-1, DURATION]) if len(profile) else 0.0


def joined(profiles: list[Array], places: list[float]) -> Array:
    """Profiles one after the other, each set to start at its place; shape (n, 6)."""
    if places == [0.0]:
        return profiles[0]
    parts = [profile.copy() for profile in profiles]
    starts = accumulate((duration(profile) for profile in profiles), initial=0.0)
    for part, time, place in zip(parts, starts, places, strict=False):
        part[:, TIME] += time
        part[:, PLACE] += place
    return np.concatenate(parts) if parts else np.zeros((0, 6))


def state(profile: Array, which: Index, after: Array) -> tuple[Array, Array, Array]:
    """Place, speed and acceleration a time [s] after the start of phases, each shape (n,)."""
    phase = profile[which]
    a, j = phase[:, ACCELERATION], phase[:, JERK]
    place = phase[:, PLACE] + after * (phase[:, SPEED] + after * (a / 2 + after * j / 6))
    speed = np.maximum(phase[:, SPEED] + after * (a + after * j / 2), 0.0)
    return place, speed, a + after * j


def passes(profile: Array, places: Array) -> Array:
    """Times [s] at which a profile passes places, shape (n,); the places must ascend.

    Where the place is held for a while, the instant at which it is reached first.
    """
    starts = profile[:, PLACE]
    which = np.maximum(np.searchsorted(starts, places, side="left") - 1, 0)
    phase = profile[which]
    way = np.maximum(places - phase[:, PLACE], 0.0)
    if profile[:, JERK].any():
        after = _passing_by_halving(profile, which, places)
    else:
        speed, a = phase[:, SPEED], phase[:, ACCELERATION]
        later = np.sqrt(np.maximum(speed * speed + 2.0 * a * way, 0.0))
        below = speed + later
        after = np.divide(2.0 * way, below, out=np.zeros(len(way)), where=below > 0.0)
    return phase[:, TIME] + np.minimum(after, phase[:, DURATION])


def _passing_by_halving(profile: Array, which: Index, places: Array) -> Array:
    """The same within phases whose acceleration changes."""
    low: Array = np.zeros(len(places))
    high: Array = profile[:, DURATION][which]
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        short = state(profile, which, middle)[0] < places
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return high
