"""`envelope pair CELL`: the layers of a cell taken in groups, in the fewest cycles that pass."""

import shutil
import sys
from pathlib import Path
from typing import Any

import click

from .answer import answer, remark
from .cores import cores
from .main import COMMANDS, FAILS, GOOD
from .progress import progress_bar
from .survey_options import refuse_outputs, write_best

PIPED_WIDTH = 100


@click.command(short_help=COMMANDS["pair"])
@click.argument("cell", type=click.Path(path_type=Path))
@click.option("--best", type=click.Path(path_type=Path), help="Write the cell file, if it passes.")
@click.option(
    "--groups",
    metavar="NAME,NAME,...",
    help="Groups that may be carried; what is left over is carried singly.  [default: those of "
    "the cell file, else the usual rows of two and three]",
)
@click.option("--in-parts", is_flag=True, help="Groups may be put down in parts as well.")
@click.option("--set", "settings", multiple=True, metavar="KEY=VALUE", help="Change one value.")
@click.option(
    "--jobs", type=click.IntRange(min=1), help="Number of processes.  [default: all cores]"
)
@click.option("--quiet", is_flag=True, help="Print the answer in one line; no progress.")
@click.option("--force", is_flag=True, help="Write over a file that is already there.")
def pair(cell: Path, quiet: bool, settings: tuple[str, ...], **asked: Any) -> int:
    """Take layers in groups, in the fewest cycles that pass every check.

    The patterns of CELL are taken apart into single cartons. Groups that fail a check are
    refused, and the layer is solved again until all passes. Where a pattern leaves gaps, cartons
    of a group may come to stand up to 5 mm off their places.

    Exit status: 0 the way that was found passes, 1 none passes, 2 the input is wrong,
    130 interrupted.
    """
    refuse_outputs(cell, asked, ("best",))
    best: Path | None = asked["best"]
    from ..cell.variants import read_cell_file
    from ..report.pairing import pairing_line, pairing_text
    from ..surveys.pairing import pair as search

    file = read_cell_file(cell, settings)
    names = None if asked["groups"] is None else names_of(asked["groups"])
    with progress_bar("checking", wanted=not quiet) as progress:
        jobs = asked["jobs"] or cores()
        found = search(file, names, in_parts=asked["in_parts"], jobs=jobs, progress=progress)
    answer(pairing_line(found) + "\n" if quiet else pairing_text(found, _width()))
    if best is not None and found.passes:
        write_best(best, found.file.content.decode())
    elif best is not None:
        remark(f"{best} is not written: a cell file that fails is no use.")
    return GOOD if found.passes else FAILS


def names_of(text: str) -> tuple[str, ...]:
    """Names out of a list with commas. Raises click.UsageError where there is none."""
    names = tuple(name.strip() for name in text.split(",") if name.strip())
    if not names:
        raise click.UsageError("--groups names no group")
    return names


def _width() -> int:
    if not sys.stdout.isatty():
        return PIPED_WIDTH
    return min(max(shutil.get_terminal_size().columns, 60), 120)
