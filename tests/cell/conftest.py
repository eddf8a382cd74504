from pathlib import Path

import pytest

from envelope.cell.errors import CellError
from envelope.cell.load import load
from envelope.cell.starter import starter_cell

ACCEPTED = Path(__file__).parents[1] / "cells" / "accepted"


@pytest.fixture
def write(tmp_path):
    """Writes a file and returns its path."""

    def written(text: str | bytes, name: str = "cell.yaml") -> Path:
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return written


@pytest.fixture
def starter(write):
    """A file with the starter cell, some of its text replaced."""

    def written(*changes: tuple[str, str]) -> Path:
        text = starter_cell()
        for old, new in changes:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        return write(text)

    return written


@pytest.fixture
def errors():
    """The lines of the error that loading brings."""

    def lines(path, settings=()) -> list[str]:
        with pytest.raises(CellError) as caught:
            load(path, settings)
        return str(caught.value).splitlines()

    return lines
