"""`envelope survey groups CELL`: single cartons, pairs, rows, mixed, side by side."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .answer import answer, remark
from .main import FAILS, GOOD
from .pair import names_of
from .survey import SURVEYS
from .survey_options import (
    at_work,
    opened,
    refuse_outputs,
    report_option,
    survey_options,
    write_best,
    write_outputs,
)

if TYPE_CHECKING:
    from ..cell.variants import CellFile
    from ..surveys.grouped import GroupsSurvey


@click.command(short_help=SURVEYS["groups"])
@click.argument("cell", type=click.Path(path_type=Path))
@click.option(
    "--groups",
    "lists",
    multiple=True,
    metavar="NAME,NAME,...",
    help="Try these groups together, with single cartons for what is left over; may be repeated. "
    "[default: single cartons, pair along, pair across, row of three, the file's own, mixed]",
)
@click.option("--picture", type=click.Path(path_type=Path), help="Draw it as SVG.")
@click.option("--best", type=click.Path(path_type=Path), help="Write the best as a cell file.")
@report_option
@survey_options
def groups(cell: Path, quiet: bool, **asked: Any) -> int:
    """Say what each way of grouping brings: fit, speed, load and hold.

    The patterns of CELL are taken apart into single cartons and taken in groups, in the fewest
    cycles, whole and in parts. Each way is a cell of its own, checked whole.

    Exit status: 0 if in at least one way no placement fails, 1 if in none, 2 if the input is
    wrong, 130 if interrupted; the same command then goes on from where it was.
    """
    refuse_outputs(cell, asked, ("results", "picture", "report", "best"))
    from ..cell.variants import read_cell_file
    from ..report.groups import groups_line, groups_text
    from ..surveys.groups import from_json, survey_groups, to_json

    file = read_cell_file(cell, asked["settings"])
    lists = tuple(names_of(text) for text in asked["lists"])
    with opened(file, "groups", repr(lists), asked, to_json, from_json) as store:
        with at_work(asked, store, "surveying", quiet) as (runner, progress):
            found, files = survey_groups(file, lists, runner, progress)
        answer(groups_line(found) + "\n" if quiet else groups_text(found))
        _write(found, files, asked)
    return GOOD if found.best is not None else FAILS


def _write(found: "GroupsSurvey", files: "dict[str, CellFile]", asked: dict[str, Any]) -> None:
    from ..report.groups_page import groups_page
    from ..report.groups_picture import groups_picture

    write_outputs(found, asked, picture=groups_picture, page=groups_page)
    if asked["best"] is not None:
        _write_best(found, files, asked["best"])


def _write_best(found: "GroupsSurvey", files: "dict[str, CellFile]", path: Path) -> None:
    """The best way as a cell file, if it passes as a whole."""
    best = None if found.best is None else found.ways[found.best]
    judged = None if best is None else best.judged
    if best is None or judged is None or judged.verdict not in ("pass", "marginal"):
        remark(f"{path} is not written: no way passes as a whole.")
        return
    write_best(path, files[best.name].content.decode())
