"""A drawing of the operating space as SVG. Source: W3C, Scalable Vector Graphics 1.1 (2011)."""

from html import escape

import numpy as np

from ..scene.colours import EDGE, INK, QUIET_INK, SWEPT, VERMILLION, Colour
from .space_drawing import CELL, MEASURE, SPACE, TEXT, Drawing
from .text import printable

_HINT_LETTERS: Colour = (168, 70, 0)  # its lines' colour, dark enough to be read
_MARGIN = 150.0  # [mm] around everything
_LETTER = 0.56  # width of a letter, as a share of its height
_INK: dict[str, Colour] = {CELL: EDGE, SPACE: SWEPT, MEASURE: QUIET_INK, TEXT: INK}
_WIDTH = {CELL: 4.0, SPACE: 10.0, MEASURE: 4.0}


def as_svg(drawing: Drawing, scale: float | None = None) -> str:
    """The file: one unit is 1 mm of the cell; y up becomes y down.

    Args:
        drawing: What is drawn.
        scale: Pixels for 1 mm; without it 1200 pixels across.
    """
    low, high = _bounds(drawing)
    width, height = high - low
    across = 1200.0 if scale is None else scale * width
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{low[0]:.1f} {-high[1]:.1f} '
        f'{width:.1f} {height:.1f}" width="{across:.0f}" height="{across * height / width:.0f}" '
        f'font-family="sans-serif" role="img" aria-label="{escape(printable(drawing.title))}">',
        f"<title>{escape(printable(drawing.title))}</title>",
        f'<rect x="{low[0]:.1f}" y="{-high[1]:.1f}" width="{width:.1f}" height="{height:.1f}" '
        'fill="#ffffff"/>',
    ]
    layers = dict.fromkeys(line.layer for line in drawing.lines)
    for layer in layers:
        lines.append(_paths(drawing, layer))
    for words in drawing.words:
        lines.append(
            f'<text x="{words.at[0]:.1f}" y="{-words.at[1]:.1f}" font-size="{words.height:.0f}" '
            f'fill="{_code(_letters(words.layer))}">{escape(printable(words.text))}</text>'
        )
    return "\n".join([*lines, "</svg>", ""])


def _ink(layer: str) -> Colour:
    return _INK.get(layer, VERMILLION)  # a hint


def _letters(layer: str) -> Colour:
    return _INK.get(layer, _HINT_LETTERS)


def _code(colour: Colour) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)


def _paths(drawing: Drawing, layer: str) -> str:
    """All lines of a layer; holes of what is filled stay open."""
    closed = [line for line in drawing.lines if line.layer == layer and line.closed]
    path = "".join(
        "M" + "L".join(f"{x:.1f} {-y:.1f}" for x, y in line.points) + ("Z" if line.closed else "")
        for line in drawing.lines
        if line.layer == layer
    )
    colour = _code(_ink(layer))
    filled = 'fill="none"'
    if layer == SPACE:
        filled = f'fill="{colour}" fill-opacity="0.35" fill-rule="evenodd"'
    elif layer not in _INK:
        filled += ' stroke-dasharray="60 30"'
    elif layer == CELL and closed:
        filled = 'fill="#d8d5cf" fill-opacity="0.35"'
    name = escape(layer.lower().replace(" ", "-"))
    return (
        f'<g id="{name}"><path d="{path}" stroke="{colour}" '
        f'stroke-width="{_WIDTH.get(layer, 6.0):g}" {filled}/></g>'
    )


def _bounds(drawing: Drawing) -> tuple[np.ndarray, np.ndarray]:
    corners = [line.points for line in drawing.lines]
    corners += [
        np.array([words.at, (words.at[0] + _LETTER * words.height * len(words.text), words.at[1])])
        for words in drawing.words
    ]
    points = np.concatenate(corners)
    return points.min(axis=0) - _MARGIN, points.max(axis=0) + _MARGIN
