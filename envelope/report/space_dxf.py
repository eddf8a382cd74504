"""A drawing of the operating space as DXF, in mm, through ezdxf."""

import io
from importlib import import_module
from typing import Any

from .space_drawing import CELL, MEASURE, SPACE, TEXT, Drawing
from .text import printable

_MILLIMETRES = 4  # unit of the header variable $INSUNITS
# Colour numbers of the format that show on light and dark screens alike.
_COLOURS = {SPACE: 5, CELL: 8, MEASURE: 9, TEXT: 7}
_HINT = 1


def as_dxf(drawing: Drawing) -> str:
    """The file, in the format's version of 2010.

    Raises:
        ModuleNotFoundError: ezdxf is not installed.
    """
    ezdxf: Any = import_module("ezdxf")  # comes with few types
    document: Any = ezdxf.new("R2010", units=_MILLIMETRES)
    space: Any = document.modelspace()
    layers = dict.fromkeys(
        [*(line.layer for line in drawing.lines), *(words.layer for words in drawing.words)]
    )
    for layer in layers:
        document.layers.add(layer, color=_COLOURS.get(layer, _HINT))
    for line in drawing.lines:
        points: list[tuple[float, float]] = [(float(x), float(y)) for x, y in line.points]
        space.add_lwpolyline(points, close=line.closed, dxfattribs={"layer": line.layer})
    for words in drawing.words:
        text = space.add_text(
            printable(words.text), height=words.height, dxfattribs={"layer": words.layer}
        )
        text.set_placement(words.at)
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue()
