"""The set-up sheet as files that come back filled in: CSV for spreadsheets, and JSON.

Both have one line a number, with its key, what was planned, and an empty place for what was
taught; `envelope check --taught` reads either of them.
"""

import csv
import io
import json
from typing import Any

from .sheet import Block, Number, Sheet

FORMAT = 1
HEADINGS = ("key", "section", "block", "item", "planned", "unit", "as taught")


def as_csv(sheet: Sheet) -> str:
    """The sheet as comma-separated values, with a line of headings."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(HEADINGS)
    for section in sheet.sections:
        for block in section.blocks:
            for column in block.columns:
                for number in column.numbers:
                    item = f"{column.title}: {number.item}" if column.title else number.item
                    row = (section.title, block.title, item, number.text, number.unit, "")
                    writer.writerow([_harmless(value) for value in (number.key, *row)])
    return text.getvalue()


def _harmless(value: str) -> str:
    """Text that a spreadsheet would take for a formula gets a leading apostrophe."""
    if value[:1] not in ("=", "+", "-", "@", "\t", "\r"):
        return value
    try:
        float(value)
    except ValueError:
        return "'" + value
    return value


def as_json(sheet: Sheet) -> str:
    """The sheet as JSON, one number a line, with a newline at the end."""
    head = {
        "format": FORMAT,
        "cell": {"name": sheet.cell_name, "sha256": sheet.sha256},
        "verdict": sheet.verdict,
    }
    sections = ",\n".join(
        f'{{"title": {_dump(section.title)}, "blocks": [\n'
        + ",\n".join(_block(block) for block in section.blocks)
        + "\n]}"
        for section in sheet.sections
    )
    return f'{_dump(head)[:-1]}, "sections": [\n{sections}\n]}}\n'


def _block(block: Block) -> str:
    head = _dump(
        {"title": block.title, "remarks": list(block.remarks), "drawing": list(block.drawing)}
    )
    numbers = ",\n".join(
        _dump(_number(column.title, number))
        for column in block.columns
        for number in column.numbers
    )
    return (
        f'{head[:-1]}, "numbers": [\n{numbers}\n]}}' if numbers else f'{head[:-1]}, "numbers": []}}'
    )


def _number(title: str, number: Number) -> dict[str, Any]:
    return {
        "key": number.key,
        "item": f"{title}: {number.item}" if title else number.item,
        "planned": float(number.text),
        "unit": number.unit,
        "as taught": None,
    }


def _dump(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)
