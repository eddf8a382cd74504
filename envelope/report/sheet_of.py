"""A cell and what a check found, as a set-up sheet."""

from ..cell.model import Cell
from ..checks.finding import Result
from .sheet import Sheet
from .sheet_detectors import detectors
from .sheet_groups import groups
from .sheet_once import once
from .sheet_pallets import pallets
from .sheet_placements import placements
from .sheet_solids import solids
from .text import verdict_line


def set_up_sheet(cell: Cell, result: Result) -> Sheet:
    """Everything that is typed in on site, in the order in which it is needed.

    Args:
        cell: The cell as planned.
        result: What a check found at all its placements.
    """
    verdict = verdict_line(result, cell)
    return Sheet(
        cell.name,
        cell.sha256,
        verdict,
        (
            once(cell, result, verdict),
            groups(cell, result),
            detectors(cell, result),
            pallets(cell),
            *placements(cell, result),
            solids(cell),
        ),
    )
