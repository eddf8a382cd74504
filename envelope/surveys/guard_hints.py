"""Distances that concern people, as planning hints: only from inputs that were given.

Each hint says the formula, the edition and where it was read. None of them is a safety
calculation: see the caution that goes with every output.
"""

import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from .guard_tables import GAPS, HIGH_COLUMNS, HIGH_ROWS, LOW_COLUMNS, LOW_ROWS
from .space_clearance import FARTHEST, Nearest

Risk = Literal["low", "high"]

FINEST = 40.0  # [mm]: detection capability up to which fingers and hands are seen
COARSEST = 70.0  # [mm]: up to which arms are seen
HIGHEST_FIELD = 1000.0  # [mm]
_LEAST_FENCE = 1400.0  # [mm]: Source: DGUV Information 209-074 (as read there)
_MOST_GAP = 180.0  # [mm] under the fence; same source


@dataclass(frozen=True, slots=True)
class Asked:
    """What was given [mm, s]; None where nothing was, and then nothing is hinted at.

    Attributes:
        fence: Height of the fence; risk: of the two tables, which.
        stopping: Overall time from detection to standstill.
        resolution: Detection capability of a light curtain that is passed at a right angle.
        field: Height over the floor of a detection field that is walked into.
        gap: Part of the body that may get between, as `GAPS` names it.
    """

    fence: float | None = None
    risk: Risk | None = None
    stopping: float | None = None
    resolution: float | None = None
    field: float | None = None
    gap: str | None = None


@dataclass(frozen=True, slots=True)
class Hint:
    """One hint.

    Attributes:
        what: In a few words, as a drawing calls it.
        distance: To be kept from the operating space [mm], or None where it is a list.
        lines: What it is, by which formula, of which edition, read where.
    """

    what: str
    distance: float | None
    lines: tuple[str, ...]


def hints(asked: Asked, lowest: float, highest: float, near: Sequence[Nearest]) -> tuple[Hint, ...]:
    """All hints that the inputs allow.

    Args:
        asked: The inputs.
        lowest: Of what moves, over the floor [mm].
        highest: The same [mm].
        near: Smallest clearance to each obstacle.
    """
    found: list[Hint] = []
    if asked.fence is not None and asked.risk is not None:
        found.append(_fence(asked.fence, asked.risk, lowest, highest))
    if asked.stopping is not None and asked.resolution is not None:
        found.append(_curtain(asked.stopping, asked.resolution))
    if asked.stopping is not None and asked.field is not None:
        found.append(_field(asked.stopping, asked.field))
    if asked.gap is not None:
        found.append(_gaps(asked.gap, near))
    return tuple(found)


def curtain_distance(stopping: float, resolution: float) -> float:
    """Distance of a light curtain that is passed at a right angle [mm].

    Source: ISO 13855:2010, as reproduced: S = 2000 T + 8 (d - 14) for d up to 40; over 500, S =
    1600 T + 8 (d - 14) but at least 500. For d over 40 up to 70: S = 1600 T + 850. From memory:
    8 (d - 14) not below 0, and S at least 100.

    Raises:
        ValueError: The resolution is none that the formulas hold for.
    """
    if not 0.0 < resolution <= COARSEST:
        raise ValueError(f"no formula for a detection capability of {resolution:g} mm")
    if resolution > FINEST:
        return 1600.0 * stopping + 850.0
    more = 8.0 * max(resolution - 14.0, 0.0)
    distance = max(2000.0 * stopping + more, 100.0)
    return distance if distance <= 500.0 else max(1600.0 * stopping + more, 500.0)


def field_distance(stopping: float, height: float) -> float:
    """Depth of a detection field over the floor that is walked into [mm].

    Source: ISO 13855:2010, as reproduced: S = 1600 T + max(850, 1200 - 0.4 H), H up to 1000.

    Raises:
        ValueError: The field lies too high for the formula.
    """
    if not 0.0 <= height <= HIGHEST_FIELD:
        raise ValueError(f"no formula for a field at {height:g} mm")
    return 1600.0 * stopping + max(850.0, 1200.0 - 0.4 * height)


