"""The operating space as a page: how high it gets over each place of the floor, and its outline."""

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from ..cell.model import Cell
from ..surveys.guard_hints import Hint
from ..surveys.plan import plan_of
from ..surveys.space import Space, Swept
from ..surveys.space_clearance import Nearest
from ..surveys.space_views import Outline
from .answer_page import Answer, Drawing, Figure, Row, Table, Value, as_page
from .map_drawing import Panel, Tile, single
from .space import CAUTION, WHAT, bands, clearance, down, exactness, facts, up, where
from .space_drawing import views
from .space_svg import as_svg

_TILE = 0.1  # [m]: least width of a place on the map
_SCALE = 0.11  # [px/mm]: of the views


def space_page(
    cell: Cell,
    found: Space,
    outlines: tuple[Outline, Outline, Outline],
    near: tuple[Nearest, ...],
    hinted: tuple[Hint, ...] = (),
) -> str:
    """The page.

    Args:
        cell: The cell.
        found: Its operating space.
        outlines: From above and from two sides.
        near: What is nearest to each obstacle.
        hinted: What is hinted at about distances that concern people.
    """
    told = [
        f"{fact.name.capitalize()}: {', '.join(filter(None, (amount, fact.more)))}."
        for fact in facts(found, outlines[0])
        for amount in (f"{fact.number} {fact.unit}".strip(),)
    ]
    told.append(f"Exact to: {exactness(found)}.")
    told += [f"Hint: {' '.join(f'{line}.' for line in hint.lines)}" for hint in hinted]
    return as_page(
        Answer(
            cell.name,
            "Operating space: what arm, tool and groups sweep doing this job",
            None,
            f"HIGHEST POINT: {up(found.highest.height)} mm over the floor: {where(found.highest)}",
            cell.sha256,
            tuple(_drawings(cell, found, outlines, hinted)),
            tuple(_tables(found, near)),
            tuple(told),
            (WHAT, *(f"{note[:1].upper()}{note[1:]}." for note in found.notes)),
            CAUTION,
        )
    )


def _drawings(
    cell: Cell,
    found: Space,
    outlines: tuple[Outline, Outline, Outline],
    hinted: tuple[Hint, ...],
) -> Iterator[Drawing]:
    words = "Drawn to scale: blue is the operating space, grey what stands, with all pallets full."
    if hinted:
        words += " Dashed lines are hints at distances, told below."
    shown = views(cell, outlines, hinted)
    figures = tuple(Figure(as_svg(each, _SCALE), each.title) for each in shown)
    yield Drawing("Outline and sides", words, (Row("", figures),), values=False)
    words = (
        "The greatest height over each place of the floor that arm, tool and groups get to; the "
        "lowest beside it under the pointer. White: nothing gets there."
    )
    heights = Figure(single(_heights(cell, found.swept)))
    yield Drawing("Heights over the floor", words, (Row("", (heights,)),))


def _tables(found: Space, near: tuple[Nearest, ...]) -> Iterator[Table]:
    if near:
        words = "The smallest clearance over all motion, proved."
        yield Table("Nearest to what stands", _NEAR, tuple(_row(each) for each in near), words)
    yield Table(
        "Height profile",
        ("between [mm]", "and [mm]", "x from [mm]", "to [mm]", "y from [mm]", "to [mm]", "m2"),
        tuple((*ends, round(area, 2)) for ends, area in bands(found.swept)),
        "What is covered between two heights.",
    )


_NEAR = ("what stands", "clearance [mm]", "what comes near", "placement", "segment")


def _row(each: Nearest) -> tuple[Value, ...]:
    return (each.name, clearance(each), each.mover, each.placement, each.segment)


def _heights(cell: Cell, swept: Swept) -> Panel:
    """A map of the floor, seen from above."""
    grid, side = swept.grid, max(1, math.ceil(_TILE / swept.grid.side))
    columns = [math.ceil(count / side) for count in grid.count[:2]]
    padded: NDArray[np.bool_] = np.zeros(
        (columns[0] * side, columns[1] * side, grid.count[2]), dtype=np.bool_
    )
    padded[: grid.count[0], : grid.count[1]] = swept.taken
    blocks = padded.reshape(columns[0], side, columns[1], side, -1)
    taken: NDArray[np.bool_] = np.logical_or.reduce(blocks, axis=(1, 3))
    edges, step = grid.edges(2), side * grid.side
    tiles = [
        _tile(
            (grid.origin[0] + (i + 0.5) * step, grid.origin[1] + (j + 0.5) * step),
            float(edges[np.flatnonzero(taken[i, j])[0]]),
            float(edges[np.flatnonzero(taken[i, j])[-1] + 1]),
        )
        for i, j in np.argwhere(np.logical_or.reduce(taken, axis=2))
    ]
    tops = [tile.value for tile in tiles if tile.value is not None]
    x, y = (float(value) * 1e3 for value in cell.mounted.world_from_base[:2, 3])
    axes, title = ("x", "y"), "greatest height"
    plan = plan_of(cell)
    return Panel(title, tuple(tiles), min(tops), max(tops), "mm", axes, plan, (x, y), around=0.05)


def _tile(middle: tuple[float, float], low: float, high: float) -> Tile:
    """One place; its heights rounded so that they are never told too small a space."""
    x, y = (round(value * 1e3, 1) for value in middle)
    return Tile(x, y, float(up(high)), f"x={x:g}, y={y:g}: from {down(low)} to {up(high)} mm")
