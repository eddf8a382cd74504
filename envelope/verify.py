"""The main job: walk the order of every pallet, in blocks of tasks that are judged together."""

import gc
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import nullcontext
from math import ceil
from multiprocessing import get_context

from .cell.model import Cell, Pallet
from .checks.block import Block, judge
from .checks.cast import cast_of
from .checks.finding import Finding, Judged, Result, failing
from .checks.rate import with_rate
from .checks.stacking import stacking
from .motion.options import Task, tasks_of
from .motion.plan import Ready
from .motion.postures import Posture, Reach, postures_of, ranked, ranked_branches
from .motion.stands import stands_of
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


def _in_parts(blocks: Sequence[Block], *, whole: bool) -> Iterator[Block]:
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
    executor: Executor | None, jobs: int, blocks: Sequence[Block]
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
        self.stacked: Mapping[str, tuple[Finding, ...]] = {}
        if self.tasks:
            self.stacked = stacking(pallet, cell.support, cell.tolerances)
        self._postures = {t.number: own for t, own in zip(every, postures, strict=True)}

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
