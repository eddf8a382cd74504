"""Lift and track: an external prismatic axis that carries the mounting base up, or along.

The axis is joint 0 of the chain and slides; behind it comes the arm as it is, its own joints
and links one number further on. The base frame stays where the mounting base stands while
the axis is at 0.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..geometry.frames import Array

AxisKind = Literal["lift", "track"]
_FINEST = 0.025  # [m]: stops of a continuous axis lie this near, as long as they are not too many
_MOST_STOPS = 41


@dataclass(frozen=True, slots=True, eq=False)
class ExternalAxis:
    """A lift or a track under an arm.

    Attributes:
        kind: "lift" or "track"; also the name of its joint and of its fixed part.
        direction: Unit direction of positive travel in the base frame, shape (3,).
        stops: Where it may stand while the arm works, ascending [m].
        in_steps: Whether it has these positions only, rather than any along its travel.
    """

    kind: AxisKind
    direction: Array
    stops: tuple[float, ...]
    in_steps: bool


def stops_between(low: float, high: float, margin: float) -> tuple[float, ...]:
    """Stops to be tried along continuous travel, even from end to end, in whole 0.1 mm.

    Args:
        low: Where the travel starts [m].
        high: Where it ends [m].
        margin: Kept from both ends [m], as far as the travel is long enough.
    """
    margin = min(margin, (high - low) / 2.0)
    first, last = low + margin, high - margin
    count = min(_MOST_STOPS, 1 + int(np.ceil((last - first) / _FINEST - 1e-9)))
    # rounded inwards, so that no stop lies beyond an end
    grid = np.clip(np.round(np.linspace(first, last, count), 4), first, last)
    return tuple(sorted({float(stop) for stop in grid}))


def spread(stops: Sequence[float], count: int) -> tuple[float, ...]:
    """At most so many of some stops, from the first to the last, evenly by number."""
    if len(stops) <= count:
        return tuple(stops)
    chosen = np.round(np.linspace(0, len(stops) - 1, count)).astype(int)
    return tuple(stops[int(index)] for index in chosen)
