"""How high a group is lifted, how high it arrives, and how high the tool withdraws."""

import numpy as np

from ..cell.model import Cell, Pallet
from ..geometry.frames import Array
from ..palletizing.group import Group
from .options import Option, Task
from .postures import Reach

_PAST = 0.030  # [m]: how far bottoms are lifted past the tops of what stands beside them
_STEP = 0.025  # [m]: in which the highest lift is found


class Heights:
    """Heights of the straight lines of cycles on one pallet."""

    def __init__(self, cell: Cell, pallet: Pallet, reach: Reach) -> None:
        self._cell, self._reach = cell, reach
        self.up = cell.mounted.up
        self._tops = [0.0]
        for placement in pallet.placements:
            self._tops.append(max(self._tops[-1], placement.z))
        self._highest: dict[tuple[object, ...], float] = {}
        self._depths: dict[str, float] = {}

    def lift(self, task: Task) -> float:
        """The least lift off the pick: past the guides and the queue in any case [m]."""
        motion, infeed = self._cell.motion, self._cell.infeed
        height = self._deep(task.group)
        past_queue = height + _PAST if infeed.queue else 0.0
        return max(motion.lift_off, infeed.guide_height + _PAST, past_queue)

    def higher(self, task: Task, option: Option, pick: Array, place: Array, start: Array) -> float:
        """How much further to lift than `lift` so as to cross at the height of arrival [m].

        As near to it as the arm gets straight above the pick.

        Args:
            task: The task.
            option: The way to do it.
            pick: Pose base_from_tcp at the pick, shape (4, 4).
            place: The same at the first placement.
            start: Joints at the pick, shape (dof,).
        """
        rise = float(((place[:3, 3] - pick[:3, 3]) * self.up).sum())
        wanted = rise + self.arrival(task, option, 0)
        key = (task.group.name, option.pick_turn, option.branch)
        if key not in self._highest:
            self._highest[key] = self._highest_lift(pick, start, option.branch)
        return max(0.0, round(min(wanted, self._highest[key]) - self.lift(task), 6))

    def _highest_lift(self, pick: Array, start: Array, branch: int) -> float:
        """The highest straight lift that stays within reach and range [m]."""
        heights = np.arange(0.0, 4.0, _STEP)
        poses = np.repeat(pick[None], len(heights), axis=0)
        poses[:, :3, 3] += heights[:, None] * self.up
        own = branch % len(self._reach.arm.branch_names)
        answers = self._reach.answers(poses, self._reach.stand_at(start))
        q = self._reach.within(answers, start)[:, own]
        lost = np.flatnonzero(np.isnan(q).any(axis=1))
        return float(heights[lost[0]] - 2 * _STEP) if len(lost) else float(heights[-1])

    def arrival(self, task: Task, option: Option, release: int) -> float:
        """Height over the placement at which the group arrives [m]."""
        motion = self._cell.motion
        least = motion.approach_height + option.route.raised
        if not option.route.over:
            return least
        return round(max(least, self.clear(task, release) + option.route.raised), 6)

    def clear(self, task: Task, release: int) -> float:
        """Height over the placement at which the group clears all that stands on the pallet [m]."""
        over = self._tops[task.first + release] + self._cell.motion.transfer_clearance
        low = task.placements[release].z - self._deep(task.group)
        return max(self._cell.motion.approach_height, over - low)

    def departure(self, task: Task, option: Option, release: int) -> float:
        """Height of the straight way up after a release: more when cartons still hang [m]."""
        height = self._cell.motion.approach_height
        if release + 1 < len(task.placements):
            return height + self._deep(task.group) + _PAST
        return height + option.back.raised

    def _deep(self, group: Group) -> float:
        """How far a group reaches below its top [m]."""
        if group.name not in self._depths:
            self._depths[group.name] = -float(group.extent()[0, 2])
        return self._depths[group.name]
