"""`envelope check CELL`: the main job."""

import shutil
import sys
from collections.abc import Callable, Collection
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ..cell.model import Cell
from ..checks.finding import Result
from .answer import answer, remark
from .cores import cores
from .export import export
from .files import refuse_existing, refuse_full_folder, write_whole
from .main import COMMANDS, DISAGREES, FAILS, GOOD
from .progress import progress_bar

if TYPE_CHECKING:
    from ..checks.second_opinion import Opinion
    from ..report.taught import Taught
    from .pictures import Drawing

PIPED_WIDTH = 100
NARROWEST, WIDEST = 60, 120  # text is hard to read outside these


_FILES = (
    click.option("--results", type=click.Path(path_type=Path), help="Write everything as JSON."),
    click.option(
        "--csv", type=click.Path(path_type=Path), help="Write a table, one row a placement."
    ),
    click.option(
        "--pictures", type=click.Path(path_type=Path), help="Draw every problem spot into a folder."
    ),
    click.option(
        "--report",
        type=click.Path(path_type=Path),
        help="Write one page that opens in any browser, without a network.",
    ),
    click.option(
        "--glb",
        type=click.Path(path_type=Path),
        help="Write a 3D model: the first placement that fails, else the last, and its motion.",
    ),
)


def _files_to_write(command: Callable[..., int]) -> Callable[..., int]:
    """The options that name files; the first stands on top of the help."""
    for option in reversed(_FILES):
        command = option(command)
    return command


@click.command(short_help=COMMANDS["check"])
@click.argument("cell", type=click.Path(path_type=Path))
@_files_to_write
@click.option("--placement", "placements", multiple=True, help="Only this one, as in A/3/5.")
@click.option("--pallet", "pallets", multiple=True, help="Only this pallet.")
@click.option("--layer", "layers", multiple=True, type=int, help="Only this layer.")
@click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="KEY=VALUE",
    help="Check the same cell with one value changed, as in pallets.A.at.x=650.",
)
@click.option(
    "--taught",
    type=click.Path(path_type=Path),
    help="Check the cell as taught: a table of `envelope sheet`, filled in, and what lost margin.",
)
@click.option(
    "--jobs", type=click.IntRange(min=1), help="Number of processes.  [default: all cores]"
)
@click.option(
    "--second-opinion",
    is_flag=True,
    help="Ask another collision engine as well, at every row of every motion (takes longer).",
)
@click.option("--quiet", is_flag=True, help="Print the verdict only, in one line.")
@click.option("--force", is_flag=True, help="Write over files that are already there.")
def check(cell: Path, quiet: bool, force: bool, settings: tuple[str, ...], **asked: Any) -> int:
    """Say whether everything in a cell fits, and if not, what touches what.

    CELL is a cell file. The options --placement, --pallet, --layer and --set may be
    given more than once.

    Exit status: 0 nothing fails, 1 something fails or could not be checked,
    2 the input is wrong, 3 the second opinion disagrees, 130 interrupted.
    """
    _refuse(cell, force, asked)
    with _getting_ready(asked) as drawing:
        model, result, lost = _judged(cell, settings, asked, quiet)
        if lost and not quiet:
            answer(lost)
        answer(_report(result, model, quiet))
        _write(result, model, asked, drawing)
    if asked["second_opinion"] and not _agrees(result, model, quiet):
        return DISAGREES
    return GOOD if result.verdict in ("pass", "marginal") else FAILS


def _refuse(cell: Path, force: bool, asked: dict[str, Any]) -> None:
    outputs = [
        asked[name] for name in ("results", "csv", "report", "glb") if asked[name] is not None
    ]
    inputs = [cell] if asked["taught"] is None else [cell, asked["taught"]]
    refuse_existing(outputs, force, inputs)
    if asked["pictures"] is not None:
        refuse_full_folder(asked["pictures"], force)


def _getting_ready(asked: dict[str, Any]) -> "AbstractContextManager[Drawing | None]":
    """The process that draws, if pictures are wanted: it gets ready while the check runs."""
    if asked["pictures"] is None and asked["report"] is None:
        return nullcontext()
    from .pictures import Drawing

    return Drawing(ahead=True)


