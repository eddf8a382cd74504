"""Plain data as YAML text: short things on one line, long ones line by line."""

import math
import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any, cast

from .errors import CellError
from .yaml_reading import read_value

WIDTH = 98  # columns that a line may take before it is broken up

_PLAIN = re.compile(r"[A-Za-z+-][A-Za-z0-9 _./+()-]*(?<! )")


def flow(value: Any) -> str:
    """A value on one line ("{x: 400, y: 140}").

    Raises:
        TypeError: It is nothing that a cell file holds.
        ValueError: A number that is not finite.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return text(value)
    if isinstance(value, int | float):
        return number(value)
    if isinstance(value, Mapping):
        entries = cast(Mapping[Any, Any], value).items()
        return "{" + ", ".join(f"{text(str(k))}: {flow(v)}" for k, v in entries) + "}"
    if isinstance(value, Sequence):
        return "[" + ", ".join(flow(entry) for entry in cast(Sequence[Any], value)) + "]"
    raise TypeError(f"{value!r} is nothing that a cell file holds")


@lru_cache(maxsize=1024)  # the same keys and names come again and again
def text(value: str) -> str:
    """A text, in quotes where it would be read as something else without."""
    if _PLAIN.fullmatch(value):
        try:
            if read_value(value) == value:
                return value
        except CellError:
            pass
    return '"' + "".join(map(_quoted, value)) + '"'


def _quoted(letter: str) -> str:
    """A letter as it stands within double quotes."""
    if letter in '"\\':
        return "\\" + letter
    return letter if letter.isprintable() else f"\\U{ord(letter):08x}"


def number(value: float) -> str:
    """A number without what it does not need ("1200", "0.25"). Raises ValueError."""
    if not math.isfinite(value):
        raise ValueError(f"{value} is not a number that a cell file holds")
    return str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(float(value))


def block(value: Any, indent: int) -> list[str]:
    """A mapping or list line by line; what is short enough stays on one line.

    Args:
        value: With at least one entry.
        indent: Columns before each line.
    """
    lines: list[str] = []
    if isinstance(value, Mapping):
        for key, entry in cast(Mapping[Any, Any], value).items():
            head = f"{' ' * indent}{text(str(key))}:"
            short = f"{head} {flow(entry)}"
            if is_long(entry, len(head) + 1):
                lines += [head, *block(entry, indent + 2)]
            else:
                lines.append(short)
        return lines
    for entry in value:
        if is_long(entry, indent + 2):
            inner = block(entry, indent + 2)
            lines += [f"{' ' * indent}- {inner[0][indent + 2 :]}", *inner[1:]]
        else:
            lines.append(f"{' ' * indent}- {flow(entry)}")
    return lines


def is_long(value: Any, column: int) -> bool:
    """Whether a value that starts at a column is better written line by line."""
    if not isinstance(value, Mapping | list | tuple) or not value:
        return False
    return column + len(flow(value)) > WIDTH
