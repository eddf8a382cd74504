from dataclasses import replace

import pytest

from envelope.report.problems import against_limit
from envelope.report.text import CAUTION, as_text, verdict_line

from . import synthetic as made


def shown(*judged, width=100):
    result = made.result(*judged)
    return as_text(result, made.cell_of(result), width)


def test_a_line_for_each_layer():
    text = shown(
        made.judged(1, made.PASS),
        made.judged(2, made.CLASH),
        made.judged(3, made.NEAR, layer=2),
    )
    table = [line.split() for line in text.splitlines()[2:5]]
    assert table[0] == ["pallet", "layer", "placements", "pass", "marginal", "fail"]
    assert table[1] == ["A", "1", "2", "1", "-", "1"]
    assert table[2] == ["A", "2", "1", "-", "1", "-"]


def test_a_column_for_not_checked_appears_when_it_is_needed():
    text = shown(made.judged(1, made.NOT_CHECKED, motion=False))
    assert text.splitlines()[2].endswith("not checked")
    assert text.splitlines()[3].split()[-1] == "1"


def test_a_problem_says_check_value_limit_instant_bodies_and_cure():
    text = " ".join(shown(made.judged(1, made.PASS, made.CLASH)).split())
    assert "fail: collision" in text
    assert "A/1/1 transfer at 2.31 s, 3.21 to 3.29 mm (limit 20 mm)" in text
    assert "link/forearm and carton/A/1/1" in text
    assert "Raise the transfer" in text


def test_every_placement_that_is_no_clear_pass_has_its_line():
    many = [made.judged(number, made.CLASH._replace(value=number / 2)) for number in range(1, 30)]
    text = shown(*many, made.judged(30, made.NEAR), made.judged(31, made.PASS))
    starts = [line.split()[0] for line in text.splitlines() if line.startswith("  A/")]
    assert sorted(starts) == sorted(f"A/1/{number}" for number in range(1, 31))


def test_the_same_problem_is_explained_once_with_the_worst_first():
    many = [
        made.judged(
            number,
            made.CLASH._replace(
                value=10.0 - number,
                upper=10.2 - number,
                between=("link/forearm", f"carton/A/1/{number}"),
            ),
        )
        for number in (1, 2, 3)
    ]
    text = shown(*many, width=200)
    assert "fail: collision, 3 placements" in text
    assert text.count("Raise the transfer") == 1
    order = [line.split()[0] for line in text.splitlines() if line.startswith("  A/")]
    assert order == ["A/1/3", "A/1/1", "A/1/2"]
    assert text.count("; more room: +y and up") == 2


def test_a_problem_without_a_number_keeps_its_words_on_every_line():
    steep = made.OUT_OF_REACH._replace(segment="approach place", message="no straight way in")
    text = shown(*(made.judged(number, steep, motion=False) for number in (1, 2)))
    for number in (1, 2):
        assert f"  A/1/{number}  approach place: no straight way in\n" in text


def test_different_problems_are_not_thrown_together():
    other = made.CLASH._replace(between=("tool/plate", "obstacle/fence"))
    text = shown(made.judged(1, made.CLASH), made.judged(2, other))
    assert text.count("fail: collision") == 2


def test_failures_come_before_marginal_ones():
    text = shown(made.judged(1, made.NEAR), made.judged(2, made.CLASH))
    assert text.index("fail: collision") < text.index("marginal: collision")


def test_other_checks_that_fail_are_named():
    text = shown(made.judged(1, made.OUT_OF_REACH, made.NEAR))
    assert "[also: collision marginal]" in text


@pytest.mark.parametrize("width", [60, 100])
def test_lines_keep_to_the_width(width):
    text = shown(made.judged(1, made.CLASH), made.judged(2, made.NEAR), width=width)
    assert max(map(len, text.splitlines())) <= width


def test_assumptions_notes_and_caution_are_told():
    text = " ".join(shown(made.judged(1, made.PASS)).split())
    assert "so taken: clearances: arm_to_any 20 mm motion: lift_off 150 mm" in text
    assert "mesh frame.stl is not closed" in text
    assert "of the bodies as modelled, at nominal size" in text
    assert CAUTION in text


def test_an_offset_of_just_a_hundred_is_not_taken_for_a_cap():
    offset = made.PASS._replace(check="offset", value=100.0, limit=2.0, unit="mm")
    assert against_limit(offset) == "100 mm (limit 2 mm)"


def test_a_name_cannot_move_the_cursor():
    result = replace(made.result(made.judged(1, made.PASS)), cell_name="\x1b[31mred\r")
    text = as_text(result, made.cell_of(result))
    assert text.startswith("?[31mred?\n")


@pytest.mark.parametrize(
    ("findings", "line"),
    [
        ([made.PASS, made.PASS], "PASS: 2 placements pass."),
        ([made.PASS], "PASS: 1 placement passes."),
        ([made.PASS, made.NEAR], "MARGINAL: of 2 placements 1 is marginal."),
        ([made.CLASH, made.CLASH, made.NEAR], "FAIL: of 3 placements 2 fail, 1 is marginal."),
        ([made.PASS, made.NOT_CHECKED], "NOT CHECKED: of 2 placements 1 could not be checked."),
        ([made.CLASH, made.NOT_CHECKED], "FAIL: of 2 placements 1 fails, 1 could not be checked."),
    ],
)
def test_verdict_line(findings, line):
    result = made.result(
        *(made.judged(number, finding) for number, finding in enumerate(findings, start=1))
    )
    assert verdict_line(result, made.cell_of(result)) == line


def test_a_pass_of_some_placements_is_not_a_pass_of_the_cell():
    result = made.result(made.judged(1, made.PASS))
    cell = made.cell((made.placement(1), made.placement(2)))
    assert verdict_line(result, cell).endswith("Only these were checked, of 2 in the cell.")


@pytest.mark.parametrize(
    ("value", "upper", "limit", "text"),
    [
        (3.2149, 3.2851, 20.0, "3.21 to 3.29 mm (limit 20 mm)"),
        (19.9999, 20.0001, 20.0, "19.99 to 20.01 mm (limit 20 mm)"),
        (100.0, None, 20.0, "more than 100 mm (limit 20 mm)"),
        (-20.0, None, 20.0, "deeper than 20 mm (limit 20 mm)"),
        (None, -20.0, 20.0, "at most -20 mm (limit 20 mm)"),
        (-1.5, None, None, "-1.5 mm"),
        (None, None, 20.0, ""),
    ],
)
def test_value_against_limit(value, upper, limit, text):
    assert against_limit(made.CLASH._replace(value=value, upper=upper, limit=limit)) == text
