"""The survey file: what is done so far, so that an interrupted survey goes on from there.

One JSON object a line. The first line says which survey it is; each other line holds one
answer by the name of its item. Lines are written whole: a torn last one (power cut, full disk)
is dropped when the file is opened again.
"""

import hashlib
import json
import os
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any, Generic, TypeVar

from .errors import SurveyError

A = TypeVar("A")
FORMAT = 1


def survey_key(*parts: str) -> str:
    """Digest of all that a survey's answers depend on."""
    digest = hashlib.sha256()
    for part in parts:
        digest.update(f"{len(part)}\0{part}\0".encode())
    return digest.hexdigest()


class Store(Generic[A]):
    """The answers of one survey in a file; use as a context.

    Args:
        path: The survey file; it is made with the first answer.
        key: See `survey_key`.
        to_json: An answer as plain data.
        from_json: And back; the same answer must come out.
        force: Whether a file of another survey may be replaced.

    Raises:
        SurveyError: If the file belongs to something else, or cannot be read.
    """

    def __init__(
        self,
        path: Path,
        key: str,
        to_json: Callable[[A], Any],
        from_json: Callable[[Any], A],
        force: bool = False,
    ) -> None:
        self.path = path
        self._heading = _line({"survey": FORMAT, "of": key})
        self._to_json, self._from_json = to_json, from_json
        self._answers: dict[str, A] = {}
        self._file: int | None = None
        self._end = self._read(force)

    def __enter__(self) -> "Store[A]":
        """Nothing to do: the file is opened with the first answer."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the file."""
        if self._file is not None:
            os.close(self._file)
            self._file = None

    def __contains__(self, name: str) -> bool:
        """Whether the answer to an item is there."""
        return name in self._answers

    def __len__(self) -> int:
        """How many answers are there."""
        return len(self._answers)

    def __getitem__(self, name: str) -> A:
        """The answer to an item. Raises KeyError."""
        return self._answers[name]

    def keep(self, name: str, answer: A) -> A:
        """Write the answer to an item; returns it as it will be read. Raises SurveyError."""
        plain = self._to_json(answer)
        line = _line({"item": name, "answer": plain})
        if self._end == 0:
            line = self._heading + line
        try:
            if self._file is None:
                flags = os.O_WRONLY | os.O_CREAT | getattr(os, "O_BINARY", 0)
                self._file = os.open(self.path, flags, 0o666)
                os.ftruncate(self._file, self._end)  # a torn line
                os.lseek(self._file, self._end, os.SEEK_SET)
            self._write(self._file, line)
        except OSError as error:
            raise SurveyError(f"{self.path} cannot be written: {error.strerror}") from None
        self._end += len(line)
        self._answers[name] = self._from_json(json.loads(json.dumps(plain)))
        return self._answers[name]

    def remove(self) -> None:
        """Delete the file: the survey is complete."""
        self.__exit__(None, None, None)
        self.path.unlink(missing_ok=True)

    def _write(self, file: int, line: bytes) -> None:
        """Write a line whole, or leave the file as it was. Raises OSError."""
        try:
            left = memoryview(line)
            while left:
                left = left[os.write(file, left) :]
        except OSError:
            os.ftruncate(file, self._end)
            os.lseek(file, self._end, os.SEEK_SET)
            raise

    def _read(self, force: bool) -> int:
        """Read what is there; returns where the next line goes. Raises SurveyError."""
        try:
            content = self.path.read_bytes() if self.path.exists() else b""
        except OSError as error:
            raise SurveyError(f"{self.path} cannot be read: {error.strerror}") from None
        whole = content[: content.rfind(b"\n") + 1]
        lines = whole.splitlines(keepends=True)
        if not lines and not content:
            return 0
        if not lines or lines[0] != self._heading:
            if force:
                return 0
            if not lines and self._heading.startswith(content):
                return 0  # torn within its first line
            right = "--force starts anew, --survey-file names another"
            raise SurveyError(f"{self.path} is no file of this survey of this cell; {right}")
        for line in lines[1:]:
            self._take(line)
        return len(whole)

    def _take(self, line: bytes) -> None:
        try:
            record = json.loads(line)
            self._answers[record["item"]] = self._from_json(record["answer"])
        except (ValueError, KeyError, TypeError):
            right = "delete it, or start anew with --force"
            raise SurveyError(f"{self.path} is damaged; {right}") from None


def _line(value: Any) -> bytes:
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.encode() + b"\n"
