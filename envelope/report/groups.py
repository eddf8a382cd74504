"""Ways of grouping side by side, as text."""

from collections import Counter
from collections.abc import Iterator
from textwrap import wrap

from ..surveys.grouped import GroupsSurvey, Measured, WayFound, WayJudged
from .pairing import aligned

_UNBROKEN = 10_000  # letters in a line where something else breaks them
_TOLD = 4  # placements of a way that fail, told in full


def groups_text(survey: GroupsSurvey, width: int = 100) -> str:
    """One table, what fails in each way, what is not known and why, and the best."""
    lines = [survey.cell_name, "", *aligned(list(groups_rows(survey))), ""]
    lines += _not_checked(survey, width)
    for way in survey.ways:
        lines += _failing(way, width)
    lines += _unknown(survey, width)
    lines.append(groups_line(survey))
    return "".join(f"{line}\n" for line in lines)


def groups_told(survey: GroupsSurvey) -> tuple[str, ...]:
    """What a table of all ways does not tell, a paragraph each."""
    lines = [*_not_checked(survey, _UNBROKEN)]
    for way in survey.ways:
        lines += _failing(way, _UNBROKEN)
    lines += _unknown(survey, _UNBROKEN)
    return tuple(line for line in lines if line)


def groups_line(survey: GroupsSurvey) -> str:
    """The best way in one line."""
    if survey.best is None:
        return "BEST: none; in every way some placements fail."
    way = survey.ways[survey.best]
    judged = way.judged
    assert judged is not None  # the best is one that was judged
    rate = "" if judged.rate.value is None else f", {judged.rate.value:.2f} cartons/min"
    asked = "" if survey.asked is None else f" of {survey.asked:g} asked for"
    cycles = sum(number for _, number in judged.cycles)
    text = f"BEST: {way.name}: {judged.cartons} cartons in {cycles} cycles{rate}{asked}."
    return text if judged.verdict in ("pass", "marginal") else f"{text} {_why_not(judged)}"


def fits(way: WayFound) -> str:
    """Whether a way fits, in a few words."""
    judged = way.judged
    if way.same_as:
        return f"as {way.same_as}"
    if judged is None:
        return "not possible"
    if judged.fits:
        return f"fits, {judged.marginal} marginal" if judged.marginal else "fits"
    return f"{len(judged.failing)} of {judged.placements} fail"


def cycles_of(judged: WayJudged) -> str:
    """Cycles per pallet: one number where all pallets take as many."""
    numbers = [number for _, number in judged.cycles]
    same = len(set(numbers)) == 1
    return str(numbers[0]) if same else ", ".join(f"{name} {n}" for name, n in judged.cycles)


def groups_rows(survey: GroupsSurvey) -> Iterator[tuple[str, ...]]:
    """The table: its headings, then a row for each way."""
    yield ("way", "placements", "cycles/pallet", "cartons/min", "load", "hold", "clearance")
    for way in survey.ways:
        judged = way.judged
        if judged is None:
            yield (way.name, fits(way), "-", "-", "-", "-", "-")
            continue
        rate = "-" if judged.rate.value is None else f"{judged.rate.value:.2f}"
        if judged.rate_verdict not in ("", "pass"):
            rate += f" {judged.rate_verdict}"
        yield (
            way.name,
            fits(way),
            cycles_of(judged) + ("" if way.proved else " or fewer"),
            rate,
            _shown(judged.load, "%", 0),
            _shown(judged.hold, "%", 0),
            _shown(judged.clearance, "mm", 1),
        )


def _shown(measured: Measured, unit: str, digits: int) -> str:
    return "-" if measured.value is None else f"{measured.value:.{digits}f} {unit}"


def _not_checked(survey: GroupsSurvey, width: int) -> Iterator[str]:
    for way in survey.ways:
        if way.trouble:
            yield from _hanging(f"{way.name}: not possible: {way.trouble}", width)
    if any(way.trouble for way in survey.ways):
        yield ""


def _failing(way: WayFound, width: int) -> Iterator[str]:
    """What fails in one way."""
    if way.judged is None or not way.judged.failing or way.same_as:
        return
    failing = way.judged.failing
    counts = Counter(name for each in failing for name in each.checks)
    by = ", ".join(f"{name} {number}" for name, number in counts.most_common())
    head = f"{way.name}: {len(failing)} of {way.judged.placements} placements fail ({by})"
    yield from _hanging(head, width)
    for each in failing[:_TOLD]:
        yield from _hanging(f"  {each.placement} {each.group}, {each.check}: {each.message}", width)
    if len(failing) > _TOLD:
        rest = ", ".join(each.placement for each in failing[_TOLD:])
        yield from _hanging(f"  and {rest}", width)
    yield ""


def _unknown(survey: GroupsSurvey, width: int) -> Iterator[str]:
    """Why there are dashes, and what the rate is of."""
    judged = [way.judged for way in survey.ways if way.judged is not None and not way.same_as]
    told: dict[str, None] = {}
    for each in judged:
        named = (("cartons/min", each.rate), ("load", each.load), ("hold", each.hold))
        for name, measured in (*named, ("clearance", each.clearance)):
            if measured.value is None:
                told[f"{name} -: {measured.text}."] = None
        if each.rate.value is not None:
            told[f"cartons/min: {each.rate.text}."] = None
    for line in told:
        yield from _hanging(line, width)
    if judged:
        text = (
            "Load and hold: the largest share used of what is allowed. Clearance: the smallest "
            "of all motions where the limit is asked for in full, or the deepest overlap. Each way "
            "is checked as it comes; `envelope pair` looks for a way round what fails."
        )
        yield from wrap(text, width)
        yield ""


def _why_not(judged: WayJudged) -> str:
    if judged.rate_verdict in ("fail", "not checked"):
        return "It does not keep up with the line."
    return "The cell as a whole does not pass."


def _hanging(line: str, width: int) -> list[str]:
    return wrap(line, width, subsequent_indent="      ", break_on_hyphens=False)
