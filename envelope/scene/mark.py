"""A measured length, a shift or a place in a picture, and the numbers beside it."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..checks.finding import Finding
from ..geometry.frames import Array


@dataclass(frozen=True, slots=True, eq=False)
class Mark:
    """A measured length, or a shift that is asked for.

    Attributes:
        start, end: Shape (3,) [m].
        text: What stands beside it.
        kind: A measured length, a shift from start to end, or only the place between them.
    """

    start: Array
    end: Array
    text: str
    kind: Literal["length", "shift", "place"] = "length"

    @property
    def middle(self) -> Array:
        """Half-way between the ends."""
        return (self.start + self.end) / 2

    @property
    def points(self) -> Array:
        """Both ends, shape (2, 3) [m]."""
        return np.array([self.start, self.end])


def place(point: Array, text: str) -> Mark:
    """The mark of a place, shape (3,) [m]."""
    return Mark(point, point, text, "place")


def in_units(value: float, unit: str) -> str:
    """A value with its unit, no more digits than can be told."""
    text = f"{value:.1f}".removesuffix(".0")
    return f"{text} {unit}".rstrip()


def against_limit(finding: Finding, word: str) -> str:
    """A finding's value and its limit, as in "644 mm, allowed 600 mm"."""
    value = "" if finding.value is None else in_units(finding.value, finding.unit)
    again = "" if " of " in finding.unit else finding.unit  # a long unit is told once
    limit = "" if finding.limit is None else f"{word} {in_units(finding.limit, again)}"
    return ", ".join(filter(None, (value, limit)))


def distance_text(finding: Finding) -> str:
    """A finding's value as it stands beside the measured length.

    Of a proved bracket it is the lower end, rounded down: what is shown is still proved.
    """
    value = finding.value
    if value is None:
        return "overlaps"
    if finding.upper is not None:
        value = float(np.floor(value * 10.0 + 1e-6) / 10.0) + 0.0
    if value >= 0.0:
        return in_units(value, finding.unit)
    if finding.upper is None and finding.check in ("approach", "collision"):
        return f"overlap > {in_units(-value, finding.unit)}"
    return f"overlap {in_units(-value, finding.unit)}"
