"""`envelope survey stack CELL`: how many layers pass."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .answer import answer
from .main import FAILS, GOOD
from .survey import SURVEYS
from .survey_options import (
    at_work,
    opened,
    refuse_outputs,
    report_option,
    survey_options,
    write_outputs,
)

if TYPE_CHECKING:
    from ..cell.variants import CellFile
    from ..surveys.results import Height, StackSurvey
    from ..surveys.stack import AskedHeights
    from ..surveys.store import Store


@click.command(short_help=SURVEYS["stack"])
@click.argument("cell", type=click.Path(path_type=Path))
@click.option(
    "--layers",
    metavar="FROM:TO",
    default="1:20",
    show_default=True,
    help="Numbers of layers to try, from the lowest up; the same for all stacks on pallets.",
)
@click.option("--height", type=float, metavar="MM", help="No stack whose top is higher than this.")
@click.option("--z", metavar="FROM:TO:STEP", help="Also range arm.at.z, in mm.")
@click.option(
    "--vary",
    "varied",
    multiple=True,
    metavar="KEY=FROM:TO:STEP",
    help="Also range any other number, as in pallets.A.at.x=600:900:50; may be repeated.",
)
@click.option("--complete", is_flag=True, help="Try also what is higher than the first that fails.")
@click.option("--picture", type=click.Path(path_type=Path), help="Draw it as SVG.")
@report_option
@survey_options
def stack(cell: Path, quiet: bool, **asked: Any) -> int:
    """Say how many layers pass, and what stops the next one.

    Every number of layers is a cell of its own, checked whole, from the lowest up to the first
    in which a placement fails. Of that one it is told which placements fail, and by how much.

    Exit status: 0 if at least the lowest stack passes, 1 if not, 2 if the input is wrong,
    130 if interrupted; the same command then goes on from where it was.
    """
    refuse_outputs(cell, asked, ("results", "picture", "report"))
    from ..cell.variants import read_cell_file
    from ..report.survey_text import stack_line, stack_text
    from ..surveys.stack import height_from_json, height_to_json

    wanted, file = _heights(asked), read_cell_file(cell, asked["settings"])
    with opened(file, "stack", repr(wanted), asked, height_to_json, height_from_json) as store:
        found = _survey(file, wanted, store, asked, quiet)
        answer(stack_line(found) + "\n" if quiet else stack_text(found))
        _write(found, asked)
    return GOOD if found.columns[found.best].serves else FAILS


def _heights(asked: dict[str, Any]) -> "AskedHeights":
    """What is asked for. Raises SurveyError."""
    from ..surveys.ranges import Range, read_range, read_setting_range
    from ..surveys.stack import AskedHeights, read_layers, without_layers

    def ranges() -> Iterator[Range]:
        yield from (read_setting_range(text) for text in asked["varied"])
        if asked["z"] is not None:
            yield read_range("arm.at.z", asked["z"])

    found = tuple(ranges())
    without_layers(found)
    return AskedHeights(found, read_layers(asked["layers"]), asked["height"], asked["complete"])


def _survey(
    file: "CellFile",
    wanted: "AskedHeights",
    store: "Store[Height]",
    asked: dict[str, Any],
    quiet: bool,
) -> "StackSurvey":
    from ..surveys.stack import survey_stack

    with at_work(asked, store, "surveying", quiet) as (runner, progress):
        return survey_stack(file, wanted, runner, progress)


def _write(found: "StackSurvey", asked: dict[str, Any]) -> None:
    from ..report.stack_picture import stack_picture
    from ..report.survey_page import stack_page

    write_outputs(found, asked, picture=stack_picture, page=stack_page)
