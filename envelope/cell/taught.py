"""A set-up sheet that comes back filled in: CSV or JSON, every mistake with its line and key.

A spreadsheet may have changed the separator, the decimal comma and the order of columns; the
key in each line says which number it is.
"""

import csv
import io
import json
import re
from bisect import bisect_right
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

from pydantic_core import PydanticCustomError

from .errors import CellError, Problem, nearest
from .units import Quantity
from .yaml_reading import read_file

LARGEST_FILE = 20_000_000  # bytes: 500 placements take some 2 000 000
_FAR = 1e5
_QUANTITIES = {
    "mm": Quantity("a length", "mm", "mm", 1e3, -_FAR, _FAR),
    "deg": Quantity("an angle", "deg", "degree", None, -3600.0, 3600.0),
    "kg": Quantity("a mass", "kg", "kg", 1.0, 0.0, _FAR, True),
    "s": Quantity("a time", "s", "s", 1.0, 0.0, 3600.0),
}
_PLAIN = Quantity("a number", "", "", 1.0, -1e9, 1e9)
_COMMA = re.compile(r"[-+]?\d+,\d+")
_THOUSANDS = re.compile(r"[-+]?\d{1,3},\d{3}")
_COLUMNS = ("key", "planned", "as taught")


@dataclass(frozen=True, slots=True)
class Printed:
    """A number as the sheet of the cell prints it: its text and its unit."""

    text: str
    unit: str


@dataclass(frozen=True, slots=True)
class Filled:
    """A number that was filled in, in SI units.

    Attributes:
        planned: As the sheet printed it.
        taught: As it was filled in.
        changed: Whether it differs from what was printed.
        line: Where it stands in the file.
    """

    key: str
    planned: float
    taught: float
    changed: bool
    unit: str
    line: int

    @property
    def shift(self) -> float:
        """How far it lies from the plan; exactly 0.0 where it is as printed."""
        return self.taught - self.planned if self.changed else 0.0


@dataclass(frozen=True, slots=True)
class _Row:
    key: str
    planned: Any
    taught: Any
    line: int


