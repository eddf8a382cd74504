"""The main job: walk the order of every pallet, find a motion for each cycle, judge it."""

from collections import Counter
from collections.abc import Callable, Collection, Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass, field, replace
from multiprocessing import get_context

import numpy as np

from .cell.model import Cell, Pallet
from .checks.case import Case, watched_by_release
from .checks.cast import Cast, cast_of
from .checks.clearance import in_words
from .checks.effort import Effort, efforts_of
from .checks.finding import Finding, Judged, Result
from .checks.rate import with_rate
from .checks.registry import CHECKS
from .checks.stacking import stacking
from .checks.stretches import Planned
from .checks.watch import Watched, watch_cycles
from .motion.cycle import Cycle, Segment
from .motion.options import Choices, Option, Task, part_of, tasks_of
from .motion.plan import Planner, Ready, Unplanned
from .motion.postures import Posture, Reach, postures_of, ranked, ranked_branches
from .motion.shortfall import shortfall
from .motion.stands import Stands, stands_of
from .motion.stations import Stations

_BLOCK = 48  # tasks that are planned and watched in one batch
_PROBE = 8  # one task in so many is judged before the others where a few may settle it
_TRIALS = 40  # motions that are watched for one task before it fails
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
    judged: list[Judged] = []
    with _executor(jobs, asked) as executor:
        pallets = [_Pallet(cell, pallet, placements) for pallet in cell.pallets]
        blocks = [block for pallet in pallets for block in pallet.blocks()]
        total = sum(len(task.placements) for block in blocks for task in block.tasks)
        done: Iterator[list[Judged]] = (
            map(judge, blocks) if executor is None else executor.map(judge, blocks)
        )
        for results in done:
            judged.extend(results)
            if progress is not None:
                progress(len(judged), total)
    if placements is not None:
        judged = [entry for entry in judged if entry.placement.id in placements]
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
        failed += sum(entry.verdict in ("fail", "not checked") for entry in judged)
        if stop_after is not None and failed > stop_after:
            return


def _in_parts(blocks: Sequence["Block"], *, whole: bool) -> Iterator["Block"]:
    """Blocks; unless whole, a few tasks of each before the rest of any, the last block first."""
    if whole:
        yield from blocks
        return
    for block in reversed(blocks):
        yield replace(block, tasks=block.tasks[::_PROBE])
    for block in reversed(blocks):
        rest = tuple(task for k, task in enumerate(block.tasks) if k % _PROBE)
        if rest:
            yield replace(block, tasks=rest)


def _executor(jobs: int, asked: int) -> Executor | nullcontext[None]:
    """Processes that start while the pallets are prepared; none where that is not worth it."""
    if jobs <= 1 or asked < _WORTH_PROCESSES:
        return nullcontext()
    executor = ProcessPoolExecutor(jobs, mp_context=get_context("spawn"))
    for _ in range(jobs):
        executor.submit(_started)
    return executor


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
    """

    cell: Cell
    pallet: Pallet
    tasks: tuple[Task, ...]
    cast: Cast
    branches: tuple[int, ...]
    ready: tuple[Ready, ...]
    stands: Stands
    stacked: dict[str, tuple[Finding, ...]]


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
        self.stacked = {name: tuple(findings) for name, findings in found.items()}

    def blocks(self) -> Iterator[Block]:
        """The tasks in blocks."""
        cast = cast_of(self.cell, self.pallet, self.tasks)
        for start in range(0, len(self.tasks), _BLOCK):
            tasks = tuple(self.tasks[start : start + _BLOCK])
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

    With closely=False clearances are measured only where they fail.
    """
    planner = Planner(block.cell, block.pallet, block.tasks, block.stands)
    for ready in block.ready:
        planner.set_ready(ready)
    cast = block.cast
    trials = [_Trial(task, planner.choices(task, block.branches)) for task in block.tasks]
    _search(block.cell, cast, planner, trials, closely=closely)
    if closely:
        _look_closely(block.cell, cast, trials)
    moved = [(t.task.group, t.best) for t in trials if t.best is not None]
    efforts = iter(efforts_of(block.cell, moved))
    judged: list[Judged] = []
    for trial in trials:
        effort = None if trial.best is None else next(efforts)
        judged.extend(_judged(block, planner, trial, effort))
    return judged


@dataclass(slots=True)
class _Trial:
    """The search for one task's motion.

    Attributes:
        choices: What is left to try, in order.
        best: The motion to be judged.
        seen: What was watched along it; None where only its verdict is known.
        trouble: How many bodies meet on it what they must not, and how deep the worst is [m].
        met: What is met on it.
        lack: Why the most promising option had no motion at all.
    """

    task: Task
    choices: Choices
    best: Cycle | None = None
    seen: list[Watched] | None = None
    trouble: tuple[int, float] = (1 << 30, 0.0)
    met: list[Watched] = field(default_factory=list[Watched])
    lack: Unplanned | None = None
    current: Option | None = field(default=None)


