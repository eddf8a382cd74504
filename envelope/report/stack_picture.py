"""How high stacks get, drawn: a column of layers for every variant, seen from the side."""

from textwrap import wrap

from ..surveys.results import Column, Height, StackSurvey
from .survey_text import stopped_by
from .svg import Svg

# Of the palette of Okabe and Ito (2008), told apart by the colour-blind.
_PASSES, _FAILS, _OPEN = "#009e73", "#d55e00", "#e6e6e6"
_INK = "#111111"  # read on all of these
_WIDE, _LAYER = 150.0, 26.0  # of a layer on the drawing [px]
_LEFT, _TOP = 14.0, 96.0
_LETTERS = 30  # of a line beside a column
_LETTER = 6.2  # [px]: width of a letter there


def stack_picture(survey: StackSurvey) -> str:
    """One column a variant; each layer stands for the stack that ends with it."""
    svg = Svg()
    title = f"{survey.cell_name}: how many layers pass"
    svg.text(_LEFT, 30.0, title, 18.0, bold=True)
    best = survey.columns[survey.best]
    where = ", ".join(f"{key}={value}" for key, value in best.settings)
    with_ = f", with {where}" if where else ""
    words = f"Most layers: {best.serves}{with_}. Each bar is a stack of so many layers, with the "
    svg.text(_LEFT, 52.0, words + "height of its top over the floor.", 12.0)
    wide, high = _stacks(svg, survey, _TOP - 34.0)
    return svg.drawn(max(wide, 780.0), high, title)


def stack_columns(survey: StackSurvey) -> str:
    """The same without its title, to be placed on a page."""
    svg = Svg()
    wide, high = _stacks(svg, survey, 8.0)
    return svg.drawn(wide, high, f"{survey.cell_name}: how many layers pass")


def _stacks(svg: Svg, survey: StackSurvey, top: float) -> tuple[float, float]:
    """What the colours mean, and all columns; returns width and height of the drawing."""
    key = [(_PASSES, "no placement fails"), (_FAILS, "some fail"), (_OPEN, "not tried")]
    for number, (fill, words) in enumerate(key):
        svg.rectangle(_LEFT + 134.0 * number, top, 12.0, 12.0, fill)
        svg.text(_LEFT + 134.0 * number + 18.0, top + 10.0, words)
    most = max(len(column.heights) + bool(column.untried) for column in survey.columns)
    floor = top + 34.0 + most * _LAYER
    step = _WIDE + 22.0 + _LETTERS * _LETTER
    for number, column in enumerate(survey.columns):
        _column(svg, column, (_LEFT + number * step, floor))
    names = max(len(column.settings) for column in survey.columns)
    return _LEFT + len(survey.columns) * step, floor + 30.0 + 15.0 * max(names, 1)


def _column(svg: Svg, column: Column, corner: tuple[float, float]) -> None:
    left, floor = corner
    stop = column.stopped_at
    top = floor
    for height in column.heights:
        top -= _LAYER
        _layer(svg, left, top, _fill(height), _told(height))
        svg.text(left + 8.0, top + 17.0, f"{height.layers}", 12.0, fill=_INK, bold=True)
        svg.text(left + 32.0, top + 17.0, _word(height), 11.0, fill=_INK)
        if height.is_cell:
            there = f"{height.top:.0f} mm"
            svg.text(left + _WIDE - 8.0, top + 17.0, there, 11.0, "end", fill=_INK)
        if height is stop:
            _beside(svg, left + _WIDE + 10.0, top + 17.0, stopped_by(height))
    if column.untried:
        top -= _LAYER
        first, last = column.untried[0], column.untried[-1]
        which = f"{first}" if first == last else f"{first} to {last}"
        _layer(svg, left, top, _OPEN, f"{which} layers: not tried")
        svg.text(left + 8.0, top + 17.0, f"{which}: not tried", 11.0, fill=_INK)
    svg.line((left - 6.0, floor), (left + _WIDE + 6.0, floor), "#222222", 2.0)
    name = [f"{key} = {value}" for key, value in column.settings] or ["as it stands"]
    for number, line in enumerate(name):
        svg.text(left + _WIDE / 2, floor + 20.0 + 15.0 * number, line, 12.0, "middle", bold=True)
    if column.trouble:
        _beside(svg, left + _WIDE + 10.0, floor - 40.0, f"no valid cell: {column.trouble}")


def _word(height: Height) -> str:
    """What came of it, so that colour alone need not tell."""
    if not height.is_cell:
        return "no cell"
    return "passes" if height.passes else "fails"


def _layer(svg: Svg, left: float, top: float, fill: str, told: str) -> None:
    svg.rectangle(left, top + 1.0, _WIDE, _LAYER - 2.0, fill, told)


def _fill(height: Height) -> str:
    if not height.is_cell:
        return "#c4c4c4"
    return _PASSES if height.passes else _FAILS


def _told(height: Height) -> str:
    if not height.is_cell:
        return f"{height.layers} layers: no valid cell: {height.judgement.trouble}"
    if height.passes:
        return f"{height.layers} layers: none of {height.judgement.placements} placements fails"
    return f"{height.layers} layers do not pass: {stopped_by(height)}"


def _beside(svg: Svg, left: float, top: float, text: str) -> None:
    """Text in short lines, six at most."""
    lines = wrap(text, _LETTERS)
    lines = [*lines[:5], lines[5] + " ..."] if len(lines) > 6 else lines
    for number, line in enumerate(lines):
        svg.text(left, top + 14.0 * number, line, 11.0)
