"""Plain SVG, written by hand: no library, no display, the same bytes for the same drawing."""

from collections.abc import Generator, Iterable, Sequence
from contextlib import contextmanager
from math import ceil
from xml.sax.saxutils import escape, quoteattr

_FONT = "font-family:Helvetica,Arial,sans-serif"


class Svg:
    """A drawing, in pixels, with y downwards."""

    def __init__(self) -> None:
        self._items: list[str] = []

    def rectangle(
        self, x: float, y: float, width: float, height: float, fill: str, told: str = ""
    ) -> None:
        """A filled rectangle without a border; told: shown when the pointer rests on it."""
        at = f'x="{_n(x)}" y="{_n(y)}" width="{_n(width)}" height="{_n(height)}"'
        self._add("rect", f'{at} fill="{fill}"', told)

    def outline(
        self, points: Iterable[tuple[float, float]], stroke: str, width: float, dash: str = ""
    ) -> None:
        """A closed line."""
        path = " ".join(f"{_n(x)},{_n(y)}" for x, y in points)
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        line = f'stroke="{stroke}" stroke-width="{_n(width)}" stroke-linejoin="round"{dashed}'
        self._add("polygon", f'points="{path}" fill="none" {line}')

    def circle(self, x: float, y: float, radius: float, stroke: str, width: float) -> None:
        """A ring."""
        ring = f'cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}" fill="none"'
        self._add("circle", f'{ring} stroke="{stroke}" stroke-width="{_n(width)}"')

    def line(self, start: Sequence[float], end: Sequence[float], stroke: str, width: float) -> None:
        """A straight line."""
        ends = f'x1="{_n(start[0])}" y1="{_n(start[1])}" x2="{_n(end[0])}" y2="{_n(end[1])}"'
        self._add("line", f'{ends} stroke="{stroke}" stroke-width="{_n(width)}"')

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size: float = 11.0,
        anchor: str = "start",
        *,
        fill: str = "#222222",
        bold: bool = False,
        halo: bool = False,
    ) -> None:
        """A line of text that starts (or has its middle, or ends) at a point.

        With halo it stands on a white rim, to be read on any ground.
        """
        weight = ";font-weight:bold" if bold else ""
        rim = ";paint-order:stroke;stroke:#ffffff;stroke-width:3px" if halo else ""
        style = f'style="{_FONT};font-size:{_n(size)}px{weight}{rim}"'
        place = f'x="{_n(x)}" y="{_n(y)}" text-anchor="{anchor}"'
        self._items.append(f'<text {place} {style} fill="{fill}">{escape(text)}</text>')

    @contextmanager
    def clipped(self, x: float, y: float, width: float, height: float) -> Generator[None]:
        """What is drawn inside is cut off at a rectangle."""
        box = f'x="{_n(x)}" y="{_n(y)}" width="{_n(width)}" height="{_n(height)}"'
        view = f'viewBox="{_n(x)} {_n(y)} {_n(width)} {_n(height)}"'
        self._items.append(f"<svg {box} {view}>")
        yield
        self._items.append("</svg>")

    def _add(self, name: str, attributes: str, told: str = "") -> None:
        if told:
            self._items.append(f"<{name} {attributes}><title>{escape(told)}</title></{name}>")
        else:
            self._items.append(f"<{name} {attributes}/>")

    def drawn(self, width: float, height: float, title: str) -> str:
        """The whole file, on white."""
        width, height = ceil(width), ceil(height)
        size = f'width="{_n(width)}" height="{_n(height)}" viewBox="0 0 {_n(width)} {_n(height)}"'
        named = f'role="img" aria-label={quoteattr(title)}'
        head = f'<svg xmlns="http://www.w3.org/2000/svg" {size} {named}>'
        ground = f'<rect width="{_n(width)}" height="{_n(height)}" fill="#ffffff"/>'
        return (
            "\n".join([head, f"<title>{escape(title)}</title>", ground, *self._items])
            + "\n</svg>\n"
        )


def _n(value: float) -> str:
    """A number with at most two decimals."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
