"""A page for answers that are no check of one cell: surveys, and the room a job takes up."""

from dataclasses import dataclass

from .. import __version__
from .rendering import rendered
from .text import CAUTION

Value = str | float | int


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing of our own making.

    Attributes:
        title: Over it.
        words: Under that.
        svg: An SVG element whose texts are escaped.
        values: Whether its parts have titles, which are shown under the pointer.
    """

    title: str
    words: str
    svg: str
    values: bool = True


@dataclass(frozen=True, slots=True)
class Table:
    """Rows that sort and filter; numbers sort as numbers."""

    title: str
    headings: tuple[str, ...]
    rows: tuple[tuple[Value, ...], ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """What the page tells.

    Attributes:
        name: Of the cell.
        title: What was asked.
        good: Whether the answer is what one hopes for; None where it is no such question.
        line: The answer in a line, its first word before a colon.
        told: All of it as text for a terminal.
        sha256: Of the cell.
        caution: That bears on people.
    """

    name: str
    title: str
    good: bool | None
    line: str
    told: str
    sha256: str
    drawings: tuple[Drawing, ...] = ()
    tables: tuple[Table, ...] = ()
    notes: tuple[str, ...] = ()
    caution: str = CAUTION


@dataclass(frozen=True, slots=True)
class _Shown:
    title: str
    words: str
    svg: object
    values: bool


def as_page(answer: Answer) -> str:
    """The page: one file that opens in any browser, without a network."""
    from markupsafe import Markup

    word, _, line = answer.line.partition(": ")
    tone = {True: "pass", False: "fail", None: "second"}[answer.good]
    page = {
        "name": answer.name,
        "title": answer.title,
        "tone": tone,
        "word": word if line else "",
        "line": line or word,
        "told": answer.told.strip("\n"),
        "drawings": [_Shown(d.title, d.words, Markup(d.svg), d.values) for d in answer.drawings],
        "tables": answer.tables,
        "notes": answer.notes,
        "caution": answer.caution,
        "sha256": answer.sha256,
        "version": __version__,
    }
    return rendered("answer.html", page, ("table.js", "answer.js"), {})
