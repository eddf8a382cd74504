"""Distances that concern people, against published numbers; standards as reproduced."""

import math

import pytest

from envelope.surveys import guard_tables
from envelope.surveys.guard_hints import (
    Asked,
    curtain_distance,
    fence_distance,
    field_distance,
    hints,
)
from envelope.surveys.space_clearance import Nearest


@pytest.mark.parametrize(
    ("stopping", "resolution", "distance"),
    [
        # Source: ISO 13855:2010, as reproduced; numbers worked out from it beforehand.
        (0.32, 14, 512),
        (0.165, 14, 330),
        (0.30, 14, 500),
        (0.25, 14, 500),
        (0.20, 30, 500),
        (0.5, 50, 1650),  # several beams, over 40 up to 70 mm
    ],
)
def test_light_curtains(stopping, resolution, distance):
    assert curtain_distance(stopping, resolution) == pytest.approx(distance)


@pytest.mark.parametrize(("height", "distance"), [(300, 1880), (1000, 1650)])
def test_detection_fields(height, distance):
    """Source: ISO 13855:2010, as reproduced; T 0.5 s."""
    assert field_distance(0.5, height) == pytest.approx(distance)


def test_curtains_never_come_nearer_when_stopping_takes_longer_or_less_is_seen():
    times = [0.01 * k for k in range(1, 200)]
    for resolution in (10, 14, 20, 30, 40, 41, 70):
        found = [curtain_distance(t, resolution) for t in times]
        assert found == sorted(found)
    for t in times:
        found = [curtain_distance(t, d) for d in (1, 14, 20, 30, 40)]
        assert found == sorted(found)
        assert found[0] >= 100


@pytest.mark.parametrize(
    ("fence", "risk", "lowest", "highest", "distance"),
    [
        # Source: ISO 13857:2019, low risk, as reproduced in the Austrian AM-VO, annex 1.
        (1400, "low", 1400, 1400, 900),
        (1800, "low", 1800, 1800, 600),
        (2000, "low", 2000, 2200, 350),
        (2500, "low", 0, 3000, 0),
        # between rows the safer one
        (1800, "low", 1450, 1450, 500),
        (1800, "low", 1650, 1650, 600),
        # between columns the safer one
        (1700, "low", 1800, 1800, 900),
        # Source: ISO 13857:2019, high risk, the column as reproduced by CE-Beratung Dr. Birn.
        (2000, "high", 2600, 2600, 500),
        (2000, "high", 1600, 1600, 500),
        (2000, "high", 0, 1400, 0),
        # from memory
        (1400, "high", 0, 2700, 1100),
    ],
)
def test_fences(fence, risk, lowest, highest, distance):
    assert fence_distance(fence, risk, lowest, highest) == distance


@pytest.mark.parametrize("risk", ["low", "high"])
def test_a_fence_stands_no_nearer_than_for_any_height_or_fence_beside(risk):
    """Nothing between two rows or columns is less than the greater of both."""
    columns, rows = {
        "low": (guard_tables.LOW_COLUMNS, guard_tables.LOW_ROWS),
        "high": (guard_tables.HIGH_COLUMNS, guard_tables.HIGH_ROWS),
    }[risk]
    for row in rows.values():
        assert list(row) == sorted(row, reverse=True)  # a higher fence never stands farther
    for fence in range(columns[0], 2800, 50):
        whole = fence_distance(fence, risk, 0, 3000)
        for height in range(0, 3000, 50):
            at = fence_distance(fence, risk, height, height)
            assert at <= whole
            for other in (height - 1, height + 1):
                if not {other, height} & set(rows):
                    assert fence_distance(fence, risk, other, other) == at
        lower = max(c for c in columns if c <= fence)
        assert whole >= fence_distance(lower, risk, 0, 3000)


@pytest.mark.parametrize(
    "call",
    [
        lambda: curtain_distance(0.3, 71),
        lambda: curtain_distance(0.3, 0),
        lambda: field_distance(0.3, 1001),
        lambda: fence_distance(999, "low", 0, 1000),
    ],
)
def test_beyond_the_tables_there_is_no_number(call):
    with pytest.raises(ValueError, match=r"no (formula|table)"):
        call()


NEAR = (
    Nearest("fence", 0.31, 0.311, "tool/plate", "A/1/1", "transfer"),
    Nearest("lamp", 0.09, 0.091, "tool/plate", "A/1/1", "transfer"),
    Nearest("wall", -math.inf, -math.inf),
    Nearest("tree", 0.5, None),
)


def test_only_what_was_asked_is_hinted_at():
    assert hints(Asked(), 144, 2000, NEAR) == ()
    assert hints(Asked(stopping=0.3), 144, 2000, NEAR) == ()
    assert hints(Asked(fence=2000), 144, 2000, NEAR) == ()
    every = Asked(1400, "low", 0.32, 14, 300, "body")
    told = hints(every, 144, 2000, NEAR)
    assert [hint.what for hint in told] == [
        *("reach over fence", "light curtain", "detection field", "crushing")
    ]
    assert [hint.distance for hint in told] == [900, 512, 1592, None]
    for hint in told:
        words = " ".join(hint.lines)
        assert "ISO 138" in words
        assert "reproduced" in words or "from memory" in words


@pytest.mark.parametrize(
    ("part", "narrow"),
    [("body", ["fence", "lamp", "wall"]), ("hand", ["lamp", "wall"]), ("finger", ["wall"])],
)
def test_gaps(part, narrow):
    """Source: ISO 13854, as reproduced: body 500, hand 100, finger 25 mm."""
    (hint,) = hints(Asked(gap=part), 0, 0, NEAR)
    assert all((name in hint.lines[0]) == (name in narrow) for name in ("fence", "lamp", "wall"))
    assert "tree" not in hint.lines[0]
    assert guard_tables.GAPS == {
        **{"body": 500, "head": 300, "leg": 180, "foot": 120},
        **{"toes": 50, "arm": 120, "hand": 100, "finger": 25},
    }