def _search(
    cell: Cell, cast: Cast, planner: Planner, trials: list[_Trial], *, closely: bool
) -> None:
    """Try options, all tasks abreast, until each has a motion that meets nothing.

    What one motion met rules out the other options that share the part that met it. The first
    motions mostly do, and are looked at closely at once; of the others the verdict comes first.
    """
    waiting = trials
    for number in range(_TRIALS):
        planned = _next_motions(planner, waiting)
        if not planned:
            return
        values = closely and number == 0
        watched = _by_cycle(cell, cast, [plan for _, plan in planned], values=values)
        waiting = []
        for (trial, plan), seen in zip(planned, watched, strict=True):
            met = [entry for entry in seen if entry.margin[0] < 0.0]
            failing = {entry.segment for entry in met}
            trouble = (len(met), -min((entry.margin[1] for entry in met), default=0.0))
            if trouble < trial.trouble:
                trial.best, trial.trouble, trial.met = plan.cycle, trouble, met
                trial.seen = seen if values else None
            if failing:
                for number in failing:
                    _rule_out(trial, plan.cycle.segments[number])
                waiting.append(trial)


def _look_closely(cell: Cell, cast: Cast, trials: Sequence[_Trial]) -> None:
    """Watch the motions that were chosen, where only their verdict is known."""
    chosen = [(t, t.best) for t in trials if t.best is not None and t.seen is None]
    planned = [Planned(trial.task, best) for trial, best in chosen]
    for (trial, _), seen in zip(chosen, _by_cycle(cell, cast, planned, values=True), strict=True):
        trial.seen = seen


def _next_motions(planner: Planner, trials: list[_Trial]) -> list[tuple[_Trial, Planned]]:
    """The next option of each trial that has a motion."""
    found: list[tuple[_Trial, Planned]] = []
    asking = trials
    while asking:
        for trial in asking:
            trial.current = trial.choices.next()
        asking = [trial for trial in asking if trial.current is not None]
        wanted = [(t.task, t.current) for t in asking if t.current is not None]
        again: list[_Trial] = []
        for trial, motion in zip(asking, planner.cycles(wanted), strict=True):
            if isinstance(motion, Unplanned):
                trial.lack = trial.lack or motion
                if trial.current is not None:
                    trial.choices.rule_out(trial.current, motion.part)
                again.append(trial)
            else:
                found.append((trial, Planned(trial.task, motion)))
        asking = again
    return found


def _rule_out(trial: _Trial, segment: Segment) -> None:
    """Drop the options that share with the current one the part that failed."""
    if trial.current is not None:
        trial.choices.rule_out(trial.current, part_of(segment))


def _by_cycle(
    cell: Cell, cast: Cast, planned: Sequence[Planned], *, values: bool
) -> list[list[Watched]]:
    """What was watched, sorted to the cycles."""
    sorted_: list[list[Watched]] = [[] for _ in planned]
    if planned:
        for entry in watch_cycles(cell, cast, planned, values=values):
            sorted_[entry.planned].append(entry)
    return sorted_


def _judged(block: Block, planner: Planner, trial: _Trial, effort: Effort | None) -> list[Judged]:
    """The placements of one task with the findings of all checks."""
    task, cycle = trial.task, trial.best
    count = len(task.placements)
    seen = trial.met if trial.seen is None else trial.seen
    sorted_ = watched_by_release(seen, cycle, count) if cycle else [()] * count
    hindered = cycle is None or (trial.trouble[0] > 0 and trial.lack is not None)
    unreached = _unreached(planner, trial) if hindered else None
    judged: list[Judged] = []
    for release, placement in enumerate(task.placements):
        case = Case(
            block.cell,
            block.pallet,
            block.cast,
            task,
            release,
            cycle,
            sorted_[release],
            block.stacked[placement.id],
            unreached,
            effort,
        )
        findings = [finding for run in CHECKS.values() for finding in run(case)]
        judged.append(Judged(placement, tuple(findings), cycle))
    return judged


def _unreached(planner: Planner, trial: _Trial) -> Finding:
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


def _no_way(trial: _Trial) -> Finding:
    """The finding where every waypoint is in reach but no motion joins them."""
    lack = trial.lack
    if lack is None:
        message = "no single posture of the arm reaches both pick and placement"
        return Finding("reach", "fail", None, None, "deg", message)
    room = None if lack.room is None else float(np.degrees(lack.room))
    limit = None if room is None else 0.0
    return Finding("reach", "fail", room, limit, "deg", lack.message, segment=lack.segment)
