"""`envelope sheet CELL`: what to type in on the shop floor."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from .answer import answer, remark
from .cores import cores
from .files import refuse_existing, write_whole
from .main import COMMANDS, FAILS, GOOD
from .progress import progress_bar

if TYPE_CHECKING:
    from ..report.sheet import Sheet


@click.command(short_help=COMMANDS["sheet"])
@click.argument("cell", type=click.Path(path_type=Path))
@click.option("--text", type=click.Path(path_type=Path), help="Write the pages as plain text.")
@click.option("--html", type=click.Path(path_type=Path), help="Write the pages for a browser.")
@click.option("--csv", type=click.Path(path_type=Path), help="Write a table to be filled in.")
@click.option("--json", type=click.Path(path_type=Path), help="Write JSON to be filled in.")
@click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="KEY=VALUE",
    help="The same cell with one value changed, as in pallets.A.at.x=650.",
)
@click.option(
    "--jobs", type=click.IntRange(min=1), help="Number of processes.  [default: all cores]"
)
@click.option("--force", is_flag=True, help="Write over files that are already there.")
def sheet(
    cell: Path,
    text: Path | None,
    html: Path | None,
    csv: Path | None,
    json: Path | None,
    settings: tuple[str, ...],
    jobs: int | None,
    force: bool,
) -> int:
    """Print the set-up sheet: what to type in on the shop floor.

    It says what is entered once, per group, per pallet and per placement.

    The pages hold 92 characters and 60 lines, and end with a form feed. Without --text,
    --html, --csv or --json they go to standard output. Fill in what was taught in the CSV
    or JSON file, and give it to `envelope check CELL --taught FILE`.

    Exit status: 0 no placement fails, 1 at least one fails (the sheet says which),
    2 the input is wrong, 130 interrupted.
    """
    outputs = [path for path in (text, html, csv, json) if path is not None]
    refuse_existing(outputs, force, inputs=[cell])
    made, good = _made(cell, settings, jobs)
    from ..report import sheet_files, sheet_text

    if not outputs:
        answer(sheet_text.as_text(made))
    for path, write in (
        (text, sheet_text.as_text),
        (html, sheet_text.as_html),
        (csv, sheet_files.as_csv),
        (json, sheet_files.as_json),
    ):
        if path is not None:
            # The mark in front tells spreadsheets that the table is UTF-8.
            write_whole(path, write(made), encoding="utf-8-sig" if path is csv else "utf-8")
            remark(f"Wrote {path}")
    return GOOD if good else FAILS


def _made(path: Path, settings: tuple[str, ...], jobs: int | None) -> tuple["Sheet", bool]:
    from ..cell.load import load
    from .selection import select

    cell = load(path, settings)
    select(cell, (), (), ())  # says so when there is nothing to do
    from ..verify import check as verify

    with progress_bar("checking", wanted=True) as progress:
        result = verify(cell, jobs=jobs or cores(), progress=progress)
    from ..report.sheet_of import set_up_sheet

    return set_up_sheet(cell, result), result.verdict in ("pass", "marginal")
