"""Tables that come back filled in, by hand or through a spreadsheet: what is read, what is told."""

import json
from pathlib import Path

import pytest

from envelope.cell.errors import CellError
from envelope.cell.taught import LARGEST_FILE, Printed, TaughtFile

KNOWN = {
    "infeed.x": Printed("400.00", "mm"),
    "infeed.c": Printed("180.000", "deg"),
    "tool.mass": Printed("8.000", "kg"),
    "motion.grip time": Printed("0.30", "s"),
}
MOTION = {"home.joint 1": "deg"}
HEAD = "key,section,block,item,planned,unit,as taught\n"


def line(key: str, planned: str, taught: str = "") -> str:
    return f"{key},once,Frames,what,{planned},mm,{taught}\n"


def read(folder: Path, text: str | bytes):
    """What is filled in, by key, and all problems as text."""
    path = folder / "t.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    file = TaughtFile(path)
    found = {entry.key: entry for entry in file.filled(KNOWN, MOTION)}
    return found, "\n".join(str(problem) for problem in file.problems)


def test_values_come_in_si_units_and_blank_ones_not_at_all(tmp_path):
    text = HEAD + line("infeed.x", "400.00", "401.50") + line("infeed.c", "180.000", "180.000")
    found, problems = read(tmp_path, text + line("tool.mass", "8.000"))
    assert problems == ""
    assert set(found) == {"infeed.x", "infeed.c"}
    assert found["infeed.x"].shift == pytest.approx(0.0015)
    assert found["infeed.x"].line == 2
    assert not found["infeed.c"].changed
    assert found["infeed.c"].shift == 0.0  # exactly: as printed is as planned


@pytest.mark.parametrize(
    "text",
    [
        "\ufeff" + (HEAD + line("infeed.x", "400.00", "401.50")).replace("\n", "\r\n"),
        (HEAD + line("infeed.x", "400.00", "401.50")).replace(",", ";").replace(".50", ",50"),
        (HEAD + line("infeed.x", "400", "401.5")).replace(",", "\t"),
        "as taught,planned,key\n401.5,400,infeed.x\n\n,,\n",
    ],
    ids=["mark and line ends", "semicolons and decimal commas", "tabs", "columns moved"],
)
def test_what_a_spreadsheet_does_to_a_table_changes_no_value(tmp_path, text):
    found, problems = read(tmp_path, text)
    assert problems == ""
    assert found["infeed.x"].taught == pytest.approx(0.4015)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (line("infeed.y", "0.00", "1"), "the sheet of this cell has no such number"),
        (line("infeed.x", "390.00"), "planned 390.00 here, but 400.00 mm in the cell"),
        (line("infeed.x", "400.00", "abc"), 'as taught: "abc"'),
        (line("infeed.x", "400.00", "nan"), "as taught:"),
        (line("infeed.x", "400.00", "1e9"), "as taught:"),
        (line("tool.mass", "8.000", "-1"), "as taught:"),
        (line("infeed.x", "400.00", '"1,234"'), "write 1234 or 1.234"),
        (line("infeed.x", "400.00") * 2, "written twice, first on line 2"),
        ("infeed.x\n", "the line is too short"),
        (line("infeed.x", "", "400"), "planned:"),
    ],
)
def test_every_mistake_is_told_with_line_and_key(tmp_path, text, told):
    _, problems = read(tmp_path, HEAD + text)
    assert told in problems
    assert ":2" in problems or ":3" in problems or "line" in problems


def test_all_mistakes_come_at_once(tmp_path):
    text = HEAD + line("infeed.z", "0.00") + line("infeed.x", "400.00", "x")
    _, problems = read(tmp_path, text)
    assert len(problems.splitlines()) == 2


def test_a_table_without_its_headings_is_no_table(tmp_path):
    _, problems = read(tmp_path, line("infeed.x", "400.00", "401"))
    assert 'the first line has no column "key"' in problems


def test_json_with_and_without_values(tmp_path):
    numbers = [
        {"key": "infeed.x", "item": "x", "planned": 400.0, "unit": "mm", "as taught": 402},
        {"key": "tool.mass", "item": "mass", "planned": 8.0, "unit": "kg", "as taught": None},
        {"key": "home.joint 1", "planned": 10.0, "as taught": 11.0},
    ]
    data = {"format": 1, "sections": [{"blocks": [{"numbers": numbers}]}]}
    found, problems = read(tmp_path, json.dumps(data, indent=1))
    assert problems == ""
    assert found["infeed.x"].shift == pytest.approx(0.002)
    assert set(found) == {"infeed.x", "home.joint 1"}
    del numbers[0]["as taught"]
    numbers[1]["as taught"] = True
    found, problems = read(tmp_path, json.dumps(data, indent=1))
    assert '"as taught" is missing' in problems
    assert "as taught: yes" in problems or "as taught: true" in problems
    _, problems = read(tmp_path, '{"sections": [')
    assert "this is not JSON" in problems
    _, problems = read(tmp_path, "{" + '"a":[' * 100_000)
    assert "this is not JSON" in problems


def test_a_file_that_is_none_or_too_large_is_refused(tmp_path):
    with pytest.raises(CellError, match="no such file"):
        TaughtFile(tmp_path / "none.csv")
    large = tmp_path / "large.csv"
    large.write_bytes(b"x" * (LARGEST_FILE + 1))
    with pytest.raises(CellError, match="larger than"):
        TaughtFile(large)
