"""`envelope survey base CELL`: where the arm stands best."""

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
    write_best,
    write_outputs,
)

if TYPE_CHECKING:
    from ..cell.variants import CellFile
    from ..surveys.base import Asked
    from ..surveys.judging import Judgement
    from ..surveys.results import BaseSurvey
    from ..surveys.store import Store

RANGE = "FROM:TO:STEP"


@click.command(short_help=SURVEYS["base"])
@click.argument("cell", type=click.Path(path_type=Path))
@click.option("--x", metavar=RANGE, help="Range of arm.at.x, in mm.")
@click.option("--y", metavar=RANGE, help="Range of arm.at.y, in mm.")
@click.option("--z", metavar=RANGE, help="Range of arm.at.z, in mm.")
@click.option("--yaw", metavar=RANGE, help="Range of arm.at.yaw, in degrees.")
@click.option(
    "--vary",
    "varied",
    multiple=True,
    metavar=f"KEY={RANGE}",
    help="Range of any other number, as in pallets.A.at.x=600:900:50; may be repeated.",
)
@click.option(
    "--prefer",
    type=click.Choice(["room", "rate"]),
    default="room",
    show_default=True,
    help="What decides between variants of which equally many placements fail: the least joint "
    "room, or cartons/min.",
)
@click.option("--complete", is_flag=True, help="Judge also what cannot be the best in full.")
@click.option("--map", "picture", type=click.Path(path_type=Path), help="Draw maps as SVG.")
@click.option("--best", type=click.Path(path_type=Path), help="Write the best as a cell file.")
@report_option
@survey_options
def base(cell: Path, quiet: bool, **asked: Any) -> int:
    """Say where the arm stands best, or what any other number should be.

    Every combination of the values ranged is one variant of CELL. Reach is looked at for all of
    them, whole motions for those that may be the best, and clearances for the best twenty.

    Exit status: 0 if at the best nothing fails, 1 if something does, 2 if the input is wrong,
    130 if interrupted; the same command then goes on from where it was.
    """
    refuse_outputs(cell, asked, ("results", "picture", "report", "best"))
    from ..cell.variants import read_cell_file
    from ..report.survey_text import base_line, base_text
    from ..surveys.judging import from_json, to_json

    wanted, file = _ranges(asked), read_cell_file(cell, asked["settings"])
    with opened(file, "base", repr(wanted), asked, to_json, from_json) as store:
        found = _survey(file, wanted, store, asked, quiet)
        answer(base_line(found) + "\n" if quiet else base_text(found))
        _write(file, found, asked)
    judgement = found.best.judgement
    return GOOD if judgement is not None and judgement.failures == (0, False) else FAILS


def _ranges(asked: dict[str, Any]) -> "Asked":
    """What is asked for. Raises SurveyError."""
    from ..surveys.base import Asked
    from ..surveys.errors import SurveyError
    from ..surveys.ranges import Range, read_range, read_setting_range

    def ranges() -> Iterator[Range]:
        yield from (read_setting_range(text) for text in asked["varied"])
        for name in ("z", "yaw", "y", "x"):  # a map is drawn over y and x
            if asked[name] is not None:
                yield read_range(f"arm.at.{name}", asked[name])

    found = tuple(ranges())
    if not found:
        raise SurveyError("nothing is ranged; give --x, --y, --z, --yaw or --vary")
    return Asked(found, asked["prefer"], asked["complete"])


def _survey(
    file: "CellFile",
    wanted: "Asked",
    store: "Store[Judgement]",
    asked: dict[str, Any],
    quiet: bool,
) -> "BaseSurvey":
    from ..surveys.base import survey_base

    with at_work(asked, store, "surveying", quiet) as (runner, progress):
        return survey_base(file, wanted, runner, progress)


def _write(file: "CellFile", found: "BaseSurvey", asked: dict[str, Any]) -> None:
    from ..report.survey_map import base_map
    from ..report.survey_page import base_page

    write_outputs(found, asked, picture=base_map, page=base_page)
    if asked["best"] is not None:
        settings = tuple(f"{key}={value}" for key, value in found.best.settings)
        write_best(asked["best"], file.text(settings))
