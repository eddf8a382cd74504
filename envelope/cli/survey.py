"""`envelope survey WHAT CELL`: a group of surveys, each loaded only when it is asked for."""

from importlib import import_module

import click

from .main import COMMANDS

# The help of the group is written from here, so that it need not import any survey.
SURVEYS: dict[str, str] = {
    "base": "Say where the arm stands best, or what any other number should be.",
    "stack": "Say how many layers pass, and what stops the next one.",
    "reach": "Map what the arm reaches at each layer's height.",
    "groups": "Say what each way of grouping brings: fit, speed, load and hold.",
}


class LazySurveys(click.Group):
    """A group whose commands live in the modules survey_NAME."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order in which a user meets them."""
        return list(SURVEYS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import one survey; None if there is none of that name."""
        if cmd_name not in SURVEYS:
            return None
        return getattr(import_module(f".survey_{cmd_name}", __package__), cmd_name)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of surveys without importing them."""
        with formatter.section("Surveys"):
            formatter.write_dl(list(SURVEYS.items()))


@click.group(cls=LazySurveys, short_help=COMMANDS["survey"])
def survey() -> None:
    """Check many variants of a cell and say which is best.

    A survey that is interrupted leaves a survey file; the same command goes on from there.
    The answer does not depend on how many processes or machines worked on it.
    """
