"""A page for answers that are no check of one cell: surveys, and the room a job takes up."""

from dataclasses import dataclass

from .. import __version__
from .rendering import rendered
from .text import CAUTION

_LONG = 24  # letters: a value as long as this is read as words, and gets room


@dataclass(frozen=True, slots=True)
class Gauge:
    """A number with a bar beside it.

    Attributes:
        text: What is written.
        number: By which rows sort; None where there is none.
        share: How much of its ground the bar takes, 0 to 1; None for no bar.
        limit: Where on the ground a line stands for what is asked for or allowed.
        good: Whether the bar is drawn as good; what is not good says so in its text as well.
        told: Shown when the pointer rests on it.
    """

    text: str
    number: float | None = None
    share: float | None = None
    limit: float | None = None
    good: bool = True
    told: str = ""


Value = str | float | int | Gauge


@dataclass(frozen=True, slots=True)
class Figure:
    """One drawing of our own making; svg: an element whose texts are escaped."""

    svg: str
    caption: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """Drawings that belong together, side by side where there is room."""

    heading: str
    figures: tuple[Figure, ...]


@dataclass(frozen=True, slots=True)
class Drawing:
    """Drawings under one title.

    Attributes:
        title: Over it.
        words: Under that.
        rows: The drawings.
        values: Whether their parts have titles, which are shown under the pointer.
        wide: Whether they keep their size on a narrow screen, and are moved sideways there.
    """

    title: str
    words: str
    rows: tuple[Row, ...]
    values: bool = True
    wide: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """Rows that sort and filter; numbers sort as numbers."""

    title: str
    headings: tuple[str, ...]
    rows: tuple[tuple[Value, ...], ...]
    words: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """What the page tells.

    Attributes:
        name: Of the cell.
        title: What was asked.
        good: Whether the answer is what one hopes for; None where it is no such question.
        line: The answer in a line, its first word before a colon.
        sha256: Of the cell.
        told: What drawings and tables do not tell, a paragraph each; one that starts with a
            space belongs to the one before.
        caution: That bears on people.
    """

    name: str
    title: str
    good: bool | None
    line: str
    sha256: str
    drawings: tuple[Drawing, ...] = ()
    tables: tuple[Table, ...] = ()
    told: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    caution: str = CAUTION


@dataclass(frozen=True, slots=True)
class _Cell:
    """A cell of a table as the page writes it; key: what its row sorts by."""

    text: str
    key: str = ""
    kind: str = ""
    gauge: Gauge | None = None


@dataclass(frozen=True, slots=True)
class _Table:
    title: str
    words: str
    headings: tuple[tuple[str, str], ...]
    rows: tuple[tuple[_Cell, ...], ...]


def as_page(answer: Answer) -> str:
    """The page: one file that opens in any browser, without a network."""
    word, _, line = answer.line.partition(": ")
    tone = {True: "pass", False: "fail", None: "second"}[answer.good]
    page = {
        "name": answer.name,
        "title": answer.title,
        "tone": tone,
        "word": word if line else "",
        "line": line or word,
        "told": answer.told,
        "drawings": answer.drawings,
        "tables": [_table(table) for table in answer.tables],
        "notes": answer.notes,
        "caution": answer.caution,
        "sha256": answer.sha256,
        "version": __version__,
    }
    return rendered("answer.html", page, ("table.js", "places.js", "answer.js"), {})


def _table(table: Table) -> _Table:
    rows = tuple(tuple(_cell(value) for value in row) for row in table.rows)
    kinds = [
        next((row[k].kind for row in rows if row[k].kind), "") for k in range(len(table.headings))
    ]
    return _Table(table.title, table.words, tuple(zip(table.headings, kinds, strict=True)), rows)


def _cell(value: Value) -> _Cell:
    if isinstance(value, Gauge):
        key = "" if value.number is None else f"{value.number:.10g}"
        plain = "" if value.number is None else "number"
        return _Cell(value.text, key, plain if value.share is None else "gauge", value)
    if isinstance(value, str):
        return _Cell(value, value, "words" if len(value) >= _LONG else "")
    return _Cell(f"{value:.10g}", f"{value:.10g}", "number")
