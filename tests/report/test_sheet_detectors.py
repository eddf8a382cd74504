"""What the sheet says of detectors: the table, the words, and that they stand on paper."""

import re

import pytest

from envelope.cell.load import load_text
from envelope.checks.finding import Result
from envelope.report import sheet_text
from envelope.report.sheet_detectors import detectors
from envelope.report.sheet_infeed_drawing import infeed_drawing
from tests.motion.test_detectors import CELL, made


def section(*options: str) -> str:
    cell, _, _ = made(*options)
    part = detectors(cell, Result(cell.name, cell.sha256, ()))
    from envelope.report.sheet import Sheet

    return sheet_text.as_text(Sheet(cell.name, cell.sha256, "", (part,)))


def table(text: str) -> dict[str, str]:
    return dict(re.findall(r"^ +([01](?: +[01])*) {3}(\S.*)$", text, re.M))


def test_the_truth_table_lists_every_combination_and_says_what_it_allows():
    rows = {re.sub(r"\s+", "", on): said for on, said in table(section()).items()}
    assert set(rows) == {"00", "01", "10", "11"}
    assert rows["00"].startswith("NONE")
    assert rows["01"].startswith("NONE: D1 off")
    assert rows["10"] == "single"
    assert rows["11"] == "pair or single"


def test_words_say_that_the_pattern_chooses_and_what_the_odd_carton_does():
    text = " ".join(section().split())
    assert "Ready for pair: D1 and D2 on, without a break for 0.3 s" in text
    assert "D1 is also on when pair stands there: the pattern, not the detector, chooses" in text
    assert "When pair is due and only one carton is left, it is not released" in text
    assert "leaves none over after 2, 3 cartons" in text
    assert "THE CELL STATES NO TOLERANCES" in text
    assert "DO NOT RUN" not in text


def test_a_single_that_stands_elsewhere_than_the_pairs_cartons_is_warned_of():
    """It stands in the middle, over the seam of two that stand side by side."""
    text = " ".join(section("{pick_position: 3}", "{}", "y").split())
    assert "with pair at the stop, single must not be picked" in text
    assert "They may go on as single" not in text
    assert "must not be picked" not in section()
    # Between guides that are set for the pair it may stand anywhere, and is seen nowhere surely.
    assert "it may go too far across" in " ".join(section("{}", "{}", "y").split())


def test_a_single_of_another_carton_is_no_part_of_a_pair():
    """As large and in the same place, and yet not what the detectors should release it for."""
    text = CELL.replace("TOLERANCES", "{}").replace("DETECTORS", "{}").replace("ALONG", "x")
    text = text.replace("{carton: oats, count: 1}", "{carton: rye, count: 1}")
    text = text.replace("groups:", "  rye: {size: [400, 260, 230], mass: 5}\ngroups:")
    cell = load_text(text, "cell.yaml")
    part = detectors(cell, Result(cell.name, cell.sha256, ()))
    words = " ".join(remark for block in part.blocks for remark in block.remarks)
    assert "with pair at the stop, single must not be picked" in words
    assert "They may go on as single" not in words


@pytest.mark.parametrize(
    ("tolerances", "said"),
    [
        ("{pick_position: 1}", "enough: the cups stay on their cartons, with 4.0 mm left"),
        ("{pick_position: 6}", "can come 1.0 mm over the left edge"),
    ],
)
def test_wander_is_judged_against_the_cups(tolerances, said):
    assert said in " ".join(section(tolerances).split())


def test_detectors_that_are_wrong_are_said_so_loudly():
    text = " ".join(section("{}", "{positions: [30]}").split())
    assert "WRONG AS PLANNED, DO NOT RUN" in text
    assert "NEVER READY for pair" in text
    assert "Ready for single: D1 on" in text


def test_many_detectors_are_listed_by_group_and_fit_on_paper():
    places = "{positions: [30, 130, 230, 330, 450, 550, 650]}"
    text = section("{}", places)
    assert "any other combination: NONE" in text
    for page in text.split("\f"):
        assert max(len(line) for line in page.splitlines()) <= sheet_text.WIDTH
    rows = dict(re.findall(r"^ +((?:[01-] +){7})(\S+)$", text, re.M))
    assert {said: on.split() for on, said in rows.items()} == {
        "pair": ["1"] * 7,
        "single": ["1", "1", "1", "1", "-", "-", "-"],
    }


def test_the_drawing_shows_each_detector_over_the_carton_that_it_sees():
    _, groups, told = made()
    lines = infeed_drawing(list(groups.values()), told)
    marks = [k for k, letter in enumerate(next(x for x in lines if "v" in x)) if letter == "v"]
    pair = next(line for line in lines if line.endswith("  pair"))
    cartons = [found.span() for found in re.finditer(r"\[=*\d=*\]", pair)]
    assert len(marks) == len(cartons) == 2
    for mark, (begin, end) in zip(marks, cartons, strict=True):
        assert begin <= mark < end
    # 800 mm over 62 letters, and the single as long as the first of the pair.
    assert cartons[1][1] - cartons[0][0] == 62
    single = next(line for line in lines if line.endswith("  single"))
    assert re.search(r"\[=*\d=*\]", single).span() == cartons[0]
    names = next(line for line in lines if "D1" in line)
    assert [names.index("D1"), names.index("D2")] == marks


def test_detectors_close_together_keep_their_names_apart():
    _, groups, told = made("{}", "{positions: [10, 12, 14, 450]}")
    lines = infeed_drawing(list(groups.values()), told)
    assert sorted(re.findall(r"D\d", " ".join(lines))) == ["D1", "D2", "D3", "D4"]
    assert infeed_drawing(list(groups.values()), made("{pick_position: 3}", "{}", "y")[2]) == ()
