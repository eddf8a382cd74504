"""Everything a cell is read from: the files, what is wrong in them, what is remarkable."""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, field

from .errors import CellError, Problem


@dataclass(slots=True)
class Sources:
    """Collects, while a cell is read, its files' contents, problems and notes."""

    contents: list[tuple[str, bytes]] = field(default_factory=list[tuple[str, bytes]])
    problems: list[Problem] = field(default_factory=list[Problem])
    notes: list[str] = field(default_factory=list[str])

    def add(self, *problems: Problem) -> None:
        """Keep problems."""
        self.problems.extend(problems)

    def used(self, role: str, content: bytes) -> None:
        """Keep the content of a file, by the part it plays."""
        self.contents.append((role, content))

    def note(self, text: str) -> None:
        """Keep a remark for the report, once."""
        if text not in self.notes:
            self.notes.append(text)

    def stop_if_wrong(self) -> None:
        """Raise CellError with all problems so far, if there are any."""
        if self.problems:
            raise CellError(self.problems)

    def sha256(self, settings: Iterable[str]) -> str:
        """Digest of all contents and settings; line ends and places on disk play no part."""
        digest = hashlib.sha256()
        for role, content in [*self.contents, *(("set", text.encode()) for text in settings)]:
            plain = content.replace(b"\r\n", b"\n") if not role.startswith("mesh") else content
            digest.update(f"{role}\0{len(plain)}\0".encode())
            digest.update(plain)
        return digest.hexdigest()
