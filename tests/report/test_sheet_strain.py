"""What the sheet repeats of load and hold: the worst of the group, and of no other."""

from dataclasses import replace

from envelope.checks.finding import Finding
from envelope.report.sheet_strain import strain
from tests.report import synthetic

LIGHT = Finding("load", "pass", 60.0, 100.0, "%", "light")
HEAVY = Finding("load", "pass", 82.5, 100.0, "%", "heavy")
SLIPS = Finding("hold", "fail", 70.0, 100.0, "%", "slips")
FIRM = Finding("hold", "pass", 90.0, 100.0, "%", "firm")


def test_the_tightest_of_each_check_is_told_with_its_placement():
    result = synthetic.result(
        synthetic.judged(1, LIGHT, FIRM), synthetic.judged(2, HEAVY), synthetic.judged(3, SLIPS)
    )
    (block,) = strain(synthetic.GROUP, result)
    assert block.remarks == (
        "load, pass, tightest at A/1/2: heavy.",
        "hold, fail, tightest at A/1/3: slips.",  # a failure comes before a larger share
    )
    assert [number.text for number in block.numbers()] == ["82.5", "70.0"]


def test_other_groups_and_other_checks_play_no_part():
    other = replace(synthetic.GROUP, name="other")
    result = synthetic.result(synthetic.judged(1, HEAVY, synthetic.PASS))
    assert list(strain(other, result)) == []
    assert (
        list(strain(synthetic.GROUP, synthetic.result(synthetic.judged(1, synthetic.PASS)))) == []
    )


def test_a_load_that_was_not_checked_is_told_before_one_that_passes():
    unknown = Finding("load", "not checked", None, None, "%", "the arm states no rating")
    result = synthetic.result(synthetic.judged(1, HEAVY), synthetic.judged(2, unknown))
    (block,) = strain(synthetic.GROUP, result)
    assert block.remarks == ("load, not checked, tightest at A/1/2: the arm states no rating.",)
    assert block.numbers() == ()
