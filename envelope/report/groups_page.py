"""Ways of grouping as a page: one table with bars, and what fails in which way."""

from collections.abc import Iterator

from ..surveys.grouped import GroupsSurvey, Measured, WayFound
from .answer_page import Answer, Gauge, Table, Value, as_page
from .groups import groups_line, groups_rows, groups_told
from .survey_page import OF_ALL

_MOST = 150.0  # [%]: bars of load and hold end here


def groups_page(survey: GroupsSurvey) -> str:
    """What each way of grouping brings."""
    headings, *rows = groups_rows(survey)
    judged = None if survey.best is None else survey.ways[survey.best].judged
    filled = tuple(
        tuple(_row(survey, way, row)) for way, row in zip(survey.ways, rows, strict=True)
    )
    words = (
        "Bars: cartons/min, and the share used of what load and hold allow. A line across a bar is "
        "what is asked for, or allowed; an orange bar is of a way that fails."
    )
    return as_page(
        Answer(
            survey.cell_name,
            "What each way of grouping cartons brings",
            judged is not None and judged.verdict in ("pass", "marginal"),
            groups_line(survey),
            survey.sha256,
            (),
            (Table("Side by side", headings, filled, words),),
            groups_told(survey),
            (OF_ALL,),
        )
    )


def _row(survey: GroupsSurvey, way: WayFound, row: tuple[str, ...]) -> Iterator[Value]:
    """The row of the table, with bars where there are numbers."""
    judged = way.judged
    if judged is None:
        yield from row
        return
    name, placements, cycles, rate, load, hold, clearance = row
    best = survey.best is not None and way is survey.ways[survey.best]
    yield f"{name} (best)" if best else name
    yield placements
    yield Gauge(cycles, float(sum(number for _, number in judged.cycles)))
    most = _most_rate(survey)
    asked = None if survey.asked is None else survey.asked / most
    good = judged.fits and judged.rate_verdict not in ("fail", "not checked")
    yield _gauge(judged.rate, rate, most, asked, good=good)
    for measured, text in ((judged.load, load), (judged.hold, hold)):
        fine = judged.fits and (measured.value is None or measured.value <= 100.0)
        yield _gauge(measured, text, _MOST, 100.0 / _MOST, good=fine)
    yield Gauge(clearance, judged.clearance.value)


def _gauge(measured: Measured, text: str, most: float, limit: float | None, *, good: bool) -> Gauge:
    value = measured.value
    share = None if value is None else min(max(value / most, 0.0), 1.0)
    told = ": ".join(part for part in (measured.where, measured.text) if part)
    return Gauge(text, value, share, limit, good, told)


def _most_rate(survey: GroupsSurvey) -> float:
    rates = [way.judged.rate.value or 0.0 for way in survey.ways if way.judged is not None]
    return max([*rates, survey.asked or 0.0, 1e-9])
