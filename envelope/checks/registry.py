"""The checks, in the order in which they are reported: one line each."""

from collections.abc import Callable

from . import approach, collision, hold, load, offset, reach
from .case import Case
from .finding import Finding


def _stacking(case: Case) -> list[Finding]:
    """Judged for a whole pallet at once; see `stacking`."""
    return list(case.stacked)


CHECKS: dict[str, Callable[[Case], list[Finding]]] = {
    "stacking": _stacking,
    "reach": reach.check,
    "approach": approach.check,
    "offset": offset.check,
    "collision": collision.check,
    "load": load.check,
    "hold": hold.check,
}
