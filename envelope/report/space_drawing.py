"""The operating space as a drawing: outlines and words in mm, to be written as SVG or DXF.

The plan stands where the cell stands: its coordinates are the world's. The views from the
sides stand beside it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from textwrap import wrap

import numpy as np
from scipy.spatial import ConvexHull

from ..cell.model import Cell
from ..geometry.bodies import Body, Box, frozen
from ..geometry.frames import Array, pose, transform
from ..scene.facets import facets_of
from ..scene.instant import is_floor
from ..surveys.guard_hints import Hint
from ..surveys.space import Space
from ..surveys.space_views import Outline, offset
from .space import CAUTION, WHAT, down, up

VIEWS = (
    ((0, 1), "from above: x to the right, y up"),
    ((0, 2), "from -y: x to the right, z up"),
    ((1, 2), "from +x: y to the right, z up"),
)
_GAP = 600.0  # [mm]: between views
_TEXT = 110.0  # [mm]: height of letters
_READ = 0.03  # of the width of a view by itself: height of letters
_LINE = 100  # letters in a line of the notes


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A line of a drawing; points: shape (n, 2) [mm]; layer: what it is."""

    layer: str
    points: Array
    closed: bool = True


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text; at: where its left end stands [mm]; height of letters [mm]."""

    layer: str
    text: str
    at: tuple[float, float]
    height: float = _TEXT


@dataclass(frozen=True, slots=True)
class Drawing:
    """Lines and words, in the order in which they are drawn."""

    title: str
    lines: tuple[Line, ...]
    words: tuple[Words, ...]


SPACE, CELL, MEASURE, TEXT = "OPERATING SPACE", "CELL", "MEASURES", "TEXT"


def drawing(
    cell: Cell,
    space: Space,
    outlines: tuple[Outline, Outline, Outline],
    hinted: tuple[Hint, ...] = (),
) -> Drawing:
    """The plan and two views from the sides, with measures and the caution.

    Args:
        cell: The cell.
        space: Its operating space.
        outlines: As `VIEWS` lists them.
        hinted: Distances that concern people; those that are one distance get a line in plan.
    """
    solids = list(_solids(cell))
    lines: list[Line] = []
    words: list[Words] = []
    right, left, lowest = 0.0, 0.0, np.inf
    for number, ((axes, caption), outline) in enumerate(zip(VIEWS, outlines, strict=True)):
        view = _View(axes, solids, outline, hinted if number == 0 else ())
        shift = np.zeros(2) if number == 0 else np.array([right + _GAP - view.low[0], 0.0])
        lines += view.lines(shift)
        words += view.words(shift, caption)
        right = float(view.high[0] + shift[0])
        left = left if number else float(view.low[0])
        lowest = min(lowest, float(view.low[1]))
    words += _notes(cell, space, hinted, lowest - 190.0 - 5.5 * _TEXT, left)
    return Drawing(f"{cell.name}: operating space", tuple(lines), tuple(words))


def views(
    cell: Cell, outlines: tuple[Outline, Outline, Outline], hinted: tuple[Hint, ...] = ()
) -> tuple[Drawing, ...]:
    """The same three views, each by itself and without notes."""
    solids = list(_solids(cell))
    found: list[Drawing] = []
    for number, ((axes, caption), outline) in enumerate(zip(VIEWS, outlines, strict=True)):
        view = _View(axes, solids, outline, hinted if number == 0 else ())
        lines, words = view.lines(np.zeros(2)), view.words(np.zeros(2), "")
        letters = max(_TEXT, _READ * float(view.high[0] - view.low[0]))
        named = tuple(replace(each, height=letters) for each in words if each.text)
        found.append(Drawing(caption, tuple(lines), named))
    return tuple(found)


def _solids(cell: Cell) -> Iterator[Array]:
    """Points of everything that stands, in the world, shape (n, 3) each [m]; full pallets."""
    fixtures = [*cell.fixtures, *cell.infeed.fixtures, *(p.fixture for p in cell.pallets)]
    for fixture in fixtures:
        facets = facets_of(fixture.body)
        if not is_floor(facets):
            yield facets.points
    for pallet in cell.pallets:
        for placement in pallet.placements:
            for carton, at in placement.carton_poses():
                half = Box(frozen(np.array(carton.size) / 2))
                body = Body(carton.name, half, at @ pose(z=-carton.size[2] / 2))
                yield transform(pallet.world_from_pallet, facets_of(body).points)
    for entry in cell.mounted.arm.bodies:
        if entry.link == 0:
            yield transform(cell.mounted.world_from_base, facets_of(entry.body).points)


class _View:
    """One view of the cell, in its own place [mm]."""

    def __init__(
        self,
        axes: tuple[int, int],
        solids: list[Array],
        outline: Outline,
        hinted: tuple[Hint, ...],
    ) -> None:
        self._solids = [_hull(points[:, list(axes)]) * 1e3 for points in solids]
        self._rings = [ring * 1e3 for ring in outline.rings]
        self._axes = axes
        self._hints = [
            Line(f"HINT {hint.what.upper()}", ring * 1e3)
            for hint in hinted
            if hint.distance is not None
            for ring in offset(outline, hint.distance / 1e3)
        ]
        hints = [line.points for line in self._hints]
        everything = np.concatenate([*self._solids, *self._rings, *hints])
        self.low, self.high = everything.min(axis=0), everything.max(axis=0)
        self._ends = (outline.low, outline.high)

    def lines(self, shift: Array) -> Iterator[Line]:
        """Everything seen; the operating space last, and its measures."""
        for ring in self._solids:
            yield Line(CELL, ring + shift)
        for ring in self._rings:
            yield Line(SPACE, ring + shift)
        for hint in self._hints:
            yield Line(hint.layer, hint.points + shift)
        low, high = (ends * 1e3 + shift for ends in self._ends)
        below = self.low[1] - 120.0
        yield Line(MEASURE, np.array([[low[0], below], [high[0], below]]), closed=False)
        beside = self.high[0] + shift[0] + 60.0
        yield Line(MEASURE, np.array([[beside, low[1]], [beside, high[1]]]), closed=False)
        for x in (low[0], high[0]):
            yield Line(MEASURE, np.array([[x, below - 40.0], [x, below + 40.0]]), closed=False)
        for y in (low[1], high[1]):
            yield Line(MEASURE, np.array([[beside - 40.0, y], [beside + 40.0, y]]), closed=False)
        if self._axes[1] == 2:
            ends = np.array([[self.low[0] - 100.0, 0.0], [self.high[0] + 100.0, 0.0]])
            yield Line(CELL, ends + shift, closed=False)

    def words(self, shift: Array, caption: str) -> Iterator[Words]:
        """The caption, and how far the operating space goes."""
        low, high = self._ends
        names = ["xyz"[axis] for axis in self._axes]
        at = float(low[0] * 1e3 + shift[0])
        yield Words(TEXT, caption, (float(self.low[0] + shift[0]), float(self.high[1]) + 150.0))
        across = f"{names[0]} {down(low[0])} to {up(high[0])} mm"
        yield Words(MEASURE, across, (at, float(self.low[1]) - 190.0 - _TEXT))
        yield from self._hint_words(shift)
        upward = f"{names[1]} {down(low[1])} to {up(high[1])} mm"
        yield Words(MEASURE, upward, (at, float(self.low[1]) - 190.0 - 2.5 * _TEXT))

    def _hint_words(self, shift: Array) -> Iterator[Words]:
        """Names of the lines of hints: the outermost over its top, the others apart from it."""
        outwards = sorted(self._hints, key=lambda line: -float(np.ptp(line.points[:, 0])))
        for number, line in enumerate(outwards):
            x, y = line.points[:, 0], line.points[:, 1]
            if number == 0:
                at = line.points[int(np.argmax(y))] + [0.0, 30.0]
            elif number == 1:
                at = line.points[int(np.argmin(y))] + [0.0, 40.0]
            else:
                at = line.points[int(np.argmin(x))] + [40.0, 1.5 * _TEXT * (number - 2)]
            at = at + shift
            yield Words(line.layer, line.layer.lower(), (float(at[0]), float(at[1])))


def _hull(points: Array) -> Array:
    """The convex outline of points, shape (n, 2)."""
    return points[ConvexHull(points).vertices]


def _notes(
    cell: Cell, space: Space, hinted: tuple[Hint, ...], top: float, left: float
) -> Iterator[Words]:
    heights = f"Greatest height {up(space.highest.height)} mm"
    if space.lowest is not None:
        heights += f"; lowest of tool and groups {down(space.lowest.height)} mm"
    facts = [
        cell.name,
        WHAT,
        f"{heights}. All measures in mm, over the floor.",
        *(f"Hint: {'. '.join(hint.lines)}." for hint in hinted),
        *(f"Note: {note}" for note in space.notes),
        CAUTION,
    ]
    for fact in facts:
        for line in wrap(fact, _LINE):
            yield Words(TEXT, line, (left, top))
            top -= 1.6 * _TEXT
        top -= 0.6 * _TEXT
