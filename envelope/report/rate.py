"""The rate of a cell as lines of text."""

from collections.abc import Iterator
from textwrap import wrap

from ..checks.finding import Finding, Result, Verdict
from ..checks.throughput import Queue, Rate
from .deciding import worst_first
from .numbers import written

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
    judged = [finding for finding in result.findings if finding.check == "rate"]
    if result.rate is not None:
        for line in _told(result.rate):
            yield from wrap(line, width, subsequent_indent=" " * 18)
    for finding in judged:
        if finding.verdict != "pass" or result.rate is None:
            yield from wrap(
                f"  {finding.verdict}: {_said(finding)}", width, subsequent_indent="    "
            )
    if judged or result.rate is not None:
        yield ""


def rate_remark(result: Result) -> str:
    """A sentence for the line of the verdict, with a blank in front; empty without a line."""
    judged = [finding for finding in result.findings if finding.check == "rate"]
    return f" The rate {_WORDS[worst_first(judged)[0].verdict]}." if judged else ""


def _told(rate: Rate) -> Iterator[str]:
    asked = "" if rate.asked is None else f", of {_number(rate.asked)} that come"
    yield f"rate: {_number(rate.sustained)} cartons/min over full pallets{asked}"
    slow, (seconds, placement) = rate.slowest_layer, rate.slowest_cycle
    yield f"  slowest layer   {slow.pallet}/{slow.layer}, {_number(slow.rate)} cartons/min"
    yield (
        f"  cycles          {rate.cycles}, mean {_number(rate.mean_cycle)} s; "
        f"slowest {_number(seconds)} s, {placement}"
    )
    yield f"  never waiting   {_number(rate.alone)} cartons/min"
    for name, amount in rate.waiting:  # "for cartons", "for a pallet"
        yield f"  {name:<15} {_number(amount)} s in a round over all pallets"
    if rate.queue is not None and rate.queue.length is not None:
        yield f"  longest queue   {_queue(rate.queue)}"
    told = ", ".join(f"{name} {_number(amount)} s" for name, amount in rate.dominating)
    yield f"  slowest cycles  {told}"


def _queue(queue: Queue) -> str:
    plural = "" if queue.cartons == 1 else "s"
    places = "" if queue.places is None else f"; {queue.places} places"
    return (
        f"{queue.cartons} carton{plural}, {written(queue.length, 0)} mm of "
        f"{written(queue.available, 0)} mm{places}"
    )


def _said(finding: Finding) -> str:
    if finding.value is None:
        return finding.message
    value, limit = _number(finding.value), written(finding.limit, 2)
    return f"{value} {finding.unit} (limit {limit} {finding.unit}). {finding.message}"


def _number(value: float) -> str:
    return f"{value:.2f}"
