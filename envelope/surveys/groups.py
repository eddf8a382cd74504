"""Single cartons, pairs, rows, mixed, whole or in parts: the same check for each, side by side."""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from ..cell.errors import CellError
from ..cell.model import Cell
from ..cell.variants import CellFile
from ..checks.finding import Finding, Judged, Result, failing, worst
from ..checks.rate import rate_of
from ..verify import check
from .asked_clearance import asked_in_full
from .grouped import FailingPlacement, GroupsSurvey, Measured, WayFound, WayJudged
from .pairing import first_failure
from .runner import Progress, Runner
from .ways import Laid, laid_out

_ALONE = "cycles alone: no line stated"
_SILENT = {"hold": "the tool's file does not say how strongly it holds"}
_DECIMALS = 4


@dataclass(frozen=True, slots=True)
class WayRequest:
    """One way to be judged in a worker."""

    name: str
    file: CellFile


def survey_groups(
    file: CellFile,
    lists: Sequence[Sequence[str]],
    runner: Runner[WayJudged],
    progress: Progress | None = None,
) -> tuple[GroupsSurvey, dict[str, CellFile]]:
    """Judge ways of grouping.

    Nothing is refused here as `pairing.pair` does: a way that fails says which placements do.

    Args:
        file: The cell file.
        lists: As in `ways.laid_out`.
        runner: Does the work, and keeps what is done.
        progress: Called with (ways judged, ways in all).

    Returns:
        The survey, and the cell file of each way that has one, by the way's name.

    Raises:
        SurveyError: If there is nothing to survey, or a name stands for no group.
        CellError: If the cell file cannot be changed.
    """
    cell = file.cell()
    laid = laid_out(file, lists)
    files = {each.way.name: each.file for each in laid if each.file is not None}
    requests = [WayRequest(name, made) for name, made in files.items()]
    names = [request.name for request in requests]
    answers = dict(
        zip(names, runner.run(judge_way, requests, names=names, progress=progress), strict=True)
    )
    ways = tuple(_found(each, answers) for each in laid)
    asked = None if cell.line is None else cell.line.rate * 60.0
    return GroupsSurvey(cell.name, cell.sha256, asked, ways, _best(ways)), files


def _found(laid: Laid, answers: dict[str, WayJudged]) -> WayFound:
    way = laid.way
    judged = answers.get(laid.same_as or way.name)
    return WayFound(
        way.name, way.groups, way.in_parts, laid.trouble, laid.same_as, laid.proved, judged
    )


def _best(ways: Sequence[WayFound]) -> int | None:
    """The way that passes with most cartons a minute, then with fewest cycles, then the first.

    Where none passes as a whole, of those in which no placement fails.
    """
    found = [
        (k, way.judged)
        for k, way in enumerate(ways)
        if way.judged is not None and way.judged.fits and not way.same_as
    ]
    if not found:
        return None

    def rank(entry: tuple[int, WayJudged]) -> tuple[float, ...]:
        k, judged = entry
        rate = -1.0 if judged.rate.value is None else round(judged.rate.value, 3)
        passes = judged.verdict in ("pass", "marginal")
        return (not passes, -rate, sum(number for _, number in judged.cycles), k)

    return min(found, key=rank)[0]


def judge_way(request: WayRequest) -> WayJudged:
    """Check one way in full; this runs in workers."""
    try:
        cell = request.file.cell()
    except CellError as error:
        failing = FailingPlacement("", "", "cell", error.problems[0].found, ("cell",))
        none = Measured(None, text="not a cell")
        return WayJudged(0, 0, (failing,), (), 0, none, "", none, none, none, "fail")
    return judged_way(cell, check(cell))


def judged_way(cell: Cell, result: Result) -> WayJudged:
    """What a check adds up to."""
    judged = result.placements
    failing = [
        FailingPlacement(
            j.placement.id, j.placement.group.name, finding.check, finding.message, _checks(j)
        )
        for j in judged
        if (finding := first_failure(j)) is not None
    ]
    cycles = tuple(
        (pallet.name, len({placement.cycle for placement in pallet.placements}))
        for pallet in cell.pallets
    )
    return WayJudged(
        len(judged),
        result.count("marginal"),
        tuple(failing),
        cycles,
        sum(len(j.placement.items) for j in judged),
        _rate(cell, result),
        worst(f.verdict for f in result.findings if f.check == "rate") if cell.line else "",
        _most_used(judged, "load"),
        _most_used(judged, "hold"),
        _least_clearance(cell, judged),
        result.verdict,
    )


def _checks(judged: Judged) -> tuple[str, ...]:
    """The checks that a placement fails, or that could not be made."""
    bad = (f.check for f in judged.findings if failing(f))
    return tuple(dict.fromkeys(bad)) or ("check",)


def _rate(cell: Cell, result: Result) -> Measured:
    rate = rate_of(cell, result)
    if rate is None:
        lacking = next((j.placement.id for j in result.placements if j.cycle is None), "")
        return Measured(None, lacking, "no motion" if lacking else "not all was checked")
    text = _ALONE if cell.line is None else "over full pallets, changes included"
    return Measured(round(rate.sustained, _DECIMALS), "", text)


def _most_used(judged: Sequence[Judged], name: str) -> Measured:
    """The largest share used [%] that a check found; none is made up where it found none."""
    mine = [(f, j.placement.id) for j in judged for f in j.findings if f.check == name]
    if not mine:
        return Measured(None, "", _SILENT.get(name, f"no check on {name} was made"))
    for finding, where in mine:  # what is not held at all has no share, and is no less for it
        if finding.verdict == "fail" and finding.value is None:
            return Measured(None, where, f"over any limit: {finding.message}")
    valued = [(f, where) for f, where in mine if f.value is not None and f.unit == "%"]
    if not valued:
        return Measured(None, mine[0][1], mine[0][0].message)
    finding, where = max(valued, key=lambda entry: _value(entry[0]))
    return Measured(round(_value(finding), _DECIMALS), where, finding.message)


def _least_clearance(cell: Cell, judged: Sequence[Judged]) -> Measured:
    """The smallest clearance where it is asked for in full, or the deepest overlap that fails."""
    found = [(f, j.placement.id) for j in judged for f in asked_in_full(cell, j.findings)]
    if not found:
        return Measured(None, "", "nothing came near enough to be measured")
    finding, where = min(found, key=lambda entry: _value(entry[0]))
    between = " to ".join(finding.between or ())
    return Measured(round(_value(finding), _DECIMALS), where, between)


def _value(finding: Finding) -> float:
    return 0.0 if finding.value is None else finding.value


def to_json(judged: WayJudged) -> Any:
    """As plain data for the survey file."""
    return asdict(judged)


def from_json(data: Any) -> WayJudged:
    """Back from plain data. Raises TypeError, KeyError."""
    measured: Callable[[str], Measured] = lambda name: Measured(**data[name])  # noqa: E731
    return WayJudged(
        data["placements"],
        data["marginal"],
        tuple(_failing_from(entry) for entry in data["failing"]),
        tuple((str(pallet), int(number)) for pallet, number in data["cycles"]),
        data["cartons"],
        measured("rate"),
        data["rate_verdict"],
        measured("load"),
        measured("hold"),
        measured("clearance"),
        data["verdict"],
    )


def _failing_from(data: Any) -> FailingPlacement:
    checks = tuple(str(name) for name in data["checks"])
    return FailingPlacement(
        data["placement"], data["group"], data["check"], data["message"], checks
    )
