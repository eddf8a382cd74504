"""The set-up sheet as data: sections of blocks of numbers, each number with a key of its own.

What it says is made in the files `sheet_*.py` beside this one; how it is printed, in
`sheet_text.py` and `sheet_files.py`.
"""

import math
from dataclasses import dataclass

from ..motion.setup import Typed
from .numbers import rounded

_SHOWN = {
    "length": ("mm", 1e3, 2),
    "angle": ("deg", 180.0 / math.pi, 3),
    "mass": ("kg", 1.0, 3),
    "time": ("s", 1.0, 2),
    "inertia": ("kg m2", 1.0, 4),
}


@dataclass(frozen=True, slots=True)
class Number:
    """One number of the sheet, with room for what was taught beside it.

    Attributes:
        key: Its name in the files ("pallets.A.frame.x").
        item: What it is, as printed ("x").
        value: As planned, in the unit shown.
        decimals: To which it is told.
    """

    key: str
    item: str
    value: float
    unit: str
    decimals: int

    @property
    def text(self) -> str:
        """The value as printed."""
        return f"{rounded(self.value, self.decimals):.{self.decimals}f}"


@dataclass(frozen=True, slots=True)
class Column:
    """Numbers under one another; with labels: what each of them is stands to the left."""

    title: str
    numbers: tuple[Number, ...]
    labels: bool = True


@dataclass(frozen=True, slots=True)
class Block:
    """What belongs together and is printed together.

    Attributes:
        remarks: Paragraphs under the title.
        columns: Numbers, side by side where there is room.
        drawing: Lines printed as they are, under everything else.
    """

    title: str
    remarks: tuple[str, ...] = ()
    columns: tuple[Column, ...] = ()
    drawing: tuple[str, ...] = ()

    def numbers(self) -> tuple[Number, ...]:
        """All its numbers in order."""
        return tuple(number for column in self.columns for number in column.numbers)


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the sheet that begins on a page of its own."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A set-up sheet.

    Attributes:
        verdict: What the check says of the cell, in one line.
    """

    cell_name: str
    sha256: str
    verdict: str
    sections: tuple[Section, ...]

    def numbers(self) -> tuple[Number, ...]:
        """All numbers in order."""
        return tuple(
            number for section in self.sections for block in section.blocks
            for number in block.numbers()
        )  # fmt: skip


def shown(typed: Typed, item: str | None = None) -> Number:
    """A typed number in the unit of the sheet; named by the end of its key by default."""
    unit, scale, decimals = _SHOWN[typed.kind]
    name = typed.key.rsplit(".", 1)[-1] if item is None else item
    return Number(typed.key, name, typed.value * scale, unit, decimals)


def length(key: str, item: str, metres: float) -> Number:
    """A length of the sheet."""
    return shown(Typed(key, metres, "length"), item)


def angle(key: str, item: str, radians: float) -> Number:
    """An angle of the sheet."""
    return shown(Typed(key, radians, "angle"), item)


def column(title: str, typed: list[Typed]) -> Column:
    """A column of typed numbers."""
    return Column(title, tuple(shown(entry) for entry in typed))
