"""`envelope survey reach CELL`: what the arm reaches at each layer's height."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .answer import answer
from .main import GOOD
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
    from ..surveys.reach import AskedReach, LevelMap
    from ..surveys.results import ReachSurvey
    from ..surveys.store import Store


@click.command(short_help=SURVEYS["reach"])
@click.argument("cell", type=click.Path(path_type=Path))
@click.option(
    "--step",
    type=click.FloatRange(1.0, 1000.0),
    default=50.0,
    show_default=True,
    help="From one place of the map to the next, in mm.",
)
@click.option(
    "--turns",
    type=click.IntRange(1, 360),
    default=24,
    show_default=True,
    help="How many turns of the tool are tried at each place.",
)
@click.option("--map", "picture", type=click.Path(path_type=Path), help="Draw maps as SVG.")
@report_option
@survey_options
def reach(cell: Path, quiet: bool, **asked: Any) -> int:
    """Say what the arm reaches with tool and group hanging straight down.

    For every height at which a group is put down: over the floor, how many turns of the tool
    are in range of the joints, and the largest joint room over them.

    Exit status: 0, or 2 if the input is wrong, 130 if interrupted.
    """
    refuse_outputs(cell, asked, ("results", "picture", "report"))
    from ..cell.variants import read_cell_file
    from ..report.survey_text import reach_line, reach_text
    from ..surveys.reach import AskedReach, level_from_json, level_to_json

    wanted = AskedReach(asked["step"], asked["turns"])
    file = read_cell_file(cell, asked["settings"])
    with opened(file, "reach", repr(wanted), asked, level_to_json, level_from_json) as store:
        found = _survey(file, wanted, store, asked, quiet)
        answer(reach_line(found) + "\n" if quiet else reach_text(found))
        _write(found, asked)
    return GOOD


def _survey(
    file: "CellFile",
    wanted: "AskedReach",
    store: "Store[LevelMap]",
    asked: dict[str, Any],
    quiet: bool,
) -> "ReachSurvey":
    from ..surveys.reach import survey_reach

    with at_work(asked, store, "mapping", quiet) as (runner, progress):
        return survey_reach(file, wanted, runner, progress)


def _write(found: "ReachSurvey", asked: dict[str, Any]) -> None:
    from ..report.reach_map import reach_map
    from ..report.survey_page import reach_page

    write_outputs(found, asked, picture=reach_map, page=reach_page)
