import json
import math
from dataclasses import replace

import numpy as np
import pytest

from envelope.report.results import as_json, joint_scale

from . import synthetic as made

TOP_KEYS = ["format", "cell", "verdict", "counts", "findings", "rate", "placements"]
PLACEMENT_KEYS = [
    "id",
    "pallet",
    "layer",
    "order",
    "group",
    "pose",
    "verdict",
    "findings",
    "cycle",
]
FINDING_KEYS = [
    "check",
    "verdict",
    "value",
    "upper",
    "limit",
    "unit",
    "between",
    "segment",
    "at",
    "message",
    "worst_case",
]


def written(*judged):
    result = made.result(*judged)
    return json.loads(as_json(result, made.cell_of(result)))


def test_keys_stand_in_their_order():
    data = written(made.judged(1, made.PASS, made.CLASH))
    assert list(data) == TOP_KEYS
    assert data["format"] == 1
    assert data["cell"] == {"name": "Two layers", "sha256": "ab" * 32}
    placement = data["placements"][0]
    assert list(placement) == PLACEMENT_KEYS
    assert list(placement["pose"]) == ["x", "y", "z", "yaw"]
    assert all(list(finding) == FINDING_KEYS for finding in placement["findings"])
    assert list(placement["cycle"]) == ["number", "seconds", "segments"]
    assert list(placement["cycle"]["segments"][0]) == ["name", "kind", "joints", "times"]


def test_counts_and_verdict():
    data = written(
        made.judged(1, made.PASS),
        made.judged(2, made.NEAR),
        made.judged(3, made.CLASH),
        made.judged(4, made.NOT_CHECKED, motion=False),
    )
    assert list(data["counts"]) == ["placements", "pass", "marginal", "fail", "not_checked"]
    assert list(data["counts"].values()) == [4, 1, 1, 1, 1]
    assert data["verdict"] == "fail"
    assert [p["verdict"] for p in data["placements"]] == ["pass", "marginal", "fail", "not checked"]
    assert data["placements"][3]["cycle"] is None


def test_units_are_millimetres_degrees_and_seconds():
    data = written(made.judged(1, made.PASS))
    assert data["placements"][0]["pose"] == {"x": 200.0, "y": -100.0, "z": 250.0, "yaw": 90.0}
    motion = data["placements"][0]["cycle"]
    assert motion["seconds"] == 2.0
    transfer, back = motion["segments"]
    assert transfer["joints"] == [[100.0, -180.0], [250.0, 60.0]]  # a slide, then a turn
    assert transfer["times"] == [0.0, 1.25]
    assert str(back["joints"][1][1]) == "0.0"  # not "-0.0"


def test_sliding_joints_are_scaled_as_lengths():
    assert joint_scale(made.arm().chain) == pytest.approx([1000.0, 180.0 / math.pi])


def test_rows_lose_no_more_than_the_stated_rounding():
    rng = np.random.default_rng(5)
    motion = made.cycle()
    rows = np.round(np.degrees(rng.uniform(-3, 3, (50, 2))), 5)
    segment = replace(
        motion.segments[0], joints=np.radians(rows) * [0.18 / np.pi, 1.0], times=np.arange(50.0)
    )
    judged = made.judged(1, made.PASS)
    judged = replace(judged, cycle=replace(motion, segments=(segment,)))
    data = written(judged)
    assert data["placements"][0]["cycle"]["segments"][0]["joints"] == rows.tolist()


def test_ends_of_a_bracket_are_rounded_outwards():
    close = made.CLASH._replace(value=19.999999, upper=20.000001, limit=20.0)
    finding = written(made.judged(1, close))["placements"][0]["findings"][0]
    assert finding["value"] < 19.999999
    assert finding["upper"] > 20.000001
    exact = made.CLASH._replace(value=0.1, upper=0.3)
    finding = written(made.judged(1, exact))["placements"][0]["findings"][0]
    assert (finding["value"], finding["upper"]) == (0.1, 0.3)


def test_an_end_without_bound_is_null_and_no_number_is_refused():
    open_end = made.PASS._replace(value=100.0, upper=math.inf)
    finding = written(made.judged(1, open_end))["placements"][0]["findings"][0]
    assert (finding["value"], finding["upper"]) == (100.0, None)
    for place in ("value", "upper", "limit", "at"):
        with pytest.raises(ValueError, match="not a number"):
            written(made.judged(1, made.CLASH._replace(**{place: math.nan})))


def test_a_joint_that_is_no_number_is_refused():
    motion = made.cycle()
    lost = replace(motion.segments[0], joints=np.full((2, 2), np.nan))
    judged = replace(made.judged(1, made.PASS), cycle=replace(motion, segments=(lost,)))
    with pytest.raises(ValueError):
        written(judged)


def test_releases_of_one_cycle_share_its_number_and_the_first_has_the_segments():
    motion = made.cycle(7)
    first = replace(made.judged(1, made.PASS), cycle=motion)
    second = replace(made.judged(2, made.PASS), cycle=motion)
    one, two = written(first, second)["placements"]
    assert one["cycle"]["number"] == two["cycle"]["number"] == 7
    assert len(one["cycle"]["segments"]) == 2
    assert two["cycle"]["segments"] == []
    alone = written(second)["placements"][0]
    assert len(alone["cycle"]["segments"]) == 2


def test_the_same_cycle_number_on_another_pallet_is_another_cycle():
    here = made.judged(1, made.PASS)
    there = replace(here, placement=made.placement(1, pallet="B"), cycle=made.cycle(1, "B"))
    one, two = written(here, there)["placements"]
    assert one["cycle"]["segments"]
    assert two["cycle"]["segments"]


def test_same_bytes_utf8_and_one_newline_at_the_end():
    result = replace(made.result(made.judged(1, made.PASS)), cell_name="Größe <b>\n")
    text = as_json(result, made.cell_of(result))
    assert text == as_json(result, made.cell_of(result))
    assert "Größe <b>\\n" in text
    assert text.endswith("\n")
    assert not text.endswith("\n\n")
    assert json.loads(text.encode("utf-8"))["cell"]["name"] == "Größe <b>\n"
