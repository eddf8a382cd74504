"""The page for a browser, with still pictures of problem spots where they can be drawn."""

import tempfile
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING

from ..cell.model import Cell
from ..checks.finding import Result
from .answer import remark
from .files import write_whole
from .pictures import Drawing, draw_spots_apart

if TYPE_CHECKING:
    from ..scene.choose import Problem

NO_STILLS = (
    "Still pictures of the problem spots are left out: the machine that wrote this page could not "
    "draw them. The 3D view shows the same spots."
)


def write_page(result: Result, cell: Cell, path: Path, drawing: Drawing | None = None) -> None:
    """Write the page; the pictures are drawn while all else is put together.

    Args:
        result: What a check of the cell found.
        cell: The cell.
        path: The file.
        drawing: The process that draws, if one was started before.
    """
    from ..report.html import Page, pictured

    spots = pictured(result)
    with ThreadPoolExecutor(1) as executor:
        stills = executor.submit(_stills, cell, result, spots, drawing)
        page = Page(result, cell)
        pictures = stills.result()
    missing = NO_STILLS if spots and not pictures else ""
    write_whole(path, page.text(pictures, missing))
    remark(f"Wrote {path}")


def _stills(
    cell: Cell, result: Result, spots: Sequence["Problem"], drawing: Drawing | None
) -> dict[str, bytes]:
    """Pictures by the id of their placement; none, with a remark, where they cannot be drawn."""
    if not spots:
        return {}
    with tempfile.TemporaryDirectory(prefix="envelope-") as folder:
        drawn = draw_spots_apart(cell, result, spots, Path(folder), drawing)
        if drawn.trouble is not None:
            remark(drawn.trouble)
        return {
            spot.judged.placement.id: file.read_bytes()
            for spot, file in zip(spots, drawn.paths, strict=False)
        }
