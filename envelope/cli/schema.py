"""`envelope schema`: the JSON Schema of the cell file."""

import json
from pathlib import Path

import click

from .answer import answer, remark
from .files import refuse_existing, write_whole
from .main import COMMANDS, GOOD


@click.command(short_help=COMMANDS["schema"])
@click.option("--output", type=click.Path(path_type=Path), help="Write to a file.")
@click.option("--force", is_flag=True, help="Write over a file that is already there.")
def schema(output: Path | None, force: bool) -> int:
    """Write the JSON Schema of the cell file, for editors.

    An editor that is given it completes keys and marks what is wrong while one types.
    Without --output it goes to standard output.
    """
    if output is not None:
        refuse_existing([output], force)
    from ..cell.load import json_schema

    text = json.dumps(json_schema(), indent=2, ensure_ascii=False) + "\n"
    if output is None:
        answer(text)
    else:
        write_whole(output, text)
        remark(f"Wrote {output}")
    return GOOD
