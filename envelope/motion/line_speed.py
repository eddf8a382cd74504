"""The fastest way to run through a line on which joints limit speed and acceleration."""

import numpy as np

from ..geometry.frames import Array
from .pace import Pace
from .profile import Limits
from .slopes import between

_FINE = 96  # steps of the grid at least: what a coarse grid loses is time
_SPARE = 0.995  # of a joint's limits: what may happen between points of the grid


def fastest(pace: Pace, limits: Limits, first: Array, second: Array) -> Array:
    """Phases of constant acceleration along rows, from rest to rest, as fast as joints allow.

    With x the square of the speed and u the acceleration along the rows, a joint's speed is
    q' sqrt(x) and its acceleration q' u + q'' x. Backwards from the end, the greatest x from
    which the rest can be run; then forwards with the greatest u that stays below.

    Errs: on the slow side by the grid; acceleration is kept at both ends of every step.

    Source: Pham and Pham, A new approach to time-optimal path parameterization based on
    reachability analysis, IEEE Transactions on Robotics 34 (2018), sections IV and V. Here the
    linear programs of two unknowns are solved by comparing their lines.

    Args:
        pace: What the joints may use.
        limits: Of the line itself, per row.
        first: Joints' first derivative by the row, shape (rows, dof).
        second: Their second derivative.

    Returns:
        Shape (steps, 6), places in rows.
    """
    count = len(first) - 1
    steps = count * int(np.ceil(_FINE / count))
    place = np.linspace(0.0, count, steps + 1)
    d1, d2 = between(first, place), between(second, place)
    step = count / steps
    lines = _Lines(pace, limits, d1, d2, step)
    top = _top(pace, limits, d1)
    return _phases(_forwards(lines, _backwards(lines, top)), place)


def _top(pace: Pace, limits: Limits, d1: Array) -> Array:
    """Greatest square of the speed at each point for the speeds alone, shape (n,)."""
    with np.errstate(divide="ignore"):
        joints = (pace.speed * _SPARE / np.abs(d1)).min(axis=1)
    top = np.minimum(joints, limits.speed) ** 2
    top[[0, -1]] = 0.0
    return top


class _Lines:
    """At each step, what bounds u by x: |slope u + bend x| <= most, slope not negative.

    Arrays have the shape (steps, bounds).
    """

    def __init__(self, pace: Pace, limits: Limits, d1: Array, d2: Array, step: float) -> None:
        most = np.broadcast_to(pace.acceleration * _SPARE, d1[:-1].shape)
        own = np.ones((len(d1) - 1, 1))
        # At the end of a step x has become x + 2 step u.
        slope = np.concatenate([d1[:-1], d1[1:] + 2.0 * step * d2[1:], own], axis=1)
        bend = np.concatenate([d2[:-1], d2[1:], 0.0 * own], axis=1)
        self.most = np.concatenate([most, most, limits.acceleration * own], axis=1)
        self.step = step
        self.slope = np.abs(slope)
        self.bend = np.where(slope < 0.0, -bend, bend)

    def crossing(self) -> Array:
        """Greatest x at each step for which there is any u at all, shape (steps,)."""
        most, slope, bend = self.most, self.slope, self.bend
        room = most[:, :, None] * slope[:, None, :] + most[:, None, :] * slope[:, :, None]
        apart = bend[:, :, None] * slope[:, None, :] - bend[:, None, :] * slope[:, :, None]
        with np.errstate(divide="ignore", invalid="ignore"):
            alone = np.where(slope == 0.0, most / np.abs(bend), np.inf)
            crossed = np.where(apart > 0.0, room / apart, np.inf)
        return np.minimum(crossed.min(axis=(1, 2)), np.nan_to_num(alone, nan=np.inf).min(axis=1))


def _backwards(lines: _Lines, top: Array) -> Array:
    """Greatest x at each point from which the end can be reached at rest, shape (points,)."""
    twice = 2.0 * lines.step
    below = lines.slope - twice * lines.bend
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(below > 0.0, lines.slope / below, 0.0)
        fixed = np.where(below > 0.0, twice * lines.most / below, np.inf)
    least = np.minimum(top[:-1], lines.crossing())
    x = top.copy()
    for k in range(len(least) - 1, -1, -1):
        x[k] = max(0.0, min(least[k], float((share[k] * x[k + 1] + fixed[k]).min())))
    return x


def _forwards(lines: _Lines, most: Array) -> Array:
    """The x that is run at each point, from rest, shape (points,)."""
    twice = 2.0 * lines.step
    with np.errstate(divide="ignore", invalid="ignore"):
        rise = np.where(lines.slope > 0.0, lines.most / lines.slope, np.inf)
        fall = np.where(lines.slope > 0.0, lines.bend / lines.slope, 0.0)
    x = np.zeros(len(most))
    for k in range(len(most) - 1):
        u = float((rise[k] - fall[k] * x[k]).min())
        x[k + 1] = max(0.0, min(most[k + 1], x[k] + twice * u))
    return x


def _phases(x: Array, place: Array) -> Array:
    """Phases between points that are passed at speeds of square x, shape (points - 1, 6)."""
    speed = np.sqrt(x)
    way = np.diff(place)
    taken = 2.0 * way / (speed[:-1] + speed[1:])
    start = np.concatenate([[0.0], np.cumsum(taken)[:-1]])
    acceleration = np.diff(x) / (2.0 * way)
    nothing = np.zeros(len(way))
    return np.stack([start, taken, place[:-1], speed[:-1], acceleration, nothing], axis=1)
