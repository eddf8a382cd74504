"""Which clearances a survey compares: those that are asked for in full, and overlaps that fail."""

from collections.abc import Iterable, Iterator

from ..cell.model import Cell
from ..checks.finding import Finding

_NOTHING = 1e-6  # [mm]


def asked_in_full(cell: Cell, findings: Iterable[Finding]) -> Iterator[Finding]:
    """Findings with a clearance that is asked for in full, or with one that fails.

    Close to the placement less and less is asked for, down to nothing at rest: what is left
    there says how tight the pattern is, not how good the layout or the grouping.

    Args:
        cell: The cell that was judged.
        findings: All findings of some placements.
    """
    least = min((m * 1e3 for m in cell.clearances.of_pairs if m > 0.0), default=0.0) - _NOTHING
    for finding in findings:
        if finding.check not in ("approach", "collision"):
            continue
        if finding.value is None or finding.limit is None:
            continue
        if finding.limit >= max(least, _NOTHING) or finding.verdict == "fail":
            yield finding
