"""The one exception for anything wrong in what the user wrote."""

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

Key = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong.

    Attributes:
        file: The file it was found in, as the user named it.
        line: Line in that file, from 1; None where it belongs to no line.
        key: Key path ("pallets.A.at.x"); empty for the file as a whole.
        found: What is wrong ("-1200 is not a length").
        right: What would be right ("write a length above 0, in mm"); may be empty.
        setting: The `--set` text it comes from, if it comes from one.
    """

    file: str
    line: int | None
    key: str
    found: str
    right: str = ""
    setting: str | None = None

    def __str__(self) -> str:
        """One line: where, what, and what would be right."""
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        if self.setting is not None:
            place = f"{self.file} with --set {self.setting}"
        key = f"{self.key}: " if self.key else ""
        right = f"; {self.right}" if self.right else ""
        return " ".join(f"{place}: {key}{self.found}{right}".split())


class CellError(Exception):
    """Everything that is wrong in the user's files and settings.

    Attributes:
        problems: In the order of the files and their lines.
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        """Keep the problems, each once, sorted by file and line."""
        unique = dict.fromkeys(problems)
        files = list(dict.fromkeys(problem.file for problem in unique))
        self.problems: tuple[Problem, ...] = tuple(
            sorted(unique, key=lambda p: (files.index(p.file), p.line or 0))
        )
        super().__init__("\n".join(str(problem) for problem in self.problems))

    def __reduce__(self) -> tuple[type["CellError"], tuple[tuple[Problem, ...]]]:
        """Pickle by the problems (errors travel back from worker processes)."""
        return CellError, (self.problems,)


def key_text(key: Key) -> str:
    """A key path as users write it: ("pallets", "A", "size", 0) is "pallets.A.size.0"."""
    return ".".join(str(part) for part in key)


def nearest(name: str, known: Sequence[str]) -> str:
    """What would be right instead of an unknown name: the nearest ones, or all of them."""
    if not known:
        return "there is none to choose from"
    folded = {other.casefold(): other for other in known}
    close = difflib.get_close_matches(name.casefold(), list(folded), n=1, cutoff=0.6)
    if close:
        return f'did you mean "{folded[close[0]]}"?'
    shown = ", ".join(f'"{other}"' for other in known[:12])
    return f"known: {shown}" + (", ..." if len(known) > 12 else "")
