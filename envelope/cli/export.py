"""Files for other programs: the cell as a 3D model."""

from pathlib import Path

import click

from ..cell.model import Cell
from ..checks.finding import Result
from .answer import remark


def export(cell: Cell, result: Result, placement: str | None, path: Path) -> None:
    """Write the cell as binary glTF, at a placement's turn.

    Raises:
        click.ClickException: The file cannot be written.
    """
    from ..scene.export import write_glb

    try:
        write_glb(path, cell, result, placement)
    except OSError as error:
        raise click.ClickException(f"{path} cannot be written: {error.strerror}") from None
    remark(f"Wrote {path}")
