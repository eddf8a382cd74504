"""`envelope new FILE`: a commented starter cell."""

from pathlib import Path

import click

from .answer import remark
from .files import refuse_existing, write_whole
from .main import COMMANDS, GOOD


@click.command(short_help=COMMANDS["new"])
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--force", is_flag=True, help="Write over a file that is already there.")
def new(file: Path, force: bool) -> int:
    """Write a commented starter cell.

    FILE is a small cell that passes as it stands; change its numbers to those of your own.
    """
    refuse_existing([file], force)
    from ..cell.starter import starter_cell

    write_whole(file, starter_cell())
    remark(f"Wrote {file}. Check it with: envelope check {file}")
    return GOOD
