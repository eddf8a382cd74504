"""A second opinion: another engine is asked whether bodies touch along the motions found.

Every row of every cycle goes through `python-fcl`, and between rows of which joints turn far
also configurations at most 5 degrees of any joint apart (of sliding joints, 87 mm). It is
asked yes or no only, never for a distance.

Two answers contradict each other, and are told, never settled here:

- it finds two bodies touching that are claimed to keep clear. Where a clearance of nothing, or
  an overlap, is claimed (contact that the job intends), one of the two is made smaller by that
  overlap and by `TOLERANCE`, and must then be free: exact touch counts as touching there;
- it finds two convex bodies free at the very instant at which they are said to overlap by more
  than 0.1 mm.

Errs: it looks at instants, so it can find what the checks missed, not prove that they missed
nothing. Its meshes are hollow: a body wholly inside one is free there, which the checks know
by a test of their own, and which is no contradiction. Ways round rounded corners are not asked.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ..cell.model import Cell, Pallet
from ..geometry.frames import Array
from ..motion.cycle import Cycle, Segment
from ..motion.options import Task, tasks_of
from .case import belongs_to
from .cast import cast_of
from .claims import Claims, Overlap
from .fcl_engine import Engine
from .finding import Finding, Judged, Result
from .occasion import Occasion

TOLERANCE = 5e-5  # [m]: what two engines may differ by
_STEP = 5e-5  # [m]: bodies are made smaller in such steps
_SAME = 1e-9  # [s]
_CHECKS = ("approach", "collision")
_MM = 1e3

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Disagreement:
    """Two engines that contradict each other about a pair of bodies.

    Attributes:
        row: Row of the segment, and share of the way to the next, from 0.
        at: Instant in the cycle [s].
        pair: The bodies by their scene names, the moving one first.
        words: What the one says and what the other.
        rows: At how many configurations of the segment they do.
    """

    placement: str
    segment: str
    row: float
    at: float
    pair: tuple[str, str]
    words: str
    rows: int = 1

    def __str__(self) -> str:
        more = "" if self.rows == 1 else f" (and at {self.rows - 1} more configurations)"
        return (
            f"{self.placement}, {self.segment}, row {self.row:.4g}, {self.at:.3f} s, "
            f"{self.pair[0]} and {self.pair[1]}: {self.words}{more}"
        )


@dataclass(frozen=True, slots=True)
class Opinion:
    """What another engine says about a result.

    Attributes:
        asked: How many configurations it was asked about.
        pairs: How many pairs of bodies, over all configurations.
        undecided: Pairs, by segment, that touch where they may, of meshes or bodies so thin
            that it cannot say whether they touch too deep.
        without: Ids of the placements that have no motion to be asked about.
    """

    asked: int
    disagreements: tuple[Disagreement, ...]
    pairs: int = 0
    undecided: int = 0
    without: tuple[str, ...] = ()


def second_opinion(cell: Cell, result: Result, progress: Progress | None = None) -> Opinion:
    """Ask another engine about every motion of a result.

    Args:
        cell: The cell that was checked.
        result: What was found; of cycles shared by several placements only the segments that
            belong to placements in it are asked about.
        progress: Called with (cycles done, cycles in all).

    Raises:
        ValueError: The result is about placements that the cell does not have.
    """
    jobs = list(_jobs(cell, result))
    asked = pairs = undecided = done = 0
    found: list[Disagreement] = []
    total = sum(len(cycles) for _, cycles in jobs)
    for pallet, cycles in jobs:
        engine = Engine(cast_of(cell, pallet, [task for task, _ in cycles]))
        for task, judged in cycles:
            for segment, entry in _segments(task, judged):
                part = _Asked(cell, engine, task, entry, segment)
                found += part.disagreements()
                asked, pairs = asked + part.asked, pairs + part.pairs
                undecided += part.undecided
            done += 1
            if progress is not None:
                progress(done, total)
    without = tuple(entry.placement.id for entry in result.placements if entry.cycle is None)
    return Opinion(asked, tuple(found), pairs, undecided, without)


Cycles = list[tuple[Task, list[Judged]]]


def _jobs(cell: Cell, result: Result) -> Iterator[tuple[Pallet, Cycles]]:
    """Each pallet with the tasks that have a motion, and what was found for them."""
    left = {id(entry) for entry in result.placements if entry.cycle is not None}
    for pallet in cell.pallets:
        cycles: Cycles = []
        for task in tasks_of(pallet):
            names = {placement.id for placement in task.placements}
            mine = [entry for entry in result.placements if entry.placement.id in names]
            moved = [entry for entry in mine if id(entry) in left]
            left -= {id(entry) for entry in moved}
            if moved:
                cycles.append((task, moved))
        if cycles:
            yield pallet, cycles
    if left:
        lost = [entry.placement.id for entry in result.placements if id(entry) in left]
        raise ValueError(f"the cell has no placement {', '.join(lost)}")


def _segments(task: Task, judged: Sequence[Judged]) -> Iterator[tuple[Segment, Judged]]:
    """The segments of a cycle that belong to placements of the result."""
    last = len(task.placements) - 1
    owner = {entry.placement.id: entry for entry in judged}
    cycle = _cycle(judged[0])
    for number, segment in enumerate(cycle.segments):
        entry = owner.get(task.placements[belongs_to(segment, last)].id)
        if entry is not None:
            yield _cycle(entry).segments[number], entry


def _cycle(entry: Judged) -> Cycle:
    if entry.cycle is None:
        raise ValueError(f"{entry.placement.id} has no motion")
    return entry.cycle


class _Asked:
    """One segment, asked about.

    Attributes:
        asked, pairs, undecided: As in `Opinion`, of this segment.
    """

    def __init__(
        self, cell: Cell, engine: Engine, task: Task, entry: Judged, segment: Segment
    ) -> None:
        self._engine, self._entry, self._segment = engine, entry, segment
        self._occasion = Occasion.of(cell, engine.cast, task, _cycle(entry), segment)
        self._claims = Claims(self._occasion, self._findings(), alone=len(self._alike(task)) == 1)
        self._rows = self._occasion.rows()
        self.asked = len(self._rows) + len(self._claims.overlaps)
        self.pairs = len(self._rows) * self._occasion.pairs() + len(self._claims.overlaps)
        self.undecided = 0

    def _alike(self, task: Task) -> list[int]:
        """Segments of the same name that belong to the same placement, this one included."""
        last = len(task.placements) - 1
        return [
            k
            for k, other in enumerate(_cycle(self._entry).segments)
            if other.name == self._segment.name
            and belongs_to(other, last) == belongs_to(self._segment, last)
        ]

    def _findings(self) -> list[Finding]:
        """The findings that are, or by their instant may be, about this very segment."""
        begin, end = (float(self._segment.times[k]) for k in (0, -1))
        return [
            finding
            for finding in self._entry.findings
            if finding.check in _CHECKS
            and finding.segment == self._segment.name
            and (finding.at is None or begin - _SAME <= finding.at <= end + _SAME)
        ]

    def disagreements(self) -> list[Disagreement]:
        """Where the engine contradicts the findings."""
        return [*self._unknown(), *self._touching(), *self._free()]

    def _unknown(self) -> Iterator[Disagreement]:
        for finding in self._claims.unknown:
            at = 0.0 if finding.at is None else finding.at
            names = finding.between or ("", "")
            yield self._told(
                self._occasion.row_at(at), names, "a finding is about them, but they are not there"
            )

    def _touching(self) -> Iterator[Disagreement]:
        """Bodies that touch although they are claimed to keep clear: once for each pair."""
        poses = self._engine.cast.travel.frames(self._occasion.joints_at(self._rows))
        first: dict[tuple[int, int], tuple[int, float]] = {}
        count: dict[tuple[int, int], int] = {}
        unsure: set[tuple[int, int]] = set()
        smaller: dict[tuple[int, int], float | None] = {}
        self._engine.set_up(self._occasion)
        for k, frames in enumerate(poses):
            for met in self._engine.touching(frames):
                if not self._occasion.is_watched(*met):
                    continue
                pair = self._occasion.in_order(*met)
                if pair not in smaller:
                    smaller[pair] = _smaller_by(self._claims.lower(*pair))
                less = smaller[pair]
                if less is None or pair in unsure:
                    continue
                touch = less == 0.0 or self._engine.touch(*pair, less, frames)
                if touch is None:
                    unsure.add(pair)
                elif touch:
                    first.setdefault(pair, (k, less))
                    count[pair] = count.get(pair, 0) + 1
        self.undecided = len(unsure)
        for pair, (k, less) in first.items():
            names = (self._occasion.names[pair[0]], self._occasion.names[pair[1]])
            words = self._touch_words(pair, less)
            yield self._told(float(self._rows[k]), names, words, count[pair])

    def _touch_words(self, pair: tuple[int, int], less: float) -> str:
        claimed = self._claims.lower(*pair) * _MM
        even = f" even when one is made smaller by {less * _MM:.2f} mm" if less else ""
        return f"they touch{even}, but are said to keep {claimed:.3f} mm at least"

    def _free(self) -> Iterator[Disagreement]:
        """Bodies that do not touch at the instant at which they are said to overlap."""
        for overlap in self._claims.overlaps:
            row = self._occasion.row_at(overlap.at)
            joints = self._occasion.joints_at(np.array([row]))
            frames = self._engine.cast.travel.frames(joints)[0]
            if not self._touches(overlap, frames):
                depth = overlap.depth * _MM
                yield self._told(
                    row, overlap.names, f"they are free, but are said to overlap by {depth:.2f} mm"
                )

    def _touches(self, overlap: Overlap, frames: Array) -> bool:
        movers, others = (self._occasion.called(name) for name in overlap.names)
        return any(
            self._engine.touch(mover, other, 0.0, frames) for mover in movers for other in others
        )

    def _told(self, row: float, pair: tuple[str, str], words: str, rows: int = 1) -> Disagreement:
        return Disagreement(
            self._entry.placement.id,
            self._segment.name,
            row,
            self._occasion.instant_at(row),
            pair,
            words,
            rows,
        )


def _smaller_by(claimed: float) -> float | None:
    """By how much a body is made smaller before it must be free [m]; None: it need not be."""
    if not np.isfinite(claimed):
        return None
    steps = np.ceil((TOLERANCE - claimed) / _STEP - 1e-9)
    return float(max(steps, 0.0) * _STEP)
