"""How far out of reach a pose is, and which way the shortest cure lies."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..cell.model import Cell
from ..geometry.frames import Array, invert
from .heights import Heights
from .options import Task
from .plan import Planner
from .stations import Stations

PICK, PLACE = "pick", "placement"
ABOVE_PICK, ABOVE_PLACE = "point above the pick", "point above the placement"
ABOVE_ALL = "point above all that stands on the pallet"
_STEP = 0.005  # [m]
_FARTHEST = 1.0  # [m]


@dataclass(frozen=True, slots=True, eq=False)
class Shortfall:
    """What keeps a task from having any motion.

    Attributes:
        what: The waypoint that is out of reach.
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
    for what, pose in waypoints(planner.cell, planner.stations, planner.heights, task, over=over):
        distance, direction = _cure(planner, pose)
        if distance is None or distance > 0.0:
            return Shortfall(what, distance, direction)
    return Shortfall("way between pick and placement", None, np.zeros(3))


def waypoints(
    cell: Cell, stations: Stations, heights: Heights, task: Task, *, over: bool
) -> list[tuple[str, Array]]:
    """What must be in reach for any motion, in order: names, and poses base_from_tcp (4, 4).

    Args:
        cell: The cell.
        stations: Where the tool stands on this pallet.
        heights: How high it is lifted and arrives.
        task: The task.
        over: Also the point from which the group clears all that stands on the pallet.
    """
    up = invert(cell.mounted.world_from_base)[:3, 2]
    turn = task.group.turns[0]
    pick = stations.pick(task.group, turn)
    found = [(PICK, pick), (ABOVE_PICK, _lifted(pick, up * heights.lift(task)))]
    for release, placement in enumerate(task.placements):
        at = stations.place(placement, turn, 0.0)
        found += [(PLACE, at), (ABOVE_PLACE, _lifted(at, up * cell.motion.approach_height))]
        if over:
            found.append((ABOVE_ALL, _lifted(at, up * heights.clear(task, release))))
    return found


def _lifted(pose: Array, shift: Array) -> Array:
    lifted = pose.copy()
    lifted[:3, 3] += shift
    return lifted


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
