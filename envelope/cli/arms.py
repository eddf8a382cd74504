"""`envelope arms [NAME]`: the generic arms."""

from pathlib import Path

import click

from .answer import answer, remark
from .files import refuse_existing, write_whole
from .main import COMMANDS, GOOD


@click.command(short_help=COMMANDS["arms"])
@click.argument("name", required=False)
@click.option("--urdf", type=click.Path(path_type=Path), help="Write the arm NAME as URDF.")
@click.option("--force", is_flag=True, help="Write over a file that is already there.")
def arms(name: str | None, urdf: Path | None, force: bool) -> int:
    """List the generic arms, or write one as URDF.

    NAME is a generic arm or the path of an arm file; with it, the arm's joints are shown.
    The generic arms are drawn up for this program; none is a maker's.
    """
    if name is None:
        if urdf is not None:
            raise click.UsageError("--urdf needs the NAME of an arm")
        _list()
    elif urdf is None:
        _show(name)
    else:
        _export(name, urdf, force)
    return GOOD


def _list() -> None:
    from ..cell.load import arm_names, load_arm
    from ..report.arms import arm_list

    answer(arm_list([load_arm(known) for known in arm_names()]))


def _show(name: str) -> None:
    from ..cell.load import load_arm
    from ..report.arms import arm_sheet

    answer(arm_sheet(load_arm(name)))


def _export(name: str, urdf: Path, force: bool) -> None:
    from ..arm.urdf import to_urdf
    from ..cell.load import load_arm

    refuse_existing([urdf], force, inputs=[Path(name)])
    write_whole(urdf, to_urdf(load_arm(name)))
    remark(f"Wrote {urdf}")
