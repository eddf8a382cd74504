"""The page of a check, as text: what is told, and that nothing a user wrote becomes markup."""

import json
import re
from dataclasses import replace
from html import unescape

import numpy as np
import pytest

from envelope.cell.model import GripField
from envelope.checks.finding import Finding
from envelope.report.html import as_html
from envelope.report.profiles import profiles
from envelope.report.rendering import script_safe
from envelope.report.text import CAUTION, PROVED

from . import synthetic as made

EVIL = "</script><script>alert(1)</script><b onclick='x'>&amp;"


PLATE = GripField("plate", (0.0, 0.0), (0.4, 0.3), np.zeros((1, 2)), 0.1, 0.02, 0.005, None)


def cell_of(result, **changes):
    model = made.cell_of(result)
    return replace(model, tool=replace(model.tool, fields=(PLATE,)), **changes)


def page_of(*judged, pictures=None, missing=""):
    result = made.result(*judged)
    return as_html(result, cell_of(result), pictures, missing)


def embedded(page):
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.DOTALL)
    assert found is not None
    return json.loads(found[1])


@pytest.fixture(scope="module")
def page():
    return page_of(
        made.judged(1, made.PASS),
        made.judged(2, made.CLASH),
        made.judged(3, made.OUT_OF_REACH, motion=False),
    )


def test_verdict_version_hash_and_cautions_are_told(page):
    assert "<strong>FAIL</strong>" in page
    assert "ab" * 32 in page
    for words in (PROVED, CAUTION, "Written by envelope "):
        assert words in unescape(page)
    assert "mesh frame.stl is not closed" in page


def test_every_placement_has_a_row_with_its_verdict(page):
    rows = re.findall(r'<tr data-verdict="([\w ]+)" data-goto="([\w/]+)">', page)
    assert rows == [("pass", "A/1/1"), ("fail", "A/1/2"), ("fail", "A/1/3")]
    assert "3.21 to 3.29 mm (limit 20 mm)" in page


def test_defaults_taken_are_repeated(page):
    assert "clearances.arm_to_any" in page
    assert "motion.lift_off" in page


def test_nothing_is_fetched(page):
    for address in re.findall(r'(?:src|href)="([^"]*)"', page):
        assert address.startswith(("#", "data:")), address
    assert "default-src 'none'" in page
    assert "@import" not in page


def test_what_a_user_wrote_never_becomes_markup():
    finding = made.CLASH._replace(message=EVIL)
    result = replace(made.result(made.judged(1, finding)), cell_name=EVIL)
    page = as_html(result, cell_of(result, name=EVIL, notes=(EVIL,)), {}, EVIL)
    assert "alert(1)</script>" not in page
    assert "<b onclick" not in page
    assert page.count("<script") == 3
    words = embedded(page)["placements"][0]["words"]
    assert "<script>alert(1)</script>" in words  # whole, for the script to show as text


@pytest.mark.parametrize("text", [EVIL, "<!--", "]]>", "\u2028\u2029", "ü 漢", '"quoted\\'])
def test_json_in_a_script_element_comes_back_as_it_was(text):
    told = script_safe({"text": text})
    assert json.loads(told) == {"text": text}
    assert not set(told) & set("<>&\u2028\u2029")


def test_json_has_no_number_that_a_browser_cannot_read():
    with pytest.raises(ValueError, match="JSON"):
        script_safe([float("nan")])


def test_a_placement_that_passes_is_shown_where_it_is_tightest():
    tight = made.CLASH._replace(verdict="pass", value=28.0, upper=28.5, limit=20.0)
    data = embedded(page_of(made.judged(1, made.PASS, tight)))
    assert data["placements"][0]["at"] == pytest.approx(2.31)
    assert data["placements"][0]["segment"] == "transfer"
    assert data["placements"][0]["mark"] is None


def test_use_of_load_and_hold_is_drawn_against_what_is_allowed():
    load = Finding("load", "fail", 120.0, 100.0, "%", "too heavy")
    hold = Finding("hold", "not checked", 40.0, 100.0, "%", "without a motion")
    result = made.result(made.judged(1, made.PASS, load, hold))
    drawn = {profile.title.split(",")[0]: profile for profile in profiles(cell_of(result), result)}
    assert drawn["Load"].points[0].label == "A/1/1: 120 % (fail)"
    assert drawn["Hold"].points[0].label == "A/1/1: 40 % (fail)"
    level = next(level.y for level in drawn["Load"].limits)
    assert drawn["Load"].points[0].y < level < drawn["Hold"].points[0].y  # y is down


def test_why_there_are_no_pictures_is_said():
    assert "no picture could be drawn" in page_of(
        made.judged(1, made.CLASH), missing="no picture could be drawn"
    )


def test_the_same_result_makes_the_same_page(page):
    again = page_of(
        made.judged(1, made.PASS),
        made.judged(2, made.CLASH),
        made.judged(3, made.OUT_OF_REACH, motion=False),
    )
    assert again == page


def test_a_placement_not_checked_is_no_pass():
    page = page_of(made.judged(1, made.NOT_CHECKED, motion=False))
    assert "<strong>NOT CHECKED</strong>" in page
    assert "could not be checked" in page
    assert not re.search(r'<tr data-verdict="pass"', page)


def test_the_worst_is_what_the_view_starts_with(page):
    data = embedded(page)
    assert data["first"] in ("A/1/2", "A/1/3")
    clash = next(entry for entry in data["placements"] if entry["id"] == "A/1/2")
    assert clash["at"] == pytest.approx(2.31)
    assert clash["segment"] == "transfer"
    assert clash["between"] == ["link/forearm", "carton/A/1/1"]
