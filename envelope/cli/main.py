"""The `envelope` command: a group of commands, each loaded only when it is asked for.

Exit status: 0 nothing fails, 1 something fails or could not be checked,
2 the input is wrong, 3 a second opinion that was asked for disagrees, 130 interrupted;
70 stands for a mistake in the program itself.
"""

import gc
import io
import os
import sys
from collections.abc import Sequence
from importlib import import_module

import click

from .. import __version__
from .answer import remark

GOOD = 0
FAILS = 1
WRONG_INPUT = 2
DISAGREES = 3
_COLLECTING = 50_000  # new objects before a look for cycles: results are many, and trees
PROGRAM_ERROR = 70  # what sysexits.h calls an internal software error
INTERRUPTED = 130

# The help of the group is written from here, so that it need not import any command.
COMMANDS = {
    "new": "Write a commented starter cell.",
    "check": "Say whether everything in a cell fits, and if not, what touches what.",
    "survey": "Check many variants of a cell and say which is best.",
    "remedy": "Find the smallest change that cures a cell in which something fails.",
    "space": "Say what room the job takes up: outline on the floor, heights, what is near.",
    "pair": "Take layers in groups, in the fewest cycles that pass every check.",
    "sheet": "Print the set-up sheet: what to type in on the shop floor.",
    "show": "Look at a cell: turn it, step through the order, jump to what fails.",
    "arms": "List the generic arms, or write one as URDF.",
    "schema": "Write the JSON Schema of the cell file, for editors.",
}


class LazyGroup(click.Group):
    """A group whose commands live in modules of the same name."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order in which a user meets them."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import one command; None if there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        return getattr(import_module(f".{cmd_name}", __package__), cmd_name)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="envelope")
def commands() -> None:
    """Plan a robot palletizing cell.

    Finds out whether the arm can pick every group of cartons and put it down at every
    placement, and if not, which placement fails, when, what touches what, and by how much.

    Exit status: 0 nothing fails, 1 something fails or could not be checked,
    2 the input is wrong, 3 a second opinion that was asked for disagrees, 130 interrupted.
    """


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command.

    Args:
        arguments: Without the program's name; those of the process by default.

    Returns:
        The exit status.
    """
    gc.set_threshold(_COLLECTING)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a console that lacks a letter shows its code
            stream.reconfigure(errors="backslashreplace")
    try:
        status = commands.main(
            None if arguments is None else list(arguments),
            prog_name="envelope",
            standalone_mode=False,
        )
    except (click.Abort, KeyboardInterrupt):
        remark("Interrupted.")
        return INTERRUPTED
    except click.ClickException as error:
        error.show()
        return WRONG_INPUT
    except Exception as error:
        return _trouble(error)
    return status if isinstance(status, int) else GOOD


def _trouble(error: Exception) -> int:
    """Tell an error that came out of the work itself."""
    from ..cell.errors import CellError
    from ..surveys.errors import SurveyError

    if isinstance(error, SurveyError):
        remark(f"Error: {error}")
        return WRONG_INPUT
    if isinstance(error, CellError):
        remark(str(error))
        return WRONG_INPUT
    if os.environ.get("ENVELOPE_DEBUG"):
        raise error
    kind, text = type(error).__name__, " ".join(str(error).split())
    remark(
        f"envelope {__version__} made a mistake ({kind}: {text}). Please report it, with the "
        "cell file and the traceback that ENVELOPE_DEBUG=1 in the environment shows."
    )
    return PROGRAM_ERROR
