"""Tasks of one pallet judged together: a motion is found for each, then every check is run."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..cell.model import Cell, Pallet
from ..motion.cycle import Cycle
from ..motion.options import Task
from ..motion.plan import Planner, Ready
from ..motion.postures import Posture
from ..motion.shortfall import shortfall
from ..motion.stands import Stands
from .beyond_doubt import borne
from .case import Case, segments_of, watched_by_release
from .cast import Cast
from .clearance import in_words
from .effort import efforts_of
from .finding import Finding, Judged, failing
from .joint_room import reached_of
from .offset import offsets
from .registry import CHECKS
from .trials import Trial, look_closely, search


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Tasks of one pallet that are judged together, with what was settled for the pallet.

    Attributes:
        cast: Everything that moves or stands while the pallet is built.
        branches: The arm's branches, best first.
        ready: Where cycles start and end: one posture, with a lift or track one for each of
            its places; none when no task has a posture.
        stands: Where a lift or track stands.
        postures: Those of each task.
        stacked: What the stacking check found for each placement, by its id.
    """

    cell: Cell
    pallet: Pallet
    tasks: tuple[Task, ...]
    cast: Cast
    branches: tuple[int, ...]
    ready: tuple[Ready, ...]
    stands: Stands
    postures: tuple[Sequence[Posture], ...]
    stacked: dict[str, tuple[Finding, ...]]

    def only(self, chosen: Sequence[int]) -> "Block":
        """Some of its tasks, by index."""
        return replace(
            self,
            tasks=tuple(self.tasks[k] for k in chosen),
            postures=tuple(self.postures[k] for k in chosen),
        )


def judge(block: Block, *, closely: bool = True) -> list[Judged]:
    """Find motions for the tasks of a block and judge their placements.

    With closely=False clearances are measured only where they fail, and a placement that cannot
    fail has no other finding than that on its joint room.
    """
    planner = Planner(block.cell, block.pallet, block.tasks, block.stands, block.postures)
    for ready in block.ready:
        planner.set_ready(ready)
    cast = block.cast
    trials = [Trial(task, planner.choices(task, block.branches)) for task in block.tasks]
    search(block.cell, cast, planner, trials, closely=closely)
    if closely:
        look_closely(block.cell, cast, trials)
    worked = _Worked(block, trials, closely=closely)
    return [entry for trial in trials for entry in worked.judged(planner, trial)]


class _Worked:
    """What is worked out for all motions of a block at once, and judged by placement.

    With closely=False no findings are made where nothing can fail, but on joint room.
    """

    def __init__(self, block: Block, trials: Sequence[Trial], *, closely: bool) -> None:
        self._block = block
        moved = [(trial.task, trial.best) for trial in trials if trial.best is not None]
        keys = [(task.number, k) for task, _ in moved for k in range(len(task.placements))]
        motions = [
            segments_of(task, k, cycle)
            for task, cycle in moved
            for k in range(len(task.placements))
        ]
        found = reached_of(block.cell, motions, closely=closely)
        self._reached = dict(zip(keys, found, strict=True))
        self._offsets: dict[tuple[str, float], tuple[Finding, ...]] = {}
        self._sure = set[int]() if closely else self._beyond_doubt(trials)
        left = [(task, cycle) for task, cycle in moved if task.number not in self._sure]
        efforts = efforts_of(block.cell, [(task.group, cycle) for task, cycle in left])
        self._efforts = {
            task.number: effort for (task, _), effort in zip(left, efforts, strict=True)
        }

    def _beyond_doubt(self, trials: Sequence[Trial]) -> set[int]:
        """Numbers of the tasks of which no placement can fail any check."""
        moved = [(t.task, t.best) for t in trials if t.best is not None and not t.trouble[0]]
        sure = borne(self._block.cell, [(task.group, cycle) for task, cycle in moved])
        return {
            task.number
            for (task, cycle), good in zip(moved, sure.tolist(), strict=True)
            if good and not any(failing(finding) for finding in self._others(task, cycle))
        }

    def _others(self, task: Task, cycle: Cycle) -> Iterator[Finding]:
        """Findings on the stack, joint room and the offset, on which a placement may fail."""
        yield from self._offset(task, cycle)
        for release, placement in enumerate(task.placements):
            yield from self._block.stacked[placement.id]
            yield self._reached[task.number, release].room

    def _offset(self, task: Task, cycle: Cycle | None) -> tuple[Finding, ...]:
        turn = task.group.turns[0] if cycle is None else cycle.pick_turn
        key = task.group.name, turn
        if key not in self._offsets:
            self._offsets[key] = tuple(offsets(self._block.cell, task.group, turn))
        return self._offsets[key]

    def judged(self, planner: Planner, trial: Trial) -> list[Judged]:
        """The placements of one task with their findings."""
        task, cycle = trial.task, trial.best
        if task.number in self._sure:
            return [
                Judged(placement, (self._reached[task.number, release].room,), cycle)
                for release, placement in enumerate(task.placements)
            ]
        count = len(task.placements)
        seen = trial.met if trial.seen is None else trial.seen
        sorted_ = watched_by_release(seen, cycle, count) if cycle else [()] * count
        hindered = cycle is None or (trial.trouble[0] > 0 and trial.lack is not None)
        unreached = _unreached(planner, trial) if hindered else None
        judged: list[Judged] = []
        for release, placement in enumerate(task.placements):
            case = Case(
                self._block.cell,
                self._block.pallet,
                self._block.cast,
                task,
                release,
                cycle,
                sorted_[release],
                self._block.stacked[placement.id],
                unreached,
                self._efforts.get(task.number),
                self._reached.get((task.number, release)),
                self._offset(task, cycle),
            )
            findings = [finding for run in CHECKS.values() for finding in run(case)]
            judged.append(Judged(placement, tuple(findings), cycle))
        return judged


def _unreached(planner: Planner, trial: Trial) -> Finding:
    """The finding for a task without a motion: what is out of reach, by how much, which way."""
    lack = shortfall(planner, trial.task, over=trial.best is not None)
    world = planner.cell.mounted.world_from_base[:3, :3] @ lack.direction
    gain = (float(world[0]), float(world[1]), float(world[2]))
    if lack.distance is None:
        return _no_way(trial)
    amount = lack.distance * 1e3
    return Finding(
        "reach",
        "fail",
        -amount,
        0.0,
        "mm",
        f"the {lack.what} is out of reach; within reach when moved {amount:.0f} mm "
        f"{in_words(np.array(gain))}",
        gain=gain,
    )


def _no_way(trial: Trial) -> Finding:
    """The finding where every waypoint is in reach but no motion joins them."""
    lack = trial.lack
    if lack is None:
        message = "no single posture of the arm reaches both pick and placement"
        return Finding("reach", "fail", None, None, "deg", message)
    limit = None if lack.room is None else 0.0
    return Finding("reach", "fail", lack.room, limit, lack.unit, lack.message, segment=lack.segment)
