"""Straight lines as rows of joints: the rows, rounded, are the motion that is checked."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arm.arm import TURN, Arm
from ..arm.chain import BLOCK
from ..geometry.frames import Array

ON_LINE = 2e-5  # [m]: how far the TCP may leave a straight line between rows
ON_LINE_ANGLE = np.radians(2e-3)  # [rad]
_SAFE = 0.95  # of these, because only some points between rows are looked at
_GRID = np.radians(1e-5)  # joints are rounded to this, as in the results file
_GRID_LENGTH = 1e-8  # [m]: the same for a sliding joint
_BETWEEN = np.array([0.25, 0.5, 0.75])  # the points between rows, in rows
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
    waiting = np.ones(len(lines.start), dtype=bool)
    guess = np.zeros(len(lines.start), int)
    for level, steps in enumerate(STEPS):
        trying = np.flatnonzero(waiting & (guess <= level))
        if not len(trying):
            continue
        found, off = _follow(arm, flange_from_tcp, lines, trying, steps)
        done = off <= 1.0
        for place, line in zip(np.flatnonzero(done).tolist(), trying[done].tolist(), strict=True):
            rows[line] = found[place]
        # the deviation falls with the square of the step: skip counts that cannot do
        needed = steps * np.sqrt(np.where(np.isfinite(off), off, 1.0))
        guess[trying] = np.searchsorted(STEPS, np.minimum(needed * 0.98, STEPS[-1]))
        waiting[trying] = ~done & ~np.isnan(off)
    return rows


def _follow(
    arm: Arm, flange_from_tcp: Array, lines: Lines, which: NDArray[np.intp], steps: int
) -> tuple[Array, Array]:
    """Rows (n, steps + 1, dof), and the greatest deviation as a share of what is allowed."""
    # an external axis rests where it is while a straight line is followed
    stand = None if arm.axis is None else np.repeat(lines.start[which][:, 0], steps)
    flange = _flange_poses(lines, which, flange_from_tcp, steps)
    candidates = arm.candidates(flange.reshape(-1, 4, 4), stand)
    candidates = candidates.reshape(len(which), steps, -1, arm.dof)
    rows = rounded(arm, _continued(arm, candidates, flange, lines.start[which]))
    few = max(1, BLOCK // (len(_BETWEEN) * steps))
    parts = [slice(first, first + few) for first in range(0, len(which), few)]
    off = [_off(arm, flange_from_tcp, lines, which[part], rows[part]) for part in parts]
    return rows, np.concatenate(off)


def _off(
    arm: Arm, flange_from_tcp: Array, lines: Lines, which: NDArray[np.intp], rows: Array
) -> Array:
    """How far the TCP leaves lines between rows, as a share of what is allowed, shape (n,)."""
    count, steps = len(which), rows.shape[1] - 1
    joints = np.ascontiguousarray(rows.transpose(2, 0, 1))[..., None]
    between = joints[:, :, :-1] + np.diff(joints, axis=2) * _BETWEEN
    flange = arm.chain.flange_frames(between.reshape(arm.dof, -1))
    reached = flange.shifted(flange_from_tcp[:3, 3]).reshape(3, count, -1)
    share = ((np.arange(steps, dtype=float)[:, None] + _BETWEEN) / steps).ravel()
    start, shift = lines.base_from_tcp[which][:, :3, 3].T, lines.shift[which].T
    apart = reached - (start[..., None] + shift[..., None] * share)
    far = (apart * apart).sum(axis=0).max(axis=1)
    # the TCP turns as much as the flange, which keeps the rotation of the start
    held = lines.base_from_tcp[which][:, :3, :3] @ flange_from_tcp[:3, :3].T
    other = flange.columns.reshape(3, 3, count, -1)
    other = other - held.transpose(2, 1, 0)[..., None]  # column, component, line
    turned = (other * other).sum(axis=(0, 1)).max(axis=1)
    # the squares of all nine differences add up to 8 sin^2(angle / 2)
    angle = 2.0 * np.arcsin(np.sqrt(np.minimum(turned / 8.0, 1.0)))
    return np.maximum(np.sqrt(far) / (ON_LINE * _SAFE), angle / (ON_LINE_ANGLE * _SAFE))


def _continued(arm: Arm, candidates: Array, base_from_flange: Array, start: Array) -> Array:
    """Rows of joints: from the start on, always the answer nearest to the row before.

    Almost always that is the same branch all the way, which is looked at for all rows at once;
    the other lines are followed one by one.

    Args:
        arm: The arm.
        candidates: Answers not yet confirmed at each step, shape (n, steps, branches, dof).
        base_from_flange: What they answer, shape (n, steps, 4, 4).
        start: Shape (n, dof).

    Returns:
        Shape (n, steps + 1, dof); nan from where there is no answer.
    """
    rows = _in_one_branch(arm, candidates, start)
    nearest, _ = _nearest(arm, candidates, rows[:, :-1])
    flat = rows[:, 1:].reshape(-1, 1, arm.dof)
    confirmed = arm.confirmed(flat, base_from_flange.reshape(-1, 4, 4)).reshape(nearest.shape[:2])
    there = np.isfinite(rows[:, 1:, 0])
    good = _alike(nearest, rows[:, 1:]) & (confirmed | ~there)
    changing = np.flatnonzero(~good.all(axis=1))
    if len(changing):
        answers, poses = candidates[changing], base_from_flange[changing]
        found = arm.confirmed(answers.reshape(-1, *answers.shape[2:]), poses.reshape(-1, 4, 4))
        answers[~found.reshape(answers.shape[:3])] = np.nan
        for line, own in zip(changing.tolist(), answers, strict=True):
            rows[line] = _branch_by_branch(arm, own, start[line])
    return rows


def _branch_by_branch(arm: Arm, answers: Array, start: Array) -> Array:
    """The rows of one line, shape (steps + 1, dof), from confirmed answers, (steps, branches, dof).

    On in one branch until another answer is nearer, then on from there in the branch of that.
    """
    rows = start[None]
    while len(rows) <= len(answers):
        left = answers[len(rows) - 1 :]
        guess = _in_one_branch(arm, left[None], rows[-1:])[0]
        nearest, _ = _nearest(arm, left, guess[:-1])
        good = _alike(nearest, guess[1:])
        right = len(left) if good.all() else int(good.argmin())
        rows = np.concatenate([rows, nearest[: right + 1]])  # the row before each is right
    return rows


def _alike(one: Array, other: Array) -> NDArray[np.bool_]:
    """Whether rows are the same, or both are missing: shape (..., dof) to (...,)."""
    return ((one == other) | (np.isnan(one) & np.isnan(other))).all(axis=-1)


def _in_one_branch(arm: Arm, candidates: Array, start: Array) -> Array:
    """The rows if all are in the branch of the first; arguments and result as `_continued`."""
    _, first = _nearest(arm, candidates[:, 0], start)
    answers = candidates[np.arange(len(start)), :, first]
    before = np.concatenate([start[:, None], answers[:, :-1]], axis=1)
    turns = np.where(arm.chain.turning(), np.rint((before - answers) / TURN), 0.0)
    rows = np.concatenate([start[:, None], answers + TURN * np.cumsum(turns, axis=1)], axis=1)
    lost = np.logical_or.accumulate(np.isnan(rows).any(axis=2), axis=1)
    rows[lost] = np.nan
    return rows


def _flange_poses(
    lines: Lines, which: NDArray[np.intp], flange_from_tcp: Array, steps: int
) -> Array:
    """Poses base_from_flange at the steps along lines, the start left out, (n, steps, 4, 4)."""
    turned = lines.base_from_tcp[which]
    start = turned[:, :3, 3].copy()
    turned[:, :3, 3] = 0.0
    poses = np.repeat((turned @ np.linalg.inv(flange_from_tcp))[:, None], steps, axis=1)
    share = np.linspace(0.0, 1.0, steps + 1)[1:]
    poses[..., :3, 3] += start[:, None] + share[:, None] * lines.shift[which][:, None]
    return poses


def _nearest(arm: Arm, options: Array, reference: Array) -> tuple[Array, NDArray[np.intp]]:
    """Of each pose's answers, in whole turns next to the reference, the nearest.

    Args:
        arm: The arm.
        options: Shape (..., branches, dof).
        reference: Shape (..., dof).

    Returns:
        Joints, shape (..., dof), nan where there is no answer, and their branch, shape (...,).
    """
    with np.errstate(invalid="ignore"):
        near = arm.unwrap_near(options, reference[..., None, :])
        size = np.abs(near - reference[..., None, :]).max(axis=-1)
    size[np.isnan(size)] = np.inf
    best = size.argmin(axis=-1)
    found = np.take_along_axis(near, best[..., None, None], axis=-2)[..., 0, :]
    found[~np.isfinite(size.min(axis=-1))] = np.nan
    return found, best
