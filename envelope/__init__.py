"""Plan a robot palletizing cell: reach, motion envelope and proved clearances.

The public interface is small, and importing it costs nothing until it is used:

    import envelope

    cell = envelope.load("my-cell.yaml")
    result = envelope.check(cell)
    print(result.verdict)
    for judged in result.placements:
        for finding in judged.findings:
            print(judged.placement.id, finding.check, finding.verdict, finding.message)
"""

from collections.abc import Callable, Collection, Iterable
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .cell.errors import CellError
    from .cell.model import Cell
    from .checks.finding import Finding, Judged, Result

__version__ = "0.1.0"
__all__ = ["Cell", "CellError", "Finding", "Judged", "Result", "__version__", "check", "load"]

_HOMES = {
    "Cell": "cell.model",
    "CellError": "cell.errors",
    "Finding": "checks.finding",
    "Judged": "checks.finding",
    "Result": "checks.finding",
}


def load(path: str | Path, settings: Iterable[str] = ()) -> "Cell":
    """Read a cell file.

    Args:
        path: The cell file.
        settings: Values set on top of the file, each as "KEY=VALUE", with the key as it is
            nested in the file: "pallets.A.at.x=650".

    Raises:
        CellError: With everything that is wrong in the file, each with line and key.
    """
    from .cell.load import load as read

    return read(path, tuple(settings))


def check(
    cell: "Cell",
    *,
    placements: Collection[str] | None = None,
    jobs: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> "Result":
    """Judge every placement of a cell, or only those named.

    Args:
        cell: The cell, from `load`.
        placements: Ids ("A/3/5") of the placements to judge; all of them by default.
        jobs: Number of processes; the answer does not depend on it.
        progress: Called now and then with the number of placements done and in all.

    Returns:
        One `Judged` per placement, with its findings and the motion they are about.
    """
    from .verify import check as judge

    return judge(cell, placements=placements, jobs=jobs, progress=progress)


def __getattr__(name: str) -> Any:
    """Import a public class when it is first asked for."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f".{_HOMES[name]}", __name__), name)
