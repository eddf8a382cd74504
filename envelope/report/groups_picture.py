"""Ways of grouping side by side, drawn: bars for the rate, and for what load and hold use."""

from collections.abc import Callable

from ..surveys.grouped import GroupsSurvey, Measured, WayFound, WayJudged
from .groups import cycles_of, fits
from .svg import Svg

# Of the palette of Okabe and Ito (2008), told apart by the colour-blind.
_GOOD, _BAD, _LIMIT, _GROUND = "#0072b2", "#d55e00", "#222222", "#eeeeee"
_LEFT, _TOP, _ROW = 40.0, 110.0, 30.0
_NAME, _BAR, _NUMBER, _GAP = 190.0, 130.0, 58.0, 24.0
_FITS, _CYCLES = 130.0, 110.0
_MOST = 150.0  # [%]: bars of load and hold end here

_Measure = Callable[[WayJudged], Measured]


def groups_picture(survey: GroupsSurvey) -> str:
    """One row a way; a way whose placements fail is drawn in another colour."""
    svg = Svg()
    title = f"{survey.cell_name}: ways of grouping"
    svg.text(_LEFT, 30.0, title, 18.0, bold=True)
    best = "none fits" if survey.best is None else survey.ways[survey.best].name
    svg.text(_LEFT, 52.0, f"Best: {best}. A line across bars is what is asked for, or allowed.")
    key = [(_GOOD, "no placement fails"), (_BAD, "some fail")]
    for number, (fill, words) in enumerate(key):
        svg.rectangle(_LEFT + 150.0 * number, 62.0, 12.0, 12.0, fill)
        svg.text(_LEFT + 150.0 * number + 18.0, 72.0, words)
    heads = ["way", "placements", "cycles/pallet", "cartons/min", "load", "hold", "clearance"]
    for at, head in zip(_columns(), heads, strict=True):
        svg.text(at, _TOP - 12.0, head, 12.0, bold=True)
    top = _most_rate(survey)
    for number, way in enumerate(survey.ways):
        _row(svg, survey, way, _TOP + number * _ROW, top, bold=number == survey.best)
    bottom = _TOP + len(survey.ways) * _ROW
    return svg.drawn(_columns()[-1] + 90.0, bottom + 24.0, title)


def _columns() -> list[float]:
    """Where each column starts [px]."""
    found = [_LEFT]
    for wide in (_NAME, _FITS, _CYCLES, *[_BAR + _NUMBER + _GAP] * 3):
        found.append(found[-1] + wide)
    return found


def _most_rate(survey: GroupsSurvey) -> float:
    rates = [way.judged.rate.value or 0.0 for way in survey.ways if way.judged is not None]
    return max([*rates, survey.asked or 0.0, 1e-9])


def _row(
    svg: Svg, survey: GroupsSurvey, way: WayFound, y: float, most: float, *, bold: bool
) -> None:
    at, base = _columns(), y + 15.0
    svg.text(at[0], base, way.name, 12.0, bold=bold)
    svg.text(at[1], base, fits(way) if not way.same_as else "the same", 12.0)
    judged = way.judged
    if judged is None or way.same_as:
        words = f"as {way.same_as}" if way.same_as else way.trouble
        svg.text(at[2], base, words, 11.0, fill="#666666")
        return
    fill = _GOOD if judged.fits else _BAD
    svg.text(at[2], base, cycles_of(judged), 12.0)
    limit = None if survey.asked is None else survey.asked / most
    share = None if judged.rate.value is None else judged.rate.value / most
    number = "-" if judged.rate.value is None else f"{judged.rate.value:.2f}"
    _bar(svg, at[3], y, share, limit, number, fill, judged.rate)
    for x, measured in ((at[4], judged.load), (at[5], judged.hold)):
        share = None if measured.value is None else min(measured.value, _MOST) / _MOST
        number = "-" if measured.value is None else f"{measured.value:.0f} %"
        over = measured.value is not None and measured.value > 100.0
        _bar(svg, x, y, share, 100.0 / _MOST, number, _BAD if over else fill, measured)
    clear = judged.clearance.value
    svg.text(at[6], base, "-" if clear is None else f"{clear:.1f} mm", 12.0)


def _bar(
    svg: Svg,
    x: float,
    y: float,
    share: float | None,
    limit: float | None,
    number: str,
    fill: str,
    measured: Measured,
) -> None:
    """A bar on its ground, a line at the limit, and the number behind it."""
    svg.rectangle(x, y + 3.0, _BAR, _ROW - 12.0, _GROUND)
    if share is not None:
        told = ": ".join(text for text in (measured.where, measured.text) if text)
        svg.rectangle(x, y + 3.0, _BAR * max(share, 0.0), _ROW - 12.0, fill, told)
    if limit is not None:
        at = x + _BAR * limit
        svg.line((at, y + 1.0), (at, y + _ROW - 7.0), _LIMIT, 1.5)
    svg.text(x + _BAR + 6.0, y + 15.0, number, 12.0)
