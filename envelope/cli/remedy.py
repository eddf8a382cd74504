"""`envelope remedy CELL`: the smallest single change that makes everything pass."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .answer import answer, remark
from .main import COMMANDS, FAILS, GOOD
from .survey_options import (
    at_work,
    cores,
    opened,
    refuse_outputs,
    survey_options,
    write_best,
    write_outputs,
)

if TYPE_CHECKING:
    from ..cell.variants import CellFile
    from ..surveys.remedy import RemedySurvey, Tried
    from ..surveys.remedy_changes import Reach
    from ..surveys.store import Store


@click.command(short_help=COMMANDS["remedy"])
@click.argument("cell", type=click.Path(path_type=Path))
@click.option(
    "--move", type=click.FloatRange(min=0), default=300.0, show_default=True, metavar="MM",
    help="Move arm and pallets sideways by as much, each way.",
)  # fmt: skip
@click.option(
    "--height", type=click.FloatRange(min=0), default=400.0, show_default=True, metavar="MM",
    help="Raise and lower arm and infeed by as much.",
)  # fmt: skip
@click.option(
    "--step", type=click.FloatRange(min=1), default=50.0, show_default=True, metavar="MM",
    help="Look in steps of this first, then between them in fifths.",
)  # fmt: skip
@click.option("--best", type=click.Path(path_type=Path), help="Write the cell so changed.")
@survey_options
def remedy(cell: Path, quiet: bool, **asked: Any) -> int:
    """Find the smallest change that cures a cell in which something fails.

    Tried are, each alone: where the arm stands and how high, the height of the infeed, where
    pallets stand, the heights of routes, other groups of the same cartons, and fewer layers. A
    change that is told was checked whole.

    Exit status: 0 a change cures, or nothing fails; 1 none was found; 2 the input is wrong,
    130 interrupted; the same command then goes on from where it was.
    """
    refuse_outputs(cell, asked, ("results", "best"))
    from ..cell.variants import read_cell_file
    from ..report.remedy import remedy_line, remedy_text
    from ..surveys.remedy import tried_from_json, tried_to_json
    from ..surveys.remedy_changes import Reach

    reach = Reach(asked["move"], asked["height"], asked["step"], asked["step"] / 5.0)
    file = read_cell_file(cell, asked["settings"])
    with opened(file, "remedy", repr(reach), asked, tried_to_json, tried_from_json) as store:
        found = _searched(file, reach, store, asked, quiet)
        answer(remedy_line(found) + "\n" if quiet else remedy_text(found))
        _write(file, found, asked)
    return GOOD if found.cures or not found.trouble else FAILS


def _searched(
    file: "CellFile", reach: "Reach", store: "Store[Tried]", asked: dict[str, Any], quiet: bool
) -> "RemedySurvey":
    from ..surveys.remedy import find_remedies

    with at_work(asked, store, "trying", quiet) as (runner, progress):
        return find_remedies(file, reach, runner, progress, asked["jobs"] or cores())


def _write(file: "CellFile", found: "RemedySurvey", asked: dict[str, Any]) -> None:
    write_outputs(found, asked)
    if asked["best"] is not None and found.cures:
        ladder, tried = found.cures[0]
        write_best(asked["best"], file.text((f"{ladder.key}={tried.step.value}",)))
    elif asked["best"] is not None:
        remark(f"{asked['best']} is not written: there is no change to write.")
