"""Which single change makes everything pass: tried, the smallest found, checked in full."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any

from ..cell.errors import CellError
from ..cell.model import Cell
from ..cell.variants import CellFile
from ..checks.finding import Judged, Result, failing
from ..verify import check, verdicts
from .judging import trouble_of
from .remedy_changes import Kind, Ladder, Reach, Step, ladders_of
from .runner import Progress, Runner

_AT_ONCE = 2  # steps of a ladder that are tried before it is seen whether it goes on
_TELLING = 8  # placements that are looked at first: a change that does not cure them cures nothing
_COST: tuple[Kind, ...] = ("route", "move", "group", "layers")  # what costs least comes first


@dataclass(frozen=True, slots=True)
class Tried:
    """What came of one change.

    Attributes:
        step: What was set, and how far that is from before.
        cures: Whether the whole cell was checked with it and nothing failed.
        whole: Whether all placements were looked at, not only those up to one that fails.
        judged, failed, marginal: How many placements were looked at, fail or could not be
            checked, are marginal.
        cartons: How many the cell puts down with it.
        trouble: The first placement that fails and why, or why it is no cell.
    """

    step: Step
    cures: bool = False
    whole: bool = False
    judged: int = 0
    failed: int = 0
    marginal: int = 0
    cartons: int = 0
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class Rung:
    """A key changed one way, and what came of it; the last of them cures, or none does."""

    ladder: Ladder
    tried: tuple[Tried, ...]

    @property
    def cure(self) -> Tried | None:
        """The smallest change on it that cures."""
        cures = [each for each in self.tried if each.cures]
        return min(cures, key=lambda each: each.step.size, default=None)


@dataclass(frozen=True, slots=True)
class RemedySurvey:
    """What was tried on a cell.

    Attributes:
        placements, failed, cartons: Of the cell as it stands.
        trouble: Its first placement that fails, or what fails of the cell as a whole; empty
            where there is nothing to cure.
        reach: How far was looked.
        rungs: All that was tried.
    """

    cell_name: str
    cell_sha256: str
    placements: int
    failed: int
    cartons: int
    trouble: str
    reach: Reach
    rungs: tuple[Rung, ...]

    @property
    def cures(self) -> tuple[tuple[Ladder, Tried], ...]:
        """One smallest change for each key and way that cures; what costs least comes first."""
        found = [(rung.ladder, cure) for rung in self.rungs if (cure := rung.cure) is not None]
        return tuple(sorted(found, key=self._cost))

    def _cost(self, cure: tuple[Ladder, Tried]) -> tuple[bool, int, float, int, str]:
        ladder, tried = cure
        fewer = tried.cartons < self.cartons
        return fewer, _COST.index(ladder.kind), tried.step.size, tried.marginal, ladder.key


@dataclass(frozen=True, slots=True)
class Attempt:
    """One change to be tried; first: placements that are looked at before the rest."""

    key: str
    step: Step
    first: tuple[str, ...]

    @property
    def settings(self) -> tuple[str, ...]:
        """As in `--set`."""
        return (f"{self.key}={self.step.value}",)


def find_remedies(
    file: CellFile,
    reach: Reach,
    runner: Runner[Tried],
    progress: Progress | None = None,
    jobs: int = 1,
) -> RemedySurvey:
    """Try simple changes to a cell that fails, each alone, until the smallest that cure are known.

    Args:
        file: The cell.
        reach: How far the changes go.
        runner: Does the work, and keeps what is done.
        progress: Called with (changes settled, changes in all).
        jobs: Processes for the check of the cell as it stands.

    Raises:
        SurveyError: If the runner cannot go on.
    """
    cell = file.cell()
    base = check(cell, jobs=jobs)
    failed = [judged for judged in base.placements if failing(judged)]
    trouble = _trouble(base)
    rungs: tuple[Rung, ...] = ()
    if trouble:
        ladders = ladders_of(file, cell, reach)
        rungs = _climbed(file, ladders, _telling(failed), runner, progress)
    return RemedySurvey(
        cell.name, cell.sha256, len(base.placements), len(failed), _cartons(cell), trouble, reach,
        rungs,
    )  # fmt: skip


def _telling(failed: Sequence[Judged]) -> tuple[str, ...]:
    """Some of the placements that fail, spread over them all."""
    ids = [judged.placement.id for judged in reversed(failed)]  # the uppermost fail longest
    if len(ids) <= _TELLING:
        return tuple(ids)
    places = (round(k * (len(ids) - 1) / (_TELLING - 1)) for k in range(_TELLING))
    return tuple(ids[place] for place in dict.fromkeys(places))


def _trouble(result: Result) -> str:
    """What fails first, in words; empty where nothing does."""
    for judged in result.placements:
        if failing(judged):
            return trouble_of(judged)
    for finding in result.findings:
        if failing(finding):
            return f"{finding.check}: {finding.message}"
    return ""


def _cartons(cell: Cell) -> int:
    return sum(len(placement.items) for pallet in cell.pallets for placement in pallet.placements)


# --- the search -----------------------------------------------------------------------------------


def _climbed(
    file: CellFile,
    ladders: Sequence[Ladder],
    first: tuple[str, ...],
    runner: Runner[Tried],
    progress: Progress | None,
) -> tuple[Rung, ...]:
    """Climb all ladders abreast, each until a step cures; then look for the least step."""
    found: list[list[Tried]] = [[] for _ in ladders]
    total = sum(len(ladder.steps) for ladder in ladders)
    while True:
        waiting = [
            (number, step)
            for number, ladder in enumerate(ladders)
            if not any(each.cures for each in found[number])
            for step in ladder.steps[len(found[number]) : len(found[number]) + _AT_ONCE]
        ]
        if not waiting:
            break
        left = sum(
            len(ladder.steps) - len(tried)
            for ladder, tried in zip(ladders, found, strict=True)
            if not any(each.cures for each in tried)
        )
        _try(file, ladders, waiting, first, runner, found, _offset(progress, total - left, total))
    finer = [
        (number, step)
        for number, ladder in enumerate(ladders)
        for step in _finer(ladder, found[number])
    ]
    onward = _offset(progress, total, total + len(finer))
    _try(file, ladders, finer, first, runner, found, onward)
    return tuple(
        Rung(ladder, tuple(sorted(tried, key=lambda each: each.step.size)))
        for ladder, tried in zip(ladders, found, strict=True)
    )


def _offset(progress: Progress | None, settled: int, total: int) -> Progress | None:
    if progress is None:
        return None
    return lambda done, _: progress(settled + done, total)


def _finer(ladder: Ladder, tried: Sequence[Tried]) -> tuple[Step, ...]:
    """The steps between the last coarse one that fails and the first that cures."""
    cures = min((each.step.size for each in tried if each.cures), default=None)
    if cures is None:
        return ()
    below = max((each.step.size for each in tried if each.step.size < cures), default=0.0)
    return ladder.between(below, cures)


def _try(
    file: CellFile,
    ladders: Sequence[Ladder],
    waiting: Sequence[tuple[int, Step]],
    first: tuple[str, ...],
    runner: Runner[Tried],
    found: list[list[Tried]],
    progress: Progress | None,
) -> None:
    """Try some steps, and add what came of them."""
    attempts = [Attempt(ladders[number].key, step, first) for number, step in waiting]
    work: Any = partial(attempt, file)
    names = [each.settings[0] for each in attempts]
    answers = runner.run(work, attempts, names=names, progress=progress)
    for (number, _), answer in zip(waiting, answers, strict=True):
        found[number].append(answer)


def attempt(file: CellFile, asked: Attempt) -> Tried:
    """Try one change; this runs in workers.

    Errs: never towards a cure. One that is told was checked whole, with every check.
    """
    try:
        cell = file.cell(asked.settings)
    except CellError as error:
        return Tried(asked.step, trouble=error.problems[0].found if error.problems else str(error))
    there = {p.id for pallet in cell.pallets for p in pallet.placements[pallet.done :]}
    looked: list[Judged] = []
    for name in asked.first:
        if name in there:
            looked += check(cell, placements=[name]).placements
            if failing(looked[-1]):
                return _told(cell, asked.step, looked, trouble_of(looked[-1]), whole=False)
    for some in verdicts(cell, stop_after=0):  # quicker than a whole check, and as strict
        if any(failing(judged) for judged in some):
            failed = next(judged for judged in some if failing(judged))
            return _told(cell, asked.step, [*looked, *some], trouble_of(failed), whole=False)
    result = check(cell)
    return _told(cell, asked.step, result.placements, _trouble(result), whole=True)


def _told(cell: Cell, step: Step, judged: Iterable[Judged], trouble: str, *, whole: bool) -> Tried:
    entries = list(judged)
    return Tried(
        step,
        whole and bool(entries) and not trouble,
        whole,
        len(entries),
        sum(failing(entry) for entry in entries),
        sum(entry.verdict == "marginal" for entry in entries),
        _cartons(cell),
        trouble,
    )


def tried_to_json(tried: Tried) -> Any:
    """As plain data for the survey file."""
    return asdict(tried)


def tried_from_json(data: Any) -> Tried:
    """Back from plain data. Raises TypeError, KeyError."""
    told: dict[str, Any] = {**data, "step": Step(**data["step"])}
    return Tried(**told)
