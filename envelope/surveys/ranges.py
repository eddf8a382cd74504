"""Ranges of values to try: "600:900:50", "0, 90" or "650", of any numeric key of a cell file."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from itertools import product

from .errors import SurveyError

MOST_VALUES = 100_000  # variants of one survey; more is a slip of the keyboard


@dataclass(frozen=True, slots=True)
class Range:
    """The values of one key, as written in cell files.

    Attributes:
        key: As in `--set` ("arm.at.x").
        values: Decimal numbers, as texts, ascending.
    """

    key: str
    values: tuple[str, ...]

    @property
    def numbers(self) -> tuple[float, ...]:
        """The values as numbers, in the units of the file."""
        return tuple(float(value) for value in self.values)


def read_range(key: str, text: str) -> Range:
    """A range as the user writes it: A:B:STEP, or values with commas, or one value.

    Raises:
        SurveyError: Saying what is wrong with it.
    """
    if ":" not in text:
        values = sorted({_number(key, part, text) for part in text.split(",")})
        return Range(key, tuple(_plain(value) for value in values))
    parts = [_number(key, part, text) for part in text.split(":")]
    if len(parts) != 3:
        raise SurveyError(f"{key}: {text!r} has {len(parts)} parts; write FROM:TO:STEP")
    start, end, step = parts
    if step <= 0:
        raise SurveyError(f"{key}: the step of {text!r} is not above 0; write FROM:TO:STEP")
    if end < start:
        raise SurveyError(f"{key}: {text!r} ends below its start; write the smaller value first")
    count = int((end - start) / step) + 1
    if count > MOST_VALUES:
        raise SurveyError(f"{key}: {text!r} comes to {count} values; take a larger step")
    return Range(key, tuple(_plain(start + step * k) for k in range(count)))


def read_setting_range(text: str) -> Range:
    """A range with its key: "pallets.A.at.x=600:900:50". Raises SurveyError."""
    key, equals, values = text.partition("=")
    if not equals or not key.strip():
        raise SurveyError(f"{text!r} names no key; write KEY=FROM:TO:STEP")
    return read_range(key.strip(), values)


def all_variants(ranges: Sequence[Range]) -> list[tuple[str, ...]]:
    """The settings of every combination of values, the last range running fastest.

    Raises:
        SurveyError: If a key is ranged twice, or there are too many.
    """
    keys = [each.key for each in ranges]
    for key in keys:
        if keys.count(key) > 1:
            raise SurveyError(f"{key} is ranged twice; keep one of them")
    count = 1
    for each in ranges:
        count *= len(each.values)
    if count > MOST_VALUES:
        raise SurveyError(f"the ranges come to {count} variants; take larger steps")
    return list(_combinations(ranges))


def _combinations(ranges: Sequence[Range]) -> Iterator[tuple[str, ...]]:
    for values in product(*(each.values for each in ranges)):
        yield tuple(f"{each.key}={value}" for each, value in zip(ranges, values, strict=True))


def _number(key: str, part: str, text: str) -> Decimal:
    try:
        number = Decimal(part.strip())
    except InvalidOperation:
        raise SurveyError(
            f"{key}: {part.strip()!r} in {text!r} is not a number; write FROM:TO:STEP in the "
            "units of the cell file"
        ) from None
    if not number.is_finite() or abs(number) > 10**9 or int(number.as_tuple().exponent) < -9:
        raise SurveyError(f"{key}: {part.strip()!r} in {text!r} is out of all proportion")
    return number


def _plain(number: Decimal) -> str:
    """A decimal without an exponent and without zeros at its end."""
    text = f"{number:f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text
