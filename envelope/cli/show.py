"""`envelope show CELL`: a window with the cell, or a picture or a scene without one."""

from collections.abc import Collection
from pathlib import Path
from typing import TYPE_CHECKING

import click

from .answer import remark
from .export import export
from .files import refuse_existing
from .main import COMMANDS, GOOD

if TYPE_CHECKING:
    from ..cell.model import Cell
    from ..checks.finding import Result


@click.command(short_help=COMMANDS["show"])
@click.argument("cell", type=click.Path(path_type=Path))
@click.option("--placement", metavar="ID", help="Start at this one, as in A/3/5.")
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    help="Draw a picture (PNG) instead: the placement's problem or tightest spot, or the cell.",
)
@click.option(
    "--glb",
    type=click.Path(path_type=Path),
    help="Write a 3D model (binary glTF) instead, with the placement's motion.",
)
@click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="KEY=VALUE",
    help="Show the same cell with one value changed, as in pallets.A.at.x=650.",
)
@click.option("--force", is_flag=True, help="Write over a file that is already there.")
def show(
    cell: Path,
    placement: str | None,
    picture: Path | None,
    glb: Path | None,
    settings: tuple[str, ...],
    force: bool,
) -> int:
    """Look at a cell: turn it, step through the order, jump to what fails.

    CELL is a cell file. The window opens at once; placements are checked while it is open.
    With --picture or --glb nothing is opened, and no display is needed.

    Keys: right and left step through the order, n and b jump to the next and previous
    problem, w to the worst instant, space plays; h lists them all.
    """
    outputs = [path for path in (picture, glb) if path is not None]
    if not outputs:
        from .window import show_window

        return show_window(cell, settings, placement)
    refuse_existing(outputs, force, inputs=[cell])
    model, result = _judged(cell, settings, placement)
    if picture is not None:
        _draw(model, result, placement, picture)
    if glb is not None:
        export(model, result, placement, glb)
    return GOOD


def _judged(path: Path, settings: tuple[str, ...], placement: str | None) -> "tuple[Cell, Result]":
    from ..cell.load import load
    from ..verify import check
    from .cores import cores
    from .progress import progress_bar
    from .selection import select

    cell = load(path, settings)
    chosen: Collection[str] | None = select(cell, [placement] if placement else [], [], [])
    with progress_bar("checking") as progress:
        return cell, check(cell, placements=chosen, jobs=cores(), progress=progress)


def _draw(cell: "Cell", result: "Result", placement: str | None, picture: Path) -> None:
    """Raises click.ClickException if it cannot be drawn."""
    from .pictures import draw_one_apart

    trouble = draw_one_apart(cell, result, placement, picture)
    if trouble is not None:
        raise click.ClickException(trouble)
    remark(f"Drew {picture}")
