"""The rate of a cell as lines of text."""

from collections.abc import Iterator
from textwrap import wrap

from ..checks.finding import Finding, Result, Verdict, worst
from ..checks.throughput import Rate
from .numbers import written

_FIRST = 18  # width of the column of words, in characters
_WORDS: dict[Verdict, str] = {
    "pass": "holds",
    "marginal": "is marginal",
    "fail": "fails",
    "not checked": "could not be checked",
}


def rate_lines(result: Result, width: int) -> Iterator[str]:
    """What the cell brings and how it is judged; nothing where no line is stated.

    Args:
        result: What the check found.
        width: Of the text, in characters.
    """
    verdict = rate_verdict(result)
    if verdict is None:
        return
    yield f"{verdict}: rate"
    told = [_found(finding) for finding in _findings(result)]
    for name, text in [*told, *rate_facts(result)]:
        line = f"  {name:<{_FIRST - 2}}{text}"
        yield from wrap(line, width, subsequent_indent=" " * _FIRST, break_on_hyphens=False)
    yield ""


def rate_facts(result: Result) -> list[tuple[str, str]]:
    """What the rate is made of, each with its name; empty where no line is stated."""
    return [] if result.rate is None or not _findings(result) else list(_facts(result.rate))


def rate_verdict(result: Result) -> Verdict | None:
    """The worst verdict on the rate and the queue; None where neither was asked for."""
    found: list[Verdict] = [finding.verdict for finding in _findings(result)]
    return worst(found) if found else None


def rate_remark(result: Result) -> str:
    """A sentence for the line of the verdict, with a blank in front; empty without a line."""
    verdict = rate_verdict(result)
    return "" if verdict is None else f" The rate {_WORDS[verdict]}."


def _findings(result: Result) -> list[Finding]:
    return [finding for finding in result.findings if finding.check == "rate"]


def _found(finding: Finding) -> tuple[str, str]:
    """A finding in a line: what it is about; verdict, value and limit."""
    name = {"mm": "queue", "cartons": "places"}.get(finding.unit, "sustained")
    if finding.value is None:
        return name, f"{finding.verdict}: {finding.message}"
    if name == "sustained":  # what its message adds has lines of its own
        limit = written(finding.limit, 2)
        over = "over full pallets, changes included"
        return (
            name,
            f"{finding.verdict}: {_two(finding.value)} {finding.unit} (limit {limit}), {over}",
        )
    text = f"{written(finding.value, 0)} {finding.unit} (limit {written(finding.limit, 0)})"
    return name, f"{finding.verdict}: {text}, {finding.message}"


def _facts(rate: Rate) -> Iterator[tuple[str, str]]:
    seconds, placement = rate.slowest_cycle
    yield "never waiting", f"{_two(rate.alone)} cartons/min, as cycles alone would bring"
    if rate.waiting:
        waits = " and ".join(f"{_two(amount)} s {name}" for name, amount in rate.waiting)
        yield "waits", f"{waits}, in a round over all pallets"
    slow = rate.slowest_layer
    yield "slowest layer", f"{slow.pallet}/{slow.layer} at {_two(slow.rate)} cartons/min"
    cycles = f"{rate.cycles}, mean {_two(rate.mean_cycle)} s"
    if rate.rounding:
        cycles += f" ({_two(rate.rounding)} s saved by rounding corners)"
    yield "cycles", f"{cycles}; the slowest, of {placement}, takes {_two(seconds)} s"
    yield "slowest spend", ", ".join(f"{_two(amount)} s {name}" for name, amount in rate.dominating)


def _two(value: float) -> str:
    return f"{value:.2f}"
