"""A result as text for a terminal or a log: plain, the same when it is piped."""

from collections.abc import Iterator, Sequence
from textwrap import wrap

from ..cell.model import Cell, Default
from ..checks.finding import Judged, Result, Verdict
from .problems import problem_lines
from .rate import rate_lines, rate_remark

PROVED = (
    "Clearances are proved over the whole motion, not sampled: of the bodies as modelled, "
    "at nominal size."
)
CAUTION = (
    "This is a planning aid and no risk assessment. Distances to guards come from the standards "
    "in force (ISO 10218-2, ISO 13855, ISO 13857) and from a competent person's assessment on "
    "site; local codes come first."
)
_VERDICTS: tuple[Verdict, ...] = ("pass", "marginal", "fail", "not checked")


def as_text(result: Result, cell: Cell, width: int = 100) -> str:
    """The whole report: layers, problems, assumptions, and the verdict as its last line."""
    lines = [result.cell_name, "", *_layers(result), "", *rate_lines(result, width)]
    lines += problem_lines(result, width)
    lines += [*_assumptions(result, cell, width), "", verdict_line(result, cell)]
    return "".join(printable(line) + "\n" for line in lines)


def verdict_line(result: Result, cell: Cell) -> str:
    """The verdict in one line."""
    total, rate = len(result.placements), rate_remark(result)
    if result.count("pass") == total:
        counted = _counted(total, "pass", "passes")
        return f"{result.verdict.upper()}: {counted}.{rate}{_selection(result, cell)}"
    troubles = [
        (result.count("fail"), "fail", "fails"),
        (result.count("not checked"), "could not be checked", "could not be checked"),
        (result.count("marginal"), "are marginal", "is marginal"),
    ]
    told = [f"{number} {one if number == 1 else many}" for number, many, one in troubles if number]
    text = f"{result.verdict.upper()}: of {_counted(total)} {', '.join(told)}.{rate}"
    return text + _selection(result, cell)


def _counted(number: int, many: str = "", one: str = "") -> str:
    noun, verb = ("placement", one) if number == 1 else ("placements", many)
    return f"{number} {noun} {verb}".rstrip()


def _selection(result: Result, cell: Cell) -> str:
    """A warning where the verdict is not about the whole cell."""
    total = sum(len(pallet.placements) - pallet.done for pallet in cell.pallets)
    if len(result.placements) == total:
        return ""
    return f" Only these were checked, of {total} in the cell."


def _layers(result: Result) -> Iterator[str]:
    """A table with one line for each pallet and layer."""
    layers: dict[tuple[str, int], list[Judged]] = {}
    for judged in result.placements:
        placement = judged.placement
        layers.setdefault((placement.pallet, placement.layer), []).append(judged)
    shown = [v for v in _VERDICTS if v != "not checked" or result.count(v)]
    first = max(len("pallet"), *(len(pallet) for pallet, _ in layers))
    yield f"{'pallet':<{first}}  layer  placements" + "".join(f"  {v:>8}" for v in shown)
    for (pallet, layer), members in layers.items():
        verdicts = [judged.verdict for judged in members]
        counts = (str(verdicts.count(v) or "-") for v in shown)
        cells = "".join(
            f"  {count:>{max(8, len(v))}}" for count, v in zip(counts, shown, strict=True)
        )
        yield f"{pallet:<{first}}  {layer:>5}  {len(members):>10}{cells}"


def _assumptions(result: Result, cell: Cell, width: int) -> Iterator[str]:
    if cell.defaults:
        yield "Not said in the cell file, so taken:"
        for line in _taken(cell.defaults):
            yield from _paragraph(f"  {line}", width)
    for note in dict.fromkeys((*cell.notes, *result.notes)):
        yield from _paragraph(f"Note: {note}", width)
    yield from _paragraph(PROVED, width)
    yield from _paragraph(CAUTION, width)


def _taken(defaults: Sequence[Default]) -> Iterator[str]:
    """A line for each section of the cell file, its keys short."""
    sections: dict[str, list[tuple[str, str]]] = {}
    for default in defaults:
        section, _, key = default.key.partition(".")
        sections.setdefault(section, []).append((key, default.value))
    for section, taken in sections.items():
        yield f"{section}: " + ", ".join(f"{key} {value}".strip() for key, value in taken)


def _paragraph(text: str, width: int) -> list[str]:
    return wrap(
        text, width, subsequent_indent="    ", break_long_words=False, break_on_hyphens=False
    )


def printable(line: str) -> str:
    """A line in which nothing can move the cursor or change a colour: names are data."""
    return "".join(letter if letter.isprintable() else "?" for letter in line)
