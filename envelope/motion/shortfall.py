"""How far out of reach a pose is, and which way the shortest cure lies."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arm.external_axis import spread
from ..cell.model import Cell
from ..geometry.frames import Array
from .heights import Heights
from .options import Task
from .plan import Planner
from .stations import Stations

PICK, PLACE = "pick", "placement"
ABOVE_PICK, ABOVE_PLACE = "point above the pick", "point above the placement"
ABOVE_ALL = "point above all that stands on the pallet"
_STEP = 0.005  # [m]
_FARTHEST = 1.0  # [m]
_STOPS = 5  # places of a lift or track from which shifts are tried


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
        distance, direction = _cure(planner, task, pose)
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
    up = cell.mounted.up
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


def _cure(planner: Planner, task: Task, pose: Array) -> tuple[float | None, Array]:
    """Least shift towards or away from the arm's axis, up or down, that is in reach.

    Of an arm that slides across, shifts along x and y are tried as well, and first.

    A lift or track may stand anywhere for the pose itself; of shifts, the least is told from
    a few places, so that none is called too short.
    """
    away = pose[:3, 3] - _mounting_point(planner, task)
    inward = -away + planner.up * float((away * planner.up).sum())
    inward = inward / max(float(np.linalg.norm(inward)), 1e-9)
    directions = np.array([inward, -inward, -planner.up, planner.up])
    if planner.arm.chain.slides_across():
        x, y = np.eye(3)[:2]
        directions = np.concatenate([[x, -x, y, -y], directions])
    if _within_reach(planner, pose[None], None)[0]:
        return 0.0, directions[0]
    amounts = np.arange(_STEP, _FARTHEST + _STEP / 2, _STEP)
    shifts = amounts[:, None, None] * directions
    poses = np.broadcast_to(pose, (*shifts.shape[:2], 4, 4)).copy()
    poses[..., :3, 3] += shifts
    flat = poses.reshape(-1, 4, 4)
    axis = planner.arm.axis
    stops = (None,) if axis is None else spread(axis.stops, _STOPS)
    reached = np.any([_within_reach(planner, flat, stop) for stop in stops], axis=0)
    found = np.argwhere(reached.reshape(shifts.shape[:2]))
    if not len(found):
        return None, directions[0]
    amount, which = found[0]
    return float(amounts[amount]), directions[which]


def _mounting_point(planner: Planner, task: Task) -> Array:
    """Where the mounting base stands for a task in the base frame, shape (3,) [m]."""
    axis, place = planner.arm.axis, planner.stands.of(task.number).place
    return np.zeros(3) if axis is None or place is None else place * axis.direction


def _within_reach(planner: Planner, poses: Array, stand: float | None) -> NDArray[np.bool_]:
    """Whether poses base_from_tcp, (n, 4, 4), are in reach, either way round."""
    half = poses.copy()
    half[..., :3, :2] *= -1.0  # the tool turned by half, for joints that reach only one of them
    return _in_range(planner, poses, stand) | _in_range(planner, half, stand)


def _in_range(planner: Planner, base_from_tcp: Array, stand: float | None) -> NDArray[np.bool_]:
    answers = planner.reach.within(planner.reach.answers(base_from_tcp, stand), None)
    found = np.isfinite(answers.sum(axis=2))
    return np.count_nonzero(found, axis=1) > 0
