"""Rounding of numbers on the way out."""

import math
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

from ..checks.finding import Finding


def rounded(value: float, decimals: int, rounding: str = ROUND_HALF_EVEN) -> float:
    """A finite number rounded to some decimals; never "-0.0".

    Raises:
        ValueError: If the value is not a number.
    """
    if math.isnan(value):
        raise ValueError("a value to be shown is not a number")
    step = Decimal(1).scaleb(-decimals)
    return float(Decimal(repr(float(value))).quantize(step, rounding)) + 0.0


def measured(finding: Finding, decimals: int) -> tuple[float | None, float | None]:
    """A finding's value and, where there is a proved bracket, its upper end.

    The ends of a bracket are rounded outwards, so that what is shown is still proved.
    An end without bound is None.
    """
    proved = finding.upper is not None
    value = _bounded(finding.value, decimals, ROUND_FLOOR if proved else ROUND_HALF_EVEN)
    return value, _bounded(finding.upper, decimals, ROUND_CEILING)


def limit_of(finding: Finding, decimals: int) -> float | None:
    """A finding's limit, rounded to nearest."""
    return _bounded(finding.limit, decimals, ROUND_HALF_EVEN)


def written(value: float | None, decimals: int) -> str:
    """A number as text without trailing zeros; nothing for None."""
    if value is None:
        return ""
    text = f"{rounded(value, decimals):.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _bounded(value: float | None, decimals: int, rounding: str) -> float | None:
    return None if value is None or math.isinf(value) else rounded(value, decimals, rounding)
