"""The operating space as a page: how high it gets over each place of the floor, and its outline."""

import math

import numpy as np
from numpy.typing import NDArray

from ..cell.model import Cell
from ..surveys.guard_hints import Hint
from ..surveys.space import Space, Swept
from ..surveys.space_clearance import Nearest
from ..surveys.space_views import Outline
from .answer_page import Answer, Drawing, Table, Value, as_page
from .map_drawing import Panel, Tile, sheet
from .space import CAUTION, WHAT, as_text, clearance, down, up, where
from .space_drawing import Drawing as SpaceDrawing
from .space_svg import as_svg

_TILE = 0.1  # [m]: least width of a place on the map


def space_page(
    cell: Cell,
    found: Space,
    plan: Outline,
    drawn: SpaceDrawing,
    near: tuple[Nearest, ...],
    hinted: tuple[Hint, ...] = (),
) -> str:
    """The page.

    Args:
        cell: The cell.
        found: Its operating space.
        plan: The outline on the floor.
        drawn: The drawing of outline and sides.
        near: What is nearest to each obstacle.
        hinted: What is hinted at about distances that concern people.
    """
    line = f"HIGHEST: {up(found.highest.height)} mm, {where(found.highest)}"
    words = (
        "The greatest height over each place of the floor that arm, tool and groups get to; the "
        "lowest beside it under the pointer. White: nothing gets there."
    )
    return as_page(
        Answer(
            cell.name,
            "Operating space: what arm, tool and groups sweep doing this job",
            None,
            line,
            as_text(cell.name, found, plan, near, hinted),
            cell.sha256,
            (
                Drawing("Heights over the floor", words, _heights(found.swept)),
                Drawing("Outline and sides", "Drawn to scale.", as_svg(drawn), False),
            ),
            (Table("Nearest to what stands", _NEAR, tuple(_row(each) for each in near)),)
            if near
            else (),
            (WHAT, *found.notes),
            CAUTION,
        )
    )


_NEAR = ("what stands", "clearance [mm]", "what comes near", "placement", "segment")


def _row(each: Nearest) -> tuple[Value, ...]:
    return (each.name, clearance(each), each.mover, each.placement, each.segment)


def _heights(swept: Swept) -> str:
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
    panel = Panel("greatest height", tuple(tiles), min(tops), max(tops), "mm", ("x", "y"))
    return sheet("Heights over the floor", ("Seen from above.",), [("", (panel,))])


def _tile(middle: tuple[float, float], low: float, high: float) -> Tile:
    """One place; its heights rounded so that they are never told too small a space."""
    x, y = (round(value * 1e3, 1) for value in middle)
    return Tile(x, y, float(up(high)), f"x={x:g}, y={y:g}: from {down(low)} to {up(high)} mm")
