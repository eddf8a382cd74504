"""A cell file read once, from which variants are made: the same file with values set on top."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from .errors import Key
from .load import load_text
from .model import Cell
from .writing import Changes, changed
from .yaml_reading import read_file, read_value, read_yaml


@dataclass(frozen=True, slots=True)
class CellFile:
    """The bytes of a cell file, and what is set on top of it for all variants.

    Attributes:
        file: As the user named it; what the cell names is looked for beside it.
    """

    file: str
    content: bytes
    settings: tuple[str, ...] = ()

    def cell(self, settings: tuple[str, ...] = ()) -> Cell:
        """A variant. Raises CellError."""
        return load_text(self.content, self.file, (*self.settings, *settings))

    def text(self, settings: tuple[str, ...] = ()) -> str:
        """The text of the file of a variant; remarks stay. Raises CellError."""
        return changed(self.content, self.file, self._settings(settings))

    def with_values(self, changes: Changes) -> "CellFile":
        """The file with values changed by key path; what is set on top is written in.

        Raises:
            CellError: A value cannot be changed where it stands.
        """
        text = changed(self.content, self.file, [*self._settings(()), *changes.items()])
        return CellFile(self.file, text.encode())

    def data(self) -> Any:
        """The file as plain data, with what is set on top of it. Raises CellError."""
        content = self.text().encode() if self.settings else self.content
        return read_yaml(content, self.file).data

    def _settings(self, more: tuple[str, ...]) -> list[tuple[str | Key, Any]]:
        parts = (setting.partition("=") for setting in (*self.settings, *more))
        return [(name.strip(), read_value(value)) for name, _, value in parts]

    def stacks(self) -> tuple[str, ...]:
        """Names of the stacks that pallets carry, in order. The cell must be valid."""
        pallets: Any = read_yaml(self.content, self.file).data["pallets"]
        return tuple(dict.fromkeys(str(pallet["stack"]) for pallet in pallets.values()))


def read_cell_file(path: Path, settings: tuple[str, ...] = ()) -> CellFile:
    """Read a cell file for a survey. Raises CellError if it is no valid cell as it stands."""
    file = CellFile(str(path), read_file(path, str(path)), settings)
    file.cell()
    return file
