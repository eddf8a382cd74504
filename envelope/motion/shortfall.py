"""How far out of reach a pose is, and which way the shortest cure lies."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..geometry.frames import Array
from .options import Task
from .plan import Planner

_STEP = 0.005  # [m]
_FARTHEST = 1.0  # [m]


@dataclass(frozen=True, slots=True, eq=False)
class Shortfall:
    """What keeps a task from having any motion.

    Attributes:
        what: "pick" or "placement", with the waypoint.
        distance: Least shift that brings it into reach [m]; None when no shift tried does.
        direction: Unit direction of that shift in the base frame.
    """

    what: str
    distance: float | None
    direction: Array


def shortfall(planner: Planner, task: Task, *, over: bool = False) -> Shortfall:
    """The first of pick and placements, with the point straight above each, out of reach.

    Args:
        planner: The planner of the pallet.
        task: The task.
        over: Also ask for the point from which the group clears all that stands.
    """
    turn = task.group.turns[0]
    pick = planner.stations.pick(task.group, turn)
    lifted = pick + _lifted(planner.up * planner.heights.lift(task))
    waypoints = [("pick", pick), ("point above the pick", lifted)]
    for release, placement in enumerate(task.placements):
        at = planner.stations.place(placement, turn, 0.0)
        above = planner.up * planner.cell.motion.approach_height
        waypoints += [("placement", at), ("point above the placement", at + _lifted(above))]
        if over:
            clear = planner.up * planner.heights.clear(task, release)
            waypoints.append(("point above all that stands on the pallet", at + _lifted(clear)))
    for what, pose in waypoints:
        distance, direction = _cure(planner, pose)
        if distance is None or distance > 0.0:
            return Shortfall(what, distance, direction)
    return Shortfall("way between pick and placement", None, np.zeros(3))


def _lifted(shift: Array) -> Array:
    matrix = np.zeros((4, 4))
    matrix[:3, 3] = shift
    return matrix


def _cure(planner: Planner, pose: Array) -> tuple[float | None, Array]:
    """Least shift towards or away from the arm's axis, up or down, that is in reach."""
    inward = -pose[:3, 3] + planner.up * float((pose[:3, 3] * planner.up).sum())
    inward = inward / max(float(np.linalg.norm(inward)), 1e-9)
    directions = np.array([inward, -inward, -planner.up, planner.up])
    amounts = np.arange(0.0, _FARTHEST + _STEP / 2, _STEP)
    shifts = amounts[:, None, None] * directions
    poses = np.broadcast_to(pose, (*shifts.shape[:2], 4, 4)).copy()
    poses[..., :3, 3] += shifts
    half = poses.copy()
    half[..., :3, :2] *= -1.0  # the tool turned by half, for joints that reach only one of them
    reached = np.logical_or(
        _in_range(planner, poses.reshape(-1, 4, 4)), _in_range(planner, half.reshape(-1, 4, 4))
    )
    found = np.argwhere(reached.reshape(shifts.shape[:2]))
    if not len(found):
        return None, directions[0]
    amount, which = found[0]
    return float(amounts[amount]), directions[which]


def _in_range(planner: Planner, base_from_tcp: Array) -> NDArray[np.bool_]:
    answers = planner.reach.within(planner.reach.answers(base_from_tcp), None)
    found = np.isfinite(answers.sum(axis=2))
    return np.count_nonzero(found, axis=1) > 0
