"""The main job: walk the order of every pallet, find a motion for each cycle, judge it."""

import gc
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass, replace
from math import ceil
from multiprocessing import get_context

import numpy as np

from .cell.model import Cell, Pallet
from .checks.beyond_doubt import borne
from .checks.case import Case, segments_of, watched_by_release
from .checks.cast import Cast, cast_of
from .checks.clearance import in_words
from .checks.effort import efforts_of
from .checks.finding import Finding, Judged, Result, failing
from .checks.joint_room import reached_of
from .checks.offset import offsets
from .checks.rate import with_rate
from .checks.registry import CHECKS
from .checks.stacking import stacking
from .checks.trials import Trial, look_closely, search
from .motion.cycle import Cycle
from .motion.options import Task, tasks_of
from .motion.plan import Planner, Ready
from .motion.postures import Posture, Reach, postures_of, ranked, ranked_branches
from .motion.shortfall import shortfall
from .motion.stands import Stands, stands_of
from .motion.stations import Stations

_BLOCK = 96  # tasks that are planned and watched in one batch, at most
_PROBE = 8  # one task in so many is judged before the others where a few may settle it
_WORTH_PROCESSES = 48  # tasks below which starting processes costs more than it saves

Progress = Callable[[int, int], None]


def check(
    cell: Cell,
    *,
    placements: Collection[str] | None = None,
    jobs: int = 1,
    progress: Progress | None = None,
) -> Result:
    """Check every placement of a cell.

    Args:
        cell: The cell.
        placements: Only these placements by id (and those of the same cycle); all by default.
        jobs: Processes at work. The result does not depend on it.
        progress: Called with (placements done, placements in all).

    Returns:
        The findings of every placement; nothing is raised for a cell that does not work.
    """
    asked = sum(len(p.placements) for p in cell.pallets) if placements is None else len(placements)
    with _executor(jobs, asked) as executor:
        pallets = [_Pallet(cell, pallet, placements) for pallet in cell.pallets]
        share = 1 if executor is None else ceil(jobs / len(pallets))
        blocks = [block for pallet in pallets for block in pallet.blocks(share)]
        order = [p.id for pallet in pallets for task in pallet.tasks for p in task.placements]
        found: dict[str, Judged] = {}
        for results in _shared_out(executor, jobs, blocks):
            found |= {entry.placement.id: entry for entry in results}
            if progress is not None:
                progress(len(found), len(order))
    judged = [found[name] for name in order if placements is None or name in placements]
    plain = Result(cell.name, cell.sha256, tuple(judged), cell.notes)
    return plain if cell.line is None else with_rate(cell, plain)


def verdicts(cell: Cell, *, stop_after: int | None = None) -> Iterator[list[Judged]]:
    """Judge placements for their verdict alone, a few at a time, and stop when told.

    The verdict `fail` falls where `check` has it, on the same motions; what passes has no
    measured clearances, and may be marginal. Placements that often fail come first: in the
    middle of an order one learns little.

    Args:
        cell: The cell.
        stop_after: Stop as soon as more placements than this fail; by default never.
    """
    pallets = [_Pallet(cell, pallet, None) for pallet in cell.pallets]
    blocks = [block for pallet in pallets for block in pallet.blocks()]
    failed = 0
    for part in _in_parts(blocks, whole=stop_after is None):
        judged = judge(part, closely=cell.tolerances != type(cell.tolerances)())
        yield judged
        failed += sum(failing(entry) for entry in judged)
        if stop_after is not None and failed > stop_after:
            return


def _in_parts(blocks: Sequence["Block"], *, whole: bool) -> Iterator["Block"]:
    """Blocks; unless whole, a few tasks of each before the rest of any."""
    if whole:
        yield from blocks
        return
    for block in blocks:
        yield block.only([k for k in range(len(block.tasks)) if not k % _PROBE])
    for block in blocks:
        rest = [k for k in range(len(block.tasks)) if k % _PROBE]
        if rest:
            yield block.only(rest)


