import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from envelope.surveys.errors import SurveyError
from envelope.surveys.ranges import all_variants, read_range, read_setting_range


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("600:900:50", ("600", "650", "700", "750", "800", "850", "900")),
        ("-100:100:100", ("-100", "0", "100")),
        ("0:1:0.3", ("0", "0.3", "0.6", "0.9")),
        ("0.1:0.7:0.1", ("0.1", "0.2", "0.3", "0.4", "0.5", "0.6", "0.7")),
        ("5:5:1", ("5",)),
        ("90, 0,-0", ("0", "90")),
        ("650", ("650",)),
        ("1e3:1.2e3:100", ("1000", "1100", "1200")),
    ],
)
def test_ranges_are_read_as_written(text, values):
    assert read_range("k", text).values == values


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("600:900", "2 parts"),
        ("600:900:50:1", "4 parts"),
        ("600:900:0", "not above 0"),
        ("600:900:-50", "not above 0"),
        ("900:600:50", "smaller value first"),
        ("0:1:0.0000001", "take a larger step"),
        ("a:b:c", "not a number"),
        ("1:inf:1", "out of all proportion"),
        ("nan", "out of all proportion"),
        ("", "not a number"),
        ("600 mm:900 mm:50 mm", "units of the cell file"),
    ],
)
def test_wrong_ranges_are_told(text, said):
    with pytest.raises(SurveyError, match=said) as error:
        read_range("arm.at.x", text)
    assert "arm.at.x" in str(error.value)


@pytest.mark.parametrize("text", ["600:900:50", "=600:900:50"])
def test_a_range_without_a_key_is_told(text):
    with pytest.raises(SurveyError, match="names no key"):
        read_setting_range(text)


def test_all_combinations_come_once_the_last_running_fastest():
    ranges = [read_range("a", "1:2:1"), read_range("b", "1:3:1")]
    assert all_variants(ranges)[:4] == [
        ("a=1", "b=1"),
        ("a=1", "b=2"),
        ("a=1", "b=3"),
        ("a=2", "b=1"),
    ]
    assert len(set(all_variants(ranges))) == 6


def test_a_key_ranged_twice_and_too_many_variants_are_told():
    with pytest.raises(SurveyError, match="ranged twice"):
        all_variants([read_range("a", "1"), read_range("a", "2")])
    with pytest.raises(SurveyError, match="1000000 variants"):
        all_variants([read_range(key, "1:1000:1") for key in "ab"])


@given(st.integers(-1000, 1000), st.integers(1, 40), st.integers(1, 400))
@settings(max_examples=50, deadline=None)
def test_the_end_is_a_value_whenever_steps_meet_it(start, count, step):
    at = start / 100
    text = f"{at:.2f}:{(start + count * step) / 100:.2f}:{step / 100:.2f}"
    numbers = read_range("k", text).numbers
    assert len(numbers) == count + 1
    assert numbers[-1] == (start + count * step) / 100