class TaughtFile:
    """A sheet that came back.

    Args:
        path: The file; JSON where it starts with a brace, else CSV.

    Raises:
        CellError: If it cannot be read at all.
    """

    def __init__(self, path: Path) -> None:
        self.file = str(path)
        self.problems: list[Problem] = []
        self.content = read_file(path, self.file, LARGEST_FILE)
        text = _decoded(self.content)
        found = self._json(text) if text.lstrip().startswith("{") else self._csv(text)
        self._rows: dict[str, _Row] = {}
        for row in found:
            if row.key in self._rows:
                first = self._rows[row.key].line
                self.complain(
                    row.key, row.line, f"written twice, first on line {first}", "keep one"
                )
            else:
                self._rows[row.key] = row

    def complain(self, key: str, line: int | None, found: str, right: str = "") -> None:
        """Note a problem."""
        self.problems.append(Problem(self.file, line, key, found, right))

    def stop_if_wrong(self) -> None:
        """Raise CellError with all problems so far, if there are any."""
        if self.problems:
            raise CellError(self.problems)

    def line_of(self, key: str) -> int | None:
        """Line on which a key stands, if it does."""
        row = self._rows.get(key)
        return None if row is None else row.line

    def keys(self) -> list[str]:
        """All keys of the file, in order."""
        return list(self._rows)

    def planned_of(self, key: str, unit: str) -> float | None:
        """What the file itself says was planned, in SI units; None where it does not."""
        row = self._rows.get(key)
        return None if row is None else self._read(row.planned, unit, row, "planned")

    def filled(self, known: Mapping[str, Printed], derived: Mapping[str, str]) -> list[Filled]:
        """What was filled in; problems of the file are noted on the way.

        Args:
            known: What is typed in, by key; what the file says was planned must agree.
            derived: Units, by key, of numbers that follow from that and from the motion found.
        """
        found: list[Filled] = []
        for row in self._rows.values():
            if row.key not in known and row.key not in derived:
                near = nearest(row.key, [*known, *derived])
                self.complain(row.key, row.line, "the sheet of this cell has no such number", near)
                continue
            unit = known[row.key].unit if row.key in known else derived[row.key]
            planned = self._read(row.planned, unit, row, "planned")
            if row.key in known:
                self._compare(row, planned, known[row.key])
            blank = row.taught is None or (isinstance(row.taught, str) and not row.taught.strip())
            taught = None if blank else self._read(row.taught, unit, row, "as taught")
            if planned is not None and taught is not None:
                same = abs(taught - planned) <= 1e-12 + 1e-12 * abs(planned)
                found.append(Filled(row.key, planned, taught, not same, unit, row.line))
        return found

    def _compare(self, row: _Row, planned: float | None, printed: Printed) -> None:
        """A sheet of another state of the cell is not to be trusted, filled in or not."""
        now = self._read(printed.text, printed.unit, row, "planned")
        if planned is not None and now is not None and abs(planned - now) > 1e-9:
            here = f"{printed.text} {printed.unit}".rstrip()
            found = f"planned {row.planned} here, but {here} in the cell"
            self.complain(row.key, row.line, found, "print a new sheet of the cell as it is now")

    def _read(self, value: Any, unit: str, row: _Row, column: str) -> float | None:
        quantity = _QUANTITIES.get(unit, _PLAIN)
        if isinstance(value, str):
            text = value.strip()
            try:
                value = float(text)
            except ValueError:
                value = text
        try:
            return quantity.read(value)
        except PydanticCustomError as error:
            told: dict[str, Any] = error.context or {}
            found, right = f"{column}: {told.get('found')}", str(told.get("right", ""))
            self.complain(row.key, row.line, found, right)
            return None

    def _json(self, text: str) -> Iterator[_Row]:
        try:
            data: Any = json.loads(text)
        except (ValueError, RecursionError) as error:
            line = getattr(error, "lineno", None)
            self.complain("", line, "this is not JSON", "give back the file that --json wrote")
            return
        at = 0
        lines = [0, *(m.end() for m in re.finditer("\n", text))]
        for entry in _numbers(data):
            key = entry.get("key")
            if not isinstance(key, str):
                self.complain("", None, "a number without a key", "leave the keys as they were")
                continue
            place = text.find(f'"key": {json.dumps(key, ensure_ascii=False)}', at)
            at = max(place, at)
            line = _line_at(lines, at)
            missing = [name for name in _COLUMNS if name not in entry]
            if missing:
                self.complain(key, line, f'"{missing[0]}" is missing', "write null for blank")
                continue
            yield _Row(key, entry["planned"], entry["as taught"], line)
            at += 1

    def _csv(self, text: str) -> Iterator[_Row]:
        head = text.split("\n", 1)[0]
        mark = max(",;\t", key=head.count)
        reader = csv.reader(io.StringIO(text), delimiter=mark)
        try:
            names = [name.strip().lower() for name in next(reader, list[str]())]
            missing = [name for name in _COLUMNS if name not in names]
            if missing:
                found = f'the first line has no column "{missing[0]}"'
                self.complain("", 1, found, "give back the table that --csv wrote")
                return
            places = [names.index(name) for name in _COLUMNS]
            for cells in reader:
                if not any(cell.strip() for cell in cells):
                    continue
                line = reader.line_num
                if len(cells) <= max(places[:2]):
                    self.complain("", line, "the line is too short", "one value in each column")
                    continue
                key, planned, taught = (cells[k] if k < len(cells) else "" for k in places)
                yield _Row(
                    key.strip(),
                    self._dotted(planned, key, line, mark),
                    self._dotted(taught, key, line, mark),
                    line,
                )
        except csv.Error as error:
            self.complain("", reader.line_num, f"not a table: {error}", "save it as CSV")

    def _dotted(self, text: str, key: str, line: int, mark: str) -> str:
        """A number with a decimal comma, as some spreadsheets write it, with a dot."""
        plain = text.strip()
        if not _COMMA.fullmatch(plain):
            return plain
        if mark == "," and _THOUSANDS.fullmatch(plain):
            dotted = plain.replace(",", ".")
            whole = plain.replace(",", "")
            self.complain(key.strip(), line, f'"{plain}" may mean two things',
                          f"write {whole} or {dotted}")  # fmt: skip
        return plain.replace(",", ".")


def _decoded(content: bytes) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:  # some spreadsheets save so
        return content.decode("cp1252", errors="replace")


def _numbers(data: Any) -> Iterator[dict[str, Any]]:
    """Every mapping below that has a key or is listed among numbers."""
    stack: list[Any] = [data]
    while stack:
        here = stack.pop()
        if isinstance(here, dict):
            entry = cast(dict[str, Any], here)
            if "key" in entry or "as taught" in entry:
                yield entry
            else:
                stack.extend(reversed(list(entry.values())))
        elif isinstance(here, list):
            stack.extend(reversed(cast(list[Any], here)))


def _line_at(starts: list[int], place: int) -> int:
    return bisect_right(starts, place)
