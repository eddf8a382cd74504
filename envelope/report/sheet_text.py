"""The set-up sheet on paper: pages of plain text that A4 holds without cutting anything.

A page is at most 92 characters wide and 60 lines long: 12 characters and 6 lines to the inch
leave margins of 8 mm at the sides. Pages end with a form feed. Nothing that belongs together
is split over pages unless it is longer than one.
"""

from collections.abc import Iterator
from html import escape
from textwrap import wrap

from .sheet import Block, Column, Number, Section, Sheet

WIDTH = 92
LINES = 60
_HEAD = 3  # lines at the top of each page
_PLANNED, _BLANK = 9, 9
_BETWEEN = 3  # between columns
_LONGEST = 60  # characters of a label on one line
SAFETY = "Planning aid. Teach at reduced speed; local codes come first."


def as_text(sheet: Sheet) -> str:
    """The sheet for a printer, one form feed after each page but the last."""
    return "\f".join("".join(line + "\n" for line in page) for page in pages(sheet))


def as_html(sheet: Sheet) -> str:
    """The same pages as one HTML page, for programs that wrap or scale plain text."""
    body = "\n".join(f"<pre>{_bold(page)}</pre>" for page in pages(sheet))
    return _HTML.format(title=escape(_printable(sheet.cell_name)), body=body)


def _bold(page: list[str]) -> str:
    """A page with its heading and the titles of blocks in bold."""
    below = [*page[1:], ""]
    return "\n".join(
        f"<b>{escape(line)}</b>" if line and (not at or set(under) == {"-"}) else escape(line)
        for at, (line, under) in enumerate(zip(page, below, strict=True))
    )


_HTML = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}: set-up sheet</title>
<style>
@page {{ size: A4 portrait; margin: 10mm 12mm; }}
pre {{ font: 9pt/1.4 monospace; margin: 0 0 2em; break-after: page; }}
pre:last-child {{ break-after: auto; }}
@media screen {{
  body {{ margin: 0; padding: 1rem; background: #f0eee9; color-scheme: light; }}
  pre {{ width: 92ch; max-width: 100%; margin: 0 auto 1rem; padding: 1.2rem; overflow-x: auto;
    box-sizing: content-box; background: #fff; border: 1px solid #c9c4ba; }}
}}
@media screen and (max-width: 60rem) {{ pre {{ box-sizing: border-box; font-size: 8pt; }} }}
</style>
</head>
<body>
{body}
</body>
</html>
"""


def pages(sheet: Sheet) -> list[list[str]]:
    """Pages as lines, each with its heading."""
    bodies = [(s, body) for s in sheet.sections for body in _filled(_pieces_of(s))]
    return [
        [*_heading(sheet, section, number, len(bodies)), *body]
        for number, (section, body) in enumerate(bodies, start=1)
    ]


def _heading(sheet: Sheet, section: Section, number: int, total: int) -> list[str]:
    page = f"page {number} of {total}"
    name = _printable(f"{sheet.cell_name}: set-up sheet, {section.title}")
    room = WIDTH - len(page) - 2
    name = name if len(name) <= room else name[: room - 3] + "..."
    mark = f"cell {sheet.sha256[:12]}"
    return [f"{name:<{room}}  {page}", f"{SAFETY:<{WIDTH - len(mark)}}{mark}", "=" * WIDTH]


def _pieces_of(section: Section) -> Iterator[list[str]]:
    for block in section.blocks:
        yield from _pieces(block)


def _filled(pieces: Iterator[list[str]]) -> list[list[str]]:
    """Pieces put on pages; one longer than a page runs over."""
    room = LINES - _HEAD
    found: list[list[str]] = [[]]
    for piece in pieces:
        lines = piece
        if found[-1] and len(found[-1]) + len(lines) > room:
            found.append([])
        while len(lines) > room:
            found[-1] += lines[:room]
            lines = lines[room:]
            found.append([])
        found[-1] += lines
    return [_stripped(page) for page in found if _stripped(page)]


def _stripped(page: list[str]) -> list[str]:
    end = len(page)
    while end and not page[end - 1]:
        end -= 1
    return page[:end]


def _pieces(block: Block) -> Iterator[list[str]]:
    """A block in one piece; where it is longer than a page, bank by bank."""
    head = wrap(_printable(block.title), WIDTH, break_on_hyphens=False)
    head += ["-" * max(len(line) for line in head)] if head else []
    mark, inner = ("- ", "  ") if len(block.remarks) > 1 else ("", "")
    for remark in block.remarks:
        told = mark + _printable(remark)
        head += wrap(told, WIDTH, subsequent_indent=inner, break_on_hyphens=False)
    parts = [[*_bank(bank), ""] for bank in _banks(block.columns)]
    if block.drawing or not parts:
        parts.append([*(_printable(line) for line in block.drawing), ""])
    parts[0] = [*head, *parts[0]]
    whole = [line for part in parts for line in part]
    if len(whole) <= LINES - _HEAD:
        parts = [whole]
    yield from parts


def _banks(columns: tuple[Column, ...]) -> Iterator[list[Column]]:
    """Columns that fit side by side; where labels were left out, a new bank names them again."""
    bank: list[Column] = []
    taken = 0
    for column in columns:
        if bank and taken + _BETWEEN + _width(column) > WIDTH:
            yield bank
            bank, taken = [], 0
            column = Column(column.title, column.numbers)
        taken += _width(column) + (_BETWEEN if bank else 0)
        bank.append(column)
    if bank:
        yield bank


def _label(number: Number) -> str:
    return _printable(f"{number.item}  {number.unit}".rstrip())


def _label_lines(number: Number) -> list[str]:
    """What a number is, over several lines where names are long; the number stands by the last."""
    return wrap(_label(number), _LONGEST, break_on_hyphens=False) or [""]


def _labels(column: Column) -> int:
    if not column.labels:
        return 0
    lines = [line for number in column.numbers for line in _label_lines(number)]
    return max((len(line) for line in lines), default=0) + 1


def _planned(column: Column) -> int:
    return max([_PLANNED, *(len(number.text) for number in column.numbers)])


def _titles(column: Column) -> list[str]:
    """The title of a column, over several lines where it would not fit on one."""
    return wrap(_printable(column.title), WIDTH, break_on_hyphens=False) or [""]


def _width(column: Column) -> int:
    own = _labels(column) + _planned(column) + 1 + _BLANK
    return max(own, *(len(line) for line in _titles(column)))


def _bank(bank: list[Column]) -> list[str]:
    above = max(len(_titles(column)) for column in bank)
    parts = [_column(column, above) for column in bank]
    height = max(len(part) for part in parts)
    lines: list[str] = []
    for row in range(height):
        cells = [
            (part[row] if row < len(part) else "").ljust(_width(column))
            for part, column in zip(parts, bank, strict=True)
        ]
        lines.append((" " * _BETWEEN).join(cells).rstrip())
    return lines


def _column(column: Column, above: int) -> list[str]:
    """A column as lines, its title over as many of them as the longest beside it takes."""
    labels, planned = _labels(column), _planned(column)
    titles = _titles(column)
    lines = [*[""] * (above - len(titles)), *titles]
    lines.append(f"{'':<{labels}}{'planned':>{planned}} {'as taught':<{_BLANK}}")
    for number in column.numbers:
        *before, last = _label_lines(number) if column.labels else [""]
        lines += [*before, f"{last:<{labels}}{number.text:>{planned}} " + "_" * _BLANK]
    return lines


def _printable(line: str) -> str:
    """Names are data: nothing in them may move the cursor or start a page."""
    return "".join(letter if letter.isprintable() else "?" for letter in line)
