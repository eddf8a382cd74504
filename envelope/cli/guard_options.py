"""Inputs of guard hints: what must be given together, and what has no formula."""

from collections.abc import Callable
from math import isfinite
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from ..surveys.guard_hints import Asked


_OPTIONS = (
    click.option("--fence-height", type=float, help="Hint: how far off a fence this high [mm]."),
    click.option("--risk", type=click.Choice(["low", "high"]), help="Which table, for a fence."),
    click.option(
        "--stopping-time",
        type=float,
        help="Overall time from detection to standstill, measured [s].",
    ),
    click.option(
        "--resolution", type=float, help="Hint: how far off a light curtain that sees this [mm]."
    ),
    click.option(
        "--field-height", type=float, help="Hint: how deep a detection field this high [mm]."
    ),
    click.option(
        "--gap",
        type=click.Choice(["body", "head", "leg", "foot", "toes", "arm", "hand", "finger"]),
        help="Hint: where this part may be crushed against an obstacle.",
    ),
)


def hint_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """The options of hints, put on a command."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def asked_of(options: dict[str, Any]) -> "Asked":
    """The options as inputs of hints.

    Raises:
        click.UsageError: Something is missing, or no formula holds for it.
    """
    from ..surveys.guard_hints import Asked, curtain_distance, fence_distance, field_distance

    for name in ("fence_height", "stopping_time", "resolution", "field_height"):
        value = options[name]
        if value is not None and not (isfinite(value) and value >= 0.0):
            raise click.UsageError(f"{_option(name)} must be a number, 0 or more")
    _together(options, "fence_height", "risk")
    _together(options, "risk", "fence_height")
    for name in ("resolution", "field_height"):
        _together(options, name, "stopping_time")
    if options["stopping_time"] is not None:
        _together(options, "stopping_time", "resolution", "field_height")
    asked = Asked(
        options["fence_height"],
        options["risk"],
        options["stopping_time"],
        options["resolution"],
        options["field_height"],
        options["gap"],
    )
    try:
        if asked.fence is not None and asked.risk is not None:
            fence_distance(asked.fence, asked.risk, 0.0, 0.0)
        if asked.resolution is not None:
            curtain_distance(0.0, asked.resolution)
        if asked.field is not None:
            field_distance(0.0, asked.field)
    except ValueError as error:
        raise click.UsageError(str(error)) from None
    return asked


def _together(options: dict[str, Any], name: str, *others: str) -> None:
    if options[name] is not None and all(options[other] is None for other in others):
        needed = " or ".join(_option(other) for other in others)
        raise click.UsageError(f"{_option(name)} needs {needed} as well")


def _option(name: str) -> str:
    return "--" + name.replace("_", "-")
