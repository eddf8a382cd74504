"""Maps over a grid of values, drawn over the plan of a cell: panels in rows on one sheet."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from ..surveys.plan import Outline
from .svg import Svg

# Five colours of viridis (N. Smith and S. van der Walt, 2015, CC0): told apart by the
# colour-blind, and by their lightness alone.
_SCALE = ((68, 1, 84), (59, 82, 139), (33, 145, 140), (94, 201, 98), (253, 231, 37))
OPEN = "#d9d9d9"  # not computed
_NONE = "#ffffff"  # no cell, or nothing there
BEST = "#d55e00"  # vermilion of the palette of Okabe and Ito (2008)
_LINES = {"placement": ("#000000", 0.5), "pallet": ("#000000", 1.6)}
_PLAIN_LINE = ("#777777", 1.2)
_WIDE, _HIGH = 320.0, 300.0  # of a panel [px]
_LEFT, _GAP, _TOP, _FOOT = 64.0, 44.0, 92.0, 58.0  # around panels
_DARK = 0.42  # share of the scale below which white is read better than black
_HEAD = 50.0  # [px]: of a panel, over its map
_NUMBERED = 34.0  # [px]: tiles as wide as this show their value
_AT_LEAST = 400.0  # [mm]: of the plan shown around a survey of little width


@dataclass(frozen=True, slots=True)
class Tile:
    """One place of a map.

    Attributes:
        value: What its colour shows; None where it was not computed.
        told: Shown when the pointer rests on it.
        none: Whether nothing is there to be shown.
        best: Whether it is the best of the whole survey.
    """

    x: float
    y: float
    value: float | None
    told: str
    none: bool = False
    best: bool = False


@dataclass(frozen=True, slots=True)
class Panel:
    """One map.

    Attributes:
        title: Over it.
        low, high: Values at the ends of the colour scale.
        unit: Of these.
        axes: What runs across and up.
        plan: What stands in the cell.
        stands: Where the arm stands (x, y), or None.
        around: How much of the plan is shown on each side, as a share of the surveyed width.
    """

    title: str
    tiles: tuple[Tile, ...]
    low: float
    high: float
    unit: str
    axes: tuple[str, str]
    plan: tuple[Outline, ...] = ()
    stands: tuple[float, float] | None = None
    around: float = 1.0


def sheet(title: str, remarks: Sequence[str], rows: Sequence[tuple[str, Sequence[Panel]]]) -> str:
    """Panels in rows, each row with its heading, under a title and remarks."""
    svg = Svg()
    svg.text(_LEFT, 30.0, title, 18.0, bold=True)
    for number, remark in enumerate(remarks):
        svg.text(_LEFT, 52.0 + 17.0 * number, remark, 12.0)
    top = _TOP + 17.0 * max(len(remarks) - 1, 0)
    for heading, panels in rows:
        if heading:
            svg.text(_LEFT, top, heading, 14.0, bold=True)
            top += 26.0
        highs = [
            _draw(svg, panel, _LEFT + number * (_WIDE + _GAP + _LEFT), top)
            for number, panel in enumerate(panels)
        ]
        top += max(highs, default=0.0) + _FOOT + 40.0
    columns = max((len(panels) for _, panels in rows), default=1)
    return svg.drawn(_LEFT + columns * (_WIDE + _GAP + _LEFT), top, title)


def single(panel: Panel) -> str:
    """One panel by itself, to be placed on a page."""
    svg = Svg()
    high = _draw(svg, panel, _LEFT, 18.0)
    return svg.drawn(_LEFT + _WIDE + 12.0, high + _FOOT, panel.title)


class _View:
    """The part of the plan that a panel shows, and its scale."""

    def __init__(self, panel: Panel, left: float, top: float) -> None:
        xs, ys = sorted({t.x for t in panel.tiles}), sorted({t.y for t in panel.tiles})
        self.xs, self.ys = xs, ys
        self.step = (_step(xs), _step(ys))
        self.left, self.top = left, top
        x, y = _ends(xs, self.step[0]), _ends(ys, self.step[1])
        if panel.plan:
            width = max(x[1] - x[0], y[1] - y[0])
            around = panel.around * width if width > 2.0 * _AT_LEAST else _AT_LEAST
            x = _grown(x, around, [p[0] for o in panel.plan for p in o.points])
            y = _grown(y, around, [p[1] for o in panel.plan for p in o.points])
        self.x, self.y = x, y
        self.scale = (_WIDE / (x[1] - x[0]), _HIGH / (y[1] - y[0]))
        if panel.plan or panel.axes == ("x", "y"):
            self.scale = (min(self.scale), min(self.scale))
        elif len(ys) == 1:
            self.scale = (self.scale[0], 48.0 / (y[1] - y[0]))
        self.wide = (x[1] - x[0]) * self.scale[0]
        self.high = (y[1] - y[0]) * self.scale[1]

    def at(self, x: float, y: float) -> tuple[float, float]:
        """A point on the drawing."""
        return (
            self.left + (x - self.x[0]) * self.scale[0],
            self.top + (self.y[1] - y) * self.scale[1],
        )

    def box(self, tile: Tile) -> tuple[float, float, float, float]:
        """Corner and size of a tile on the drawing."""
        x, y = self.at(tile.x - self.step[0] / 2, tile.y + self.step[1] / 2)
        return x, y, self.step[0] * self.scale[0], self.step[1] * self.scale[1]


def _draw(svg: Svg, panel: Panel, left: float, top: float) -> float:
    """One panel with its corner at (left, top); returns its height."""
    svg.text(left, top, panel.title, 13.0)
    _scale_bar(svg, panel, left, top + 8.0)
    view = _View(panel, left, top + _HEAD)
    with svg.clipped(left, view.top, view.wide, view.high):
        for tile in panel.tiles:
            if tile.none and not tile.told:
                continue
            svg.rectangle(*view.box(tile), _colour(tile, panel), tile.told)
        for outline in panel.plan:
            stroke, width = _LINES.get(outline.kind, _PLAIN_LINE)
            svg.outline([view.at(x, y) for x, y in outline.points], stroke, width)
        for outline in panel.plan:
            _name(svg, view, outline)
        _numbers(svg, view, panel)
        if panel.stands is not None:
            x, y = view.at(*panel.stands)
            svg.circle(x, y, 6.0, BEST, 2.5)
            svg.text(x + 10.0, y + 4.0, "arm", 12.0, halo=True)
    for tile in panel.tiles:
        if tile.best:
            _frame(svg, view.box(tile))
    svg.outline(_corners(left, view.top, view.wide, view.high), "#bbbbbb", 1.0)
    _axes(svg, view, panel)
    return view.high + _HEAD


def _corners(x: float, y: float, wide: float, high: float) -> list[tuple[float, float]]:
    return [(x, y), (x + wide, y), (x + wide, y + high), (x, y + high)]


def _frame(svg: Svg, box: tuple[float, float, float, float]) -> None:
    """The frame around the best."""
    x, y, wide, _ = box
    svg.outline(_corners(*box), BEST, 3.0)
    svg.text(x + wide / 2, y - 5.0, "best", 12.0, "middle", halo=True, bold=True)


def _name(svg: Svg, view: _View, outline: Outline) -> None:
    """The name of what stands there, in the part of it that is shown."""
    if outline.kind == "placement":
        return
    x = [min(max(px, view.x[0]), view.x[1]) for px, _ in outline.points]
    y = [min(max(py, view.y[0]), view.y[1]) for _, py in outline.points]
    wide, high = (max(x) - min(x)) * view.scale[0], (max(y) - min(y)) * view.scale[1]
    if min(wide, high) < 24.0:  # a rail, say; or hardly in sight
        return
    middle = view.at((min(x) + max(x)) / 2, (min(y) + max(y)) / 2)
    svg.text(middle[0], middle[1] + 4.0, outline.name, 11.0, "middle", halo=True)


def _numbers(svg: Svg, view: _View, panel: Panel) -> None:
    """Values on tiles that are large enough."""
    for tile in panel.tiles:
        x, y, wide, high = view.box(tile)
        if tile.value is None or tile.none or wide < _NUMBERED or high < 14.0:
            continue
        place = (x + wide / 2, y + high / 2 + 4.0)
        fill = "#ffffff" if _share(tile.value, panel) < _DARK else "#000000"
        svg.text(*place, _number(tile.value), 11.0, "middle", fill=fill)


def _number(value: float) -> str:
    text = f"{value:.1f}" if abs(value) < 100.0 else f"{value:.0f}"
    return text.removesuffix(".0")


def _scale_bar(svg: Svg, panel: Panel, left: float, top: float) -> None:
    """What the colours mean."""
    svg.text(left, top + 12.0, _number(panel.low))
    start = left + 44.0
    for k in range(24):
        value = panel.low + (panel.high - panel.low) * k / 23.0
        fill = _colour(Tile(0.0, 0.0, value, ""), panel)
        svg.rectangle(start + 5.0 * k, top + 3.0, 5.4, 11.0, fill)
    svg.text(start + 128.0, top + 12.0, f"{_number(panel.high)} {panel.unit}")
    if any(tile.value is None and not tile.none for tile in panel.tiles):
        svg.rectangle(left + 230.0, top + 3.0, 11.0, 11.0, OPEN)
        svg.text(left + 245.0, top + 12.0, "not computed")


def _axes(svg: Svg, view: _View, panel: Panel) -> None:
    """Values along both edges, and what they are."""
    bottom = view.top + view.high
    for x in _ticks(view.xs, view.scale[0]):
        place = view.at(x, 0.0)[0]
        svg.line((place, bottom), (place, bottom + 5.0), "#555555", 1.0)
        svg.text(place, bottom + 17.0, _place(x), 11.0, "middle")
    unit = " [mm]" if panel.plan or panel.axes == ("x", "y") else ""
    svg.text(view.left + view.wide / 2, bottom + 33.0, panel.axes[0] + unit, 12.0, "middle")
    if not panel.axes[1]:
        return
    for y in _ticks(view.ys, view.scale[1]):
        place = view.at(0.0, y)[1]
        svg.line((view.left - 5.0, place), (view.left, place), "#555555", 1.0)
        svg.text(view.left - 8.0, place + 4.0, _place(y), 11.0, "end")
    svg.text(view.left - 56.0, view.top - 8.0, panel.axes[1] + unit, 12.0)


def _place(value: float) -> str:
    """A number along an edge: in full where it is short, else no finer than the map."""
    text = f"{value:g}"
    return text if len(text) < 6 else f"{value:.0f}"


def _ticks(values: Sequence[float], scale: float) -> list[float]:
    """The ends of what was surveyed, and its middle where that is a value and has room."""
    room = (values[-1] - values[0]) * scale > 100.0
    middle = [values[len(values) // 2]] if room and len(values) % 2 and len(values) > 2 else []
    return sorted({values[0], *middle, values[-1]})


def _step(values: Sequence[float]) -> float:
    """The least distance of neighbours; of a single value something to be seen."""
    return min((b - a for a, b in pairwise(values)), default=100.0)


def _ends(values: Sequence[float], step: float) -> tuple[float, float]:
    return values[0] - step / 2, values[-1] + step / 2


def _grown(ends: tuple[float, float], by: float, others: Sequence[float]) -> tuple[float, float]:
    """Ends farther out, but no farther than there is something to be seen."""
    low, high = min(*others, ends[0]), max(*others, ends[1])
    return max(low - 40.0, ends[0] - by), min(high + 40.0, ends[1] + by)


def _share(value: float, panel: Panel) -> float:
    span = panel.high - panel.low
    return min(max((value - panel.low) / span, 0.0), 1.0) if span > 0.0 else 1.0


def _colour(tile: Tile, panel: Panel) -> str:
    if tile.none:
        return _NONE
    if tile.value is None:
        return OPEN
    place = _share(tile.value, panel) * (len(_SCALE) - 1)
    k = min(int(place), len(_SCALE) - 2)
    mixed = [a + (b - a) * (place - k) for a, b in zip(_SCALE[k], _SCALE[k + 1], strict=True)]
    return "#" + "".join(f"{round(part):02x}" for part in mixed)