def _judged(
    path: Path, settings: tuple[str, ...], asked: dict[str, Any], quiet: bool
) -> tuple[Cell, Result, str]:
    """The cell, as taught where that is told, with its result; and what lost margin, in words."""
    from ..cell.load import load
    from .selection import ids_to_check, select

    cell = load(path, settings)
    chosen = select(cell, asked["placements"], asked["pallets"], asked["layers"])
    taught = None if asked["taught"] is None else _taught(cell, asked["taught"])

    def judged(model: Cell, label: str) -> Result:
        from ..verify import check as verify

        with progress_bar(label, wanted=not quiet) as progress:
            jobs = asked["jobs"] or cores()
            result = verify(model, placements=chosen, jobs=jobs, progress=progress)
        _refuse_gaps(result, ids_to_check(model) if chosen is None else chosen)
        return result

    planned = judged(cell, "checking")
    if taught is None:
        return cell, planned, ""
    from ..report.margins import as_text as losses_as_text

    if taught.cell is cell:
        return cell, planned, losses_as_text(taught, planned, planned, _width())
    now = judged(taught.cell, "checking as taught")
    return taught.cell, now, losses_as_text(taught, planned, now, _width())


def _taught(cell: Cell, path: Path) -> "Taught":
    """A table that came back, put into the cell. Raises CellError."""
    from ..cell.taught import TaughtFile
    from ..report.taught import put_in

    return put_in(cell, TaughtFile(path))


def _refuse_gaps(result: Result, asked: Collection[str]) -> None:
    """Raises RuntimeError for a placement without an answer: silence is not a pass."""
    answered = {judged.placement.id for judged in result.placements if judged.findings}
    silent = [name for name in asked if name not in answered]
    if silent or not result.placements:
        raise RuntimeError(f"no answer for {', '.join(silent) or 'any placement'}")


def _report(result: Result, cell: Cell, quiet: bool) -> str:
    from ..report.text import as_text, verdict_line

    if quiet:
        return verdict_line(result, cell) + "\n"
    return as_text(result, cell, _width())


def _width() -> int:
    if sys.stdout.isatty():
        return min(max(shutil.get_terminal_size().columns, NARROWEST), WIDEST)
    return PIPED_WIDTH


def _write(result: Result, cell: Cell, asked: dict[str, Any], drawing: "Drawing | None") -> None:
    from ..report.results import as_json
    from ..report.table import as_csv

    if asked["results"] is not None:
        write_whole(asked["results"], as_json(result, cell))
        remark(f"Wrote {asked['results']}")
    if asked["csv"] is not None:
        # The mark in front tells spreadsheets that the table is UTF-8.
        write_whole(asked["csv"], as_csv(result), encoding="utf-8-sig")
        remark(f"Wrote {asked['csv']}")
    if asked["glb"] is not None:
        export(cell, result, None, asked["glb"])
    if asked["pictures"] is not None:
        _draw(result, cell, asked["pictures"], drawing)
    if asked["report"] is not None:
        from .page import write_page

        write_page(result, cell, asked["report"], drawing)


def _draw(result: Result, cell: Cell, folder: Path, drawing: "Drawing | None") -> None:
    from .pictures import draw_apart

    drawn = draw_apart(cell, result, folder, drawing)
    if drawn.trouble is not None:
        remark(drawn.trouble)
        return
    plural = "" if len(drawn.paths) == 1 else "s"
    older = f" ({drawn.older} older files are there as well)" if drawn.older else ""
    remark(f"Drew {len(drawn.paths)} picture{plural} in {folder}{older}")


def _agrees(result: Result, cell: Cell, quiet: bool) -> bool:
    """Ask the other engine, and tell what it says: each disagreement, never settled."""
    from ..checks.second_opinion import second_opinion

    with progress_bar("second opinion", wanted=not quiet) as progress:
        opinion = second_opinion(cell, result, progress)
    for disagreement in opinion.disagreements:
        remark(f"Second opinion disagrees: {disagreement}")
    if opinion.disagreements:
        remark("One of the two engines is wrong: do not trust this result, and please report it.")
    elif not quiet:
        answer(
            f"Second opinion: {opinion.asked} configurations, {opinion.pairs} pairs of bodies "
            f"asked of another engine{_left_open(opinion)}; the two engines agree.\n"
        )
    return not opinion.disagreements


def _left_open(opinion: "Opinion") -> str:
    """What could not be asked, in words."""
    words = ""
    if opinion.undecided:
        words += f", {opinion.undecided} contacts left open"
    if opinion.without:
        plural = "" if len(opinion.without) == 1 else "s"
        words += f", {len(opinion.without)} placement{plural} without a motion"
    return words
