"""The flat part of a picture: panes, captions, colour keys, dimension marks."""

from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from ..geometry.frames import Array
from .colours import EDGE, INK, PANE, PAPER, QUIET_INK, Colour, ink_on
from .draw import Image

SIZE = (1600, 1000)
MAIN = (20, 160, 1160, 820)  # left, top, width, height [px]
WHERE = (1200, 190, 380, 280)
DETAIL = (1200, 516, 380, 280)
MARGIN = 20
TITLE, TEXT, SMALL = 40, 28, 23  # [px]: readable at half the size

Box = tuple[int, int, int, int]

_GAP = 34.0  # [px]: lengths shorter than this get their arrows from outside
_HEAD = 15.0  # [px]
_TAIL = 44.0  # [px]
_RING = 22.0  # [px]
_SEEN = 3.0  # [px]: an arrow shorter than this points along the view
_LEADER = 120.0  # [px]: how far from its mark a label stands


@cache
def font(size: int, *, bold: bool = False) -> Any:
    """The font that comes with the drawing libraries, so that it is the same everywhere."""
    from importlib.util import find_spec  # where it lies; loading it all takes long

    from PIL import ImageFont

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    package = find_spec("matplotlib")
    for folder in () if package is None else package.submodule_search_locations or ():
        file = Path(folder) / "mpl-data" / "fonts" / "ttf" / name
        if file.exists():
            return ImageFont.truetype(str(file), size)
    return ImageFont.load_default(size)


