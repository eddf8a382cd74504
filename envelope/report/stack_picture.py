"""How high stacks get, drawn: a column of layers for every variant, seen from the side."""

from textwrap import wrap

from ..surveys.results import Column, Height, StackSurvey
from .survey_text import stopped_by
from .svg import Svg

# Of the palette of Okabe and Ito (2008), told apart by the colour-blind.
_PASSES, _FAILS, _OPEN = "#009e73", "#d55e00", "#e6e6e6"
_WIDE, _LAYER = 120.0, 26.0  # of a layer on the drawing [px]
_LEFT, _TOP, _GAP = 40.0, 96.0, 190.0
_LETTERS = 27  # of a line beside a column


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
    key = [(_PASSES, "no placement fails"), (_FAILS, "some fail"), (_OPEN, "not tried")]
    for number, (fill, words) in enumerate(key):
        svg.rectangle(_LEFT + 150.0 * number, 62.0, 12.0, 12.0, fill)
        svg.text(_LEFT + 150.0 * number + 18.0, 72.0, words)
    most = max(len(column.heights) + len(column.untried) for column in survey.columns)
    floor = _TOP + most * _LAYER
    for number, column in enumerate(survey.columns):
        _column(svg, column, _LEFT + number * (_WIDE + _GAP), floor)
    wide = _LEFT + len(survey.columns) * (_WIDE + _GAP)
    return svg.drawn(max(wide, 780.0), floor + 70.0, title)


def _column(svg: Svg, column: Column, left: float, floor: float) -> None:
    stop = column.stopped_at
    top = floor
    for height in column.heights:
        top -= _LAYER
        _layer(svg, left, top, _fill(height), _told(height))
        label = f"{height.layers}"
        svg.text(left + 8.0, top + 17.0, label, 12.0, fill="#ffffff", bold=True)
        if height.is_cell:
            there = f"{height.top:.0f} mm"
            svg.text(left + _WIDE - 8.0, top + 17.0, there, 11.0, "end", fill="#ffffff")
        if height is stop:
            _beside(svg, left + _WIDE + 10.0, top + 12.0, stopped_by(height))
    for layers in column.untried:
        top -= _LAYER
        _layer(svg, left, top, _OPEN, f"{layers} layers: not tried")
        svg.text(left + 8.0, top + 17.0, str(layers), 12.0)
    svg.line((left - 6.0, floor), (left + _WIDE + 6.0, floor), "#222222", 2.0)
    name = [f"{key} = {value}" for key, value in column.settings] or ["as it stands"]
    for number, line in enumerate(name):
        svg.text(left + _WIDE / 2, floor + 20.0 + 15.0 * number, line, 12.0, "middle", bold=True)
    if column.trouble:
        _beside(svg, left, floor - 40.0, f"no valid cell: {column.trouble}")


def _layer(svg: Svg, left: float, top: float, fill: str, told: str) -> None:
    svg.rectangle(left, top + 1.0, _WIDE, _LAYER - 2.0, fill, told)


def _fill(height: Height) -> str:
    if not height.is_cell:
        return "#bbbbbb"
    return _PASSES if height.passes else _FAILS


def _told(height: Height) -> str:
    if not height.is_cell:
        return f"{height.layers} layers: no valid cell: {height.judgement.trouble}"
    if height.passes:
        return f"{height.layers} layers: none of {height.judgement.placements} placements fails"
    return f"{height.layers} layers {stopped_by(height)}"


def _beside(svg: Svg, left: float, top: float, text: str) -> None:
    """Text in short lines, four at most."""
    lines = wrap(text, _LETTERS)
    lines = [*lines[:5], lines[5] + " ..."] if len(lines) > 6 else lines
    for number, line in enumerate(lines):
        svg.text(left, top + 14.0 * number, line, 11.0)