def fence_distance(fence: float, risk: Risk, lowest: float, highest: float) -> float:
    """Distance of a fence from hazards at all heights between two [mm].

    Never interpolated: of rows and columns on both sides the safer counts.

    Source: ISO 13857:2019, reaching over, see `guard_tables`.

    Raises:
        ValueError: The fence is lower than any in the table.
    """
    columns, table = (LOW_COLUMNS, LOW_ROWS) if risk == "low" else (HIGH_COLUMNS, HIGH_ROWS)
    if fence < columns[0]:
        raise ValueError(f"no table for a fence of {fence:g} mm")
    rows = sorted(table)
    first = max(bisect_right(rows, lowest) - 1, 0)
    last = min(bisect_left(rows, highest), len(rows) - 1)
    column = bisect_right(columns, fence) - 1  # the lower fence beside is the safer one
    return float(max(table[row][column] for row in rows[first : last + 1]))


def _fence(fence: float, risk: Risk, lowest: float, highest: float) -> Hint:
    distance = fence_distance(fence, risk, lowest, highest)
    read = (
        "as reproduced in the Austrian AM-VO, annex 1"
        if risk == "low"
        else "from memory, but for fences of 2000 mm (as reproduced by CE-Beratung Dr. Birn)"
    )
    lines = [
        f"reaching over a fence of {fence:g} mm, {risk} risk, hazards between {lowest:g} and "
        f"{highest:g} mm: {distance:g} mm from the operating space",
        f"ISO 13857:2019, table of {risk} risk, {read}; safer row and column, not interpolated; "
        "how far the arm runs on after a stop is not in it",
    ]
    if fence < _LEAST_FENCE:
        lines.append(
            f"fences are at least {_LEAST_FENCE:g} mm high, with at most {_MOST_GAP:g} mm under "
            "them: DGUV Information 209-074"
        )
    return Hint("reach over fence", distance, tuple(lines))


def _curtain(stopping: float, resolution: float) -> Hint:
    distance = math.ceil(round(curtain_distance(stopping, resolution), 6))
    formula = (
        "S = 2000 T + 8 (d - 14); over 500: S = 1600 T + 8 (d - 14), at least 500"
        if resolution <= FINEST
        else "S = 1600 T + 850"
    )
    return Hint(
        "light curtain",
        distance,
        (
            f"light curtain, right-angled approach, T {stopping:g} s, d {resolution:g} mm: "
            f"{distance} mm",
            f"ISO 13855:2010, as reproduced: {formula}. {_EDITION}",
        ),
    )


def _field(stopping: float, height: float) -> Hint:
    distance = math.ceil(round(field_distance(stopping, height), 6))
    return Hint(
        "detection field",
        distance,
        (
            f"detection field walked into, T {stopping:g} s, H {height:g} mm: {distance} mm",
            "ISO 13855:2010, as reproduced: S = 1600 T + max(850, 1200 - 0.4 H), H up to 1000. "
            + _EDITION,
        ),
    )


_EDITION = (
    "The edition of 2024 has S = K T + D_DS + Z: use the one in force. T is an input here and "
    "must be measured; distances count from the hazard"
)


def _gaps(part: str, near: Sequence[Nearest]) -> Hint:
    least = GAPS[part]
    narrow = [
        f"{entry.name} {math.floor(max(entry.lower, 0.0) * 1e3)} mm"
        for entry in near
        if entry.lower < min(least / 1e3, FARTHEST)
    ]
    told = ", ".join(narrow) if narrow else "none"
    return Hint(
        "crushing",
        None,
        (
            f"gaps under {least} mm, in which the {part} may be crushed, between what moves and: "
            f"{told}",
            f"ISO 13854, as reproduced: {least} mm for the {part}. Looked at are the fixed "
            "obstacles of the cell, as drawn, and the job's own motion; pallets, cartons and "
            "infeed are not",
        ),
    )
