"""Straight lines as rows of joints: the rows, rounded, are the motion that is checked."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arm.arm import Arm
from ..geometry.frames import Array, angle_between

ON_LINE = 2e-5  # [m]: how far the TCP may leave a straight line between rows
ON_LINE_ANGLE = np.radians(2e-3)  # [rad]
_SAFE = 0.95  # of these, because only three points between rows are looked at
_GRID = np.radians(1e-5)  # joints are rounded to this, as in the results file
_GRID_LENGTH = 1e-8  # [m]: the same for a sliding joint
STEPS = (8, 12, 16, 24, 32, 48, 64, 96, 128, 200)  # intervals of a line that are tried


def rounded(arm: Arm, q: Array) -> Array:
    """Joint coordinates rounded as the results file writes them, shape (..., dof)."""
    grid = np.where(arm.chain.turning(), _GRID, _GRID_LENGTH)
    return np.round(q / grid) * grid


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """Straight lines wanted, shapes (n, ...): the TCP keeps its orientation.

    Attributes:
        base_from_tcp: Pose at the start, shape (n, 4, 4).
        shift: Way from start to end in the base frame, shape (n, 3) [m].
        start: Joints at the start, shape (n, dof), rounded.
    """

    base_from_tcp: Array
    shift: Array
    start: Array


def straight(arm: Arm, flange_from_tcp: Array, lines: Lines) -> list[Array | None]:
    """Rows of joints for each line, shape (rows, dof), or None where none can follow it.

    The number of rows is the least of `STEPS` that keeps the TCP within `ON_LINE` and
    `ON_LINE_ANGLE` between rows. None: out of reach on the way, or so near a singular
    posture that 200 rows do not do.
    """
    rows: list[Array | None] = [None] * len(lines.start)
    waiting = np.arange(len(lines.start))
    guess = np.zeros(len(waiting), int)
    for level, steps in enumerate(STEPS):
        trying = waiting[guess[waiting] <= level]
        if not len(trying):
            continue
        found, off = _follow(arm, flange_from_tcp, lines, trying, steps)
        done = off <= 1.0
        for place, line in enumerate(trying):
            if done[place]:
                rows[line] = found[place]
        # the deviation falls with the square of the step: skip counts that cannot do
        needed = steps * np.sqrt(np.where(np.isfinite(off), off, 1.0))
        guess[trying] = np.searchsorted(STEPS, np.minimum(needed * 0.98, STEPS[-1]))
        lost = trying[np.isnan(off)]
        waiting = np.setdiff1d(waiting, np.concatenate([trying[done], lost]))
    return rows


def _follow(
    arm: Arm, flange_from_tcp: Array, lines: Lines, which: NDArray[np.intp], steps: int
) -> tuple[Array, Array]:
    """Rows (n, steps + 1, dof), and the greatest deviation as a share of what is allowed."""
    share = np.linspace(0.0, 1.0, steps + 1)
    poses = _poses(lines, which, share)
    tcp_from_flange = np.linalg.inv(flange_from_tcp)
    # an external axis rests where it is while a straight line is followed
    stand = None if arm.axis is None else np.repeat(lines.start[which][:, 0], steps)
    answers = arm.inverse((poses[:, 1:] @ tcp_from_flange).reshape(-1, 4, 4), stand)
    options = answers.q.reshape(len(which), steps, -1, arm.dof)
    rows = np.empty((len(which), steps + 1, arm.dof))
    rows[:, 0] = lines.start[which]
    for step in range(steps):
        rows[:, step + 1] = _nearest(arm, options[:, step], rows[:, step])
    rows = rounded(arm, rows)
    off = np.zeros(len(which))
    for part in (0.25, 0.5, 0.75):
        between = rows[:, :-1] + (rows[:, 1:] - rows[:, :-1]) * part
        wanted = _poses(lines, which, share[:-1] + part / steps)
        flange = arm.chain.flange_poses(between.reshape(-1, arm.dof))
        reached = (flange @ flange_from_tcp).reshape(wanted.shape)
        apart = reached[..., :3, 3] - wanted[..., :3, 3]
        distance = np.sqrt((apart * apart).sum(axis=-1)) / (ON_LINE * _SAFE)
        angle = angle_between(reached, wanted) / (ON_LINE_ANGLE * _SAFE)
        off = np.maximum(off, np.maximum(distance, angle).max(axis=1))
    return rows, off


def _poses(lines: Lines, which: NDArray[np.intp], share: Array) -> Array:
    """Poses base_from_tcp along lines at shares of their length, shape (n, shares, 4, 4)."""
    poses = np.repeat(lines.base_from_tcp[which][:, None], len(share), axis=1)
    poses[..., :3, 3] += share[:, None] * lines.shift[which][:, None]
    return poses


def _nearest(arm: Arm, options: Array, reference: Array) -> Array:
    """Of each pose's answers, in whole turns next to the reference, the nearest: (n, dof)."""
    with np.errstate(invalid="ignore"):
        near = arm.unwrap_near(options, reference[:, None])
        size = np.abs(near - reference[:, None]).max(axis=2)
    size[np.isnan(size)] = np.inf
    best = size.argmin(axis=1)
    rows = np.arange(len(options))
    found = near[rows, best]
    found[~np.isfinite(size[rows, best])] = np.nan
    return found
