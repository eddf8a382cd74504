"""Offset: what is held, by which cups, and what is held that must not be."""

import pytest

from envelope.cell.load import load_text
from envelope.verify import check
from tests.report.test_sheet import PAIRS

SINGLE = "fields: {1: left}, turns: [0, 180]}"


def _offsets(text: str):
    """Findings of the single's placement in the first layer."""
    assert SINGLE in PAIRS
    result = check(load_text(text, "cell.yaml"), placements=["A/1/2"])
    return [f for f in result.placements[0].findings if f.check == "offset"]


def test_a_single_under_its_own_field_is_as_it_should_be():
    (finding,) = _offsets(PAIRS)
    assert finding.verdict == "pass"


def test_a_single_picked_with_the_fields_of_a_pair_grips_the_next_in_the_queue_and_says_so():
    """Both heads on, 380 mm to each side: the carton behind begins 200 mm from the middle."""
    both = PAIRS.replace(SINGLE, "fields: {1: [left, right]}, turns: [0, 180]}")
    found = [f for f in _offsets(both) if f.verdict == "fail"]
    assert found
    for finding in found:
        assert finding.between is not None
        assert finding.between[0].startswith("tool/")
        assert finding.between[1] == "infeed/queue 1 behind single"
        assert "also grip the carton that queues behind" in finding.message
        # Columns of three cups at 57.5, 152.5, 247.5 and 342.5, rims 30 more: two beyond 200.
        assert finding.value == 6


@pytest.mark.parametrize("change", ["queue: 0", "queue_gap: 250"])
def test_with_nothing_under_the_second_field_it_grips_no_stranger(change):
    both = PAIRS.replace(SINGLE, "fields: {1: [left, right]}, turns: [0, 180]}")
    clear = both.replace("  width: 400\n", f"  width: 400\n  {change}\n")
    assert clear != both
    assert not [f for f in _offsets(clear) if "queues behind" in f.message]


def test_an_offset_that_is_stated_wrong_fails_and_a_right_one_passes():
    for stated, verdict in (("[-200, 0]", "pass"), ("[-201, 1]", "pass"), ("[-203, 0]", "fail"),
                            ("[200, 0]", "fail")):  # fmt: skip
        text = PAIRS.replace(SINGLE, f"fields: {{1: left}}, offset: {stated}}}")
        assert _offsets(text)[0].verdict == verdict