def _executor(jobs: int, asked: int) -> Executor | nullcontext[None]:
    """Further processes, that start while the pallets are prepared; none where not worth it."""
    if jobs <= 1 or asked < _WORTH_PROCESSES:
        return nullcontext()
    executor = ProcessPoolExecutor(
        jobs - 1,
        mp_context=get_context("spawn"),
        initializer=gc.set_threshold,
        initargs=gc.get_threshold(),
    )
    for _ in range(jobs - 1):
        executor.submit(_started)
    return executor


def _shared_out(
    executor: Executor | None, jobs: int, blocks: Sequence["Block"]
) -> Iterator[list[Judged]]:
    """Blocks judged: of every `jobs` one here, the others by further processes."""
    if executor is None:
        yield from map(judge, blocks)
        return
    here = blocks[jobs - 1 :: jobs]
    elsewhere = [executor.submit(judge, b) for k, b in enumerate(blocks) if (k + 1) % jobs]
    try:
        yield from map(judge, here)
        for future in elsewhere:
            yield future.result()
    finally:
        for future in elsewhere:
            future.cancel()  # what was not begun when something went wrong


def _started() -> None:
    """Nothing: a process that is asked for it loads what it will need."""


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


class _Pallet:
    """What is settled once for a pallet: branches, the ready posture, the stack itself."""

    def __init__(self, cell: Cell, pallet: Pallet, placements: Collection[str] | None) -> None:
        self.cell, self.pallet = cell, pallet
        every = tasks_of(pallet)
        self.tasks = [
            task
            for task in every
            if placements is None or any(p.id in placements for p in task.placements)
        ]
        every = every if self.tasks else ()
        self.stands = stands_of(cell, pallet, every)
        postures = postures_of(Reach(cell), Stations(cell, pallet), every, self.stands.every)
        own = len(cell.mounted.arm.branch_names)
        planned = [
            [choice.at_stand(self.stands.planned.get(task.number, 0), own) for choice in choices]
            for task, choices in zip(every, postures, strict=True)
        ]
        self.branches = ranked_branches(own, planned)
        self.ready = _ready(cell, every, planned, self.branches)
        found = stacking(pallet, cell.support, cell.tolerances) if self.tasks else {}
        self._postures = {t.number: own for t, own in zip(every, postures, strict=True)}
        self.stacked = {name: tuple(findings) for name, findings in found.items()}

    def blocks(self, count: int = 1) -> Iterator[Block]:
        """The tasks dealt out to so many blocks, each of all layers; to more if that is too few."""
        cast = cast_of(self.cell, self.pallet, self.tasks)
        count = max(count, ceil(len(self.tasks) / _BLOCK))
        for first in range(min(count, len(self.tasks))):
            tasks = tuple(self.tasks[first::count])
            names = {p.id for task in tasks for p in task.placements}
            stacked = {name: self.stacked.get(name, ()) for name in names}
            yield Block(
                self.cell,
                self.pallet,
                tasks,
                cast,
                self.branches,
                self.ready,
                self.stands,
                tuple(self._postures[task.number] for task in tasks),
                stacked,
            )


def _ready(
    cell: Cell,
    tasks: Sequence[Task],
    postures: Sequence[Sequence[Posture]],
    branches: tuple[int, ...],
) -> tuple[Ready, ...]:
    """The posture above the pick that most cycles would choose: every cycle starts there.

    With a lift or track, one for each place where it stands at the pick.
    """
    votes: dict[float | None, Counter[tuple[str, int, float]]] = {}
    found: dict[tuple[float | None, tuple[str, int, float]], Ready] = {}
    for task, choices in zip(tasks, postures, strict=True):
        for branch, turns in ranked(choices, branches, cell.mounted.joint_margin)[:1]:
            pick = next(choice.pick for choice in choices if choice.turns == turns)[branch]
            stand = None if cell.mounted.arm.axis is None else float(pick[0])
            key = (task.group.name, branch, turns.pick)
            votes.setdefault(stand, Counter())[key] += 1
            found.setdefault((stand, key), Ready(task, turns.pick, pick))
    return tuple(
        found[stand, min(count, key=lambda key, count=count: (-count[key], key))]
        for stand, count in votes.items()
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