class Sheet:
    """A page of fixed size to which panes and texts are put."""

    def __init__(self) -> None:
        from PIL import Image as Pictures
        from PIL import ImageDraw

        self.image = Pictures.new("RGB", SIZE, PAPER)
        self._pen = ImageDraw.Draw(self.image)

    def pane(self, picture: Image, box: Box, title: str = "") -> None:
        """Put a picture into a box, framed, with a title over it."""
        from PIL import Image as Pictures

        left, top, width, height = box
        self.image.paste(Pictures.fromarray(picture), (left, top))
        self._pen.rectangle((left, top, left + width - 1, top + height - 1), outline=EDGE)
        if title:
            self._pen.text((left, top - 31), title, font=font(SMALL), fill=QUIET_INK)

    def header(self, title: str, verdict: str, colour: Colour, lines: Sequence[str]) -> None:
        """Title with the verdict as a chip beside it, and lines of text under it."""
        x, y = MARGIN, 12
        self._pen.text((x, y), title, font=font(TITLE, bold=True), fill=INK)
        x += int(font(TITLE, bold=True).getlength(title)) + 24
        wide = int(font(TEXT, bold=True).getlength(verdict)) + 28
        self._pen.rounded_rectangle((x, y + 3, x + wide, y + 45), radius=8, fill=colour)
        self._pen.text((x + 14, y + 7), verdict, font=font(TEXT, bold=True), fill=ink_on(colour))
        wide = SIZE[0] - 2 * MARGIN
        size, step, y = TEXT, 44, 66
        if lines and font(size).getlength(lines[0]) > wide:
            size, step, y = SMALL, 30, 62
        first = wrapped(lines[0], size, wide)[:2] if lines else []
        for number, line in enumerate([*first, *lines[1:2]]):
            later = number >= len(first)
            text = shortened(line, min(size, SMALL + 1) if later else size, wide)
            self._pen.text(
                (MARGIN, y),
                text,
                font=font(min(size, SMALL + 1) if later else size),
                fill=QUIET_INK if later else INK,
            )
            y += step

    def key(self, entries: Sequence[tuple[Colour, str]], left: int, top: int, wide: int) -> None:
        """Colours and what they stand for, one below the other; long names take two lines."""
        y = top
        for colour, text in entries:
            self._pen.rectangle((left, y + 4, left + 26, y + 26), fill=colour, outline=EDGE)
            for line in wrapped(text, SMALL, wide - 38)[:2]:
                self._pen.text((left + 38, y), line, font=font(SMALL), fill=INK)
                y += 29
            y += 7

    def length(self, start: Array, end: Array, text: str, box: Box) -> None:
        """A measured length between two points [px]: arrows, and a label with a leader."""
        along = self.plain_length(start, end)
        self._label(text, (start + end) / 2, along, box)

    def plain_length(self, start: Array, end: Array) -> Array:
        """The arrows of a measured length alone; returns their direction."""
        along, size = _unit(end - start)
        if size >= _GAP:
            self._stroke([start, end], 3)
            self._head(start, -along)
            self._head(end, along)
        else:
            for point, way in ((start, along), (end, -along)):
                self._stroke([point - way * _TAIL, point], 3)
                self._head(point, way)
        return along

    def shift(self, start: Array, end: Array, text: str, box: Box) -> None:
        """A shift that is asked for: a thick arrow and its label [px]."""
        along = self.plain_shift(start, end)
        self._label(text, (start + end) / 2, along, box)

    def plain_shift(self, start: Array, end: Array) -> Array:
        """The arrow of a shift alone; returns its direction."""
        along, size = _unit(end - start)
        if size < _SEEN:  # it runs along the view
            self.ring(start, _RING)
            return along
        tail = end - along * max(size, _TAIL)
        self._stroke([tail, end - along * _HEAD], 6)
        self._head(end, along, 2.0)
        return along

    def place(self, centre: Array, text: str, box: Box) -> None:
        """A place without a length, with its label [px]."""
        self.ring(centre, _RING)
        self._label(text, centre, np.array([0.0, 1.0]), box)

    def frame(self, corners: Array, box: Box) -> None:
        """The frame of another pane, drawn into a box as far as it lies within [px]."""
        left, top, width, height = box
        low = np.clip(corners.min(axis=0), (left + 2, top + 2), None)
        high = np.clip(corners.max(axis=0), None, (left + width - 3, top + height - 3))
        if (high > low).all():
            self._pen.rectangle((*low.tolist(), *high.tolist()), outline=INK, width=3)

    def ring(self, centre: Array, radius: float) -> None:
        """A circle around a place [px]."""
        ends = [*(centre - radius), *(centre + radius)]
        self._pen.ellipse(ends, outline=PANE, width=7)
        inner = [*(centre - radius + 2), *(centre + radius - 2)]
        self._pen.ellipse(inner, outline=INK, width=3)

    def tag(self, text: str, centre: Array, box: Box, ink: Colour = INK) -> None:
        """A small label centred at a place, kept within a box [px]."""
        wide, high = _extent(text, SMALL)
        left, top, width, height = box
        x = float(np.clip(centre[0] - wide / 2, left + 4, left + width - wide - 4))
        y = float(np.clip(centre[1] - high / 2, top + 4, top + height - high - 4))
        self._boxed(text, (int(x), int(y)), SMALL, ink=ink)

    def _label(self, text: str, at: Array, along: Array, box: Box) -> None:
        """A label beside a mark, where the picture is plainest, with a leader to the mark."""
        wide, high = _extent(text, TEXT, bold=True)
        best: tuple[float, Array] | None = None
        size = np.array([wide, high], dtype=float)
        pixels = np.asarray(self.image.convert("L"), dtype=float)
        for angle in np.arange(16) * np.pi / 8:
            way = np.array([np.cos(angle), np.sin(angle)])
            reach = _LEADER + abs(way[0]) * wide / 2
            centre = at + way * reach
            low = centre - size / 2
            if not _within(low, low + size, box):
                continue
            x, y = low.astype(int)
            busy = float(pixels[y : y + high, x : x + wide].std())
            cost = busy + 25.0 * abs(float(way @ along))
            if best is None or cost < best[0] - 1e-6:
                best = cost, low
        corner = best[1] if best is not None else np.array([box[0] + 20.0, box[1] + 20.0])
        nearest = np.clip(at, corner, corner + size)
        self._stroke([at, nearest], 2)
        self._boxed(text, (int(corner[0]), int(corner[1])), TEXT, bold=True)

    def _boxed(
        self,
        text: str,
        corner: tuple[int, int],
        size: int,
        *,
        bold: bool = False,
        ink: Colour = INK,
    ) -> None:
        wide, high = _extent(text, size, bold=bold)
        x, y = corner
        self._pen.rectangle((x, y, x + wide, y + high), fill=PANE, outline=ink, width=2)
        self._pen.text((x + 10, y + 5), text, font=font(size, bold=bold), fill=ink)

    def _stroke(self, points: Sequence[Array], width: int) -> None:
        flat = [(float(point[0]), float(point[1])) for point in points]
        self._pen.line(flat, fill=PANE, width=width + 4)
        self._pen.line(flat, fill=INK, width=width)

    def _head(self, tip: Array, along: Array, larger: float = 1.0) -> None:
        across = np.array([-along[1], along[0]])
        foot = tip - along * _HEAD * larger
        corners = [tip, foot + across * 6.0 * larger, foot - across * 6.0 * larger]
        self._pen.polygon([(float(x), float(y)) for x, y in corners], fill=INK, outline=PANE)


def shortened(text: str, size: int, wide: int) -> str:
    """A text cut to a width [px], with an ellipsis where something is missing."""
    if font(size).getlength(text) <= wide:
        return text
    while text and font(size).getlength(text + "…") > wide:
        text = text[:-1]
    return text.rstrip() + "…"


def wrapped(text: str, size: int, wide: int) -> list[str]:
    """A text in lines no wider than told [px]."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and font(size).getlength(longer) <= wide:
            lines[-1] = longer
        else:
            lines.append(shortened(word, size, wide))
    return lines


def _extent(text: str, size: int, *, bold: bool = False) -> tuple[int, int]:
    return int(font(size, bold=bold).getlength(text)) + 20, size + 16


def _unit(vector: Array) -> tuple[Array, float]:
    size = float(np.linalg.norm(vector))
    return (vector / size, size) if size > 1e-9 else (np.array([0.0, 1.0]), 0.0)


def _within(low: Array, high: Array, box: Box) -> bool:
    left, top, width, height = box
    inside = low >= (left + 6, top + 44), high <= (left + width - 6, top + height - 6)
    return bool(inside[0].all() and inside[1].all())
