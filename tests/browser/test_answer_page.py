"""The page of a survey at work: values under the pointer, a table that sorts and filters."""

import pytest

from envelope.report.survey_page import base_page
from envelope.surveys.judging import Judgement
from envelope.surveys.ranges import read_range
from envelope.surveys.results import BaseSurvey, Variant

from .conftest import NAME, opened

RANGES = (read_range("arm.at.y", "0,100"), read_range("arm.at.x", "-100,0,100"))


def variant(x, y):
    settings = (("arm.at.y", str(y)), ("arm.at.x", str(x)))
    if x < 0:
        return Variant(settings, 4, 1, None, None)
    judgement = Judgement("values", 4, 4, 1 if y else 0, 0, x / 10 + 5.0, "deg", 12.5, 9.25)
    return Variant(settings, 4, 4, 8.0, judgement)


@pytest.fixture(scope="module")
def survey():
    variants = tuple(variant(x, y) for y in (0, 100) for x in (-100, 0, 100))
    return BaseSurvey(NAME, "cd" * 32, "room", RANGES, variants, (2, 1, 4, 5), (), (), 0, 0)


@pytest.fixture
def page(browser, survey, tmp_path):
    path = tmp_path / "survey.html"
    path.write_text(base_page(survey), encoding="utf-8")
    with opened(browser, path) as told:
        yield told.page
        assert told.said == []
        assert told.asked == [path.as_uri()]


def rows(page):
    cells = "rows => rows.map(r => [...r.cells].slice(0, 3).map(c => c.textContent))"
    return page.locator("tbody tr:visible").evaluate_all(cells)


def test_the_best_stands_on_top(page):
    words = page.locator("#verdict").inner_text()
    assert "BEST" in words
    assert "arm.at.x=100" in words
    assert page.locator("h1").inner_text() == NAME
    assert page.evaluate("typeof window.taken") == "undefined"


def test_values_stand_under_the_pointer(page):
    assert page.locator("#told").is_hidden()
    place = page.locator("[data-told*='arm.at.x=100']").first
    place.scroll_into_view_if_needed()
    place.hover()
    words = page.locator("#told").inner_text()
    assert "arm.at.y=0, arm.at.x=100" in words
    assert "least joint room 15.0 deg" in words
    assert "9.25 cartons/min" in words
    page.mouse.move(2, 2)
    assert page.locator("#told").is_hidden()


def test_what_was_not_computed_says_so(page):
    page.locator("[data-told*='arm.at.x=-100']").first.hover()
    assert "not computed in full: at least 3 of 4 fail" in page.locator("#told").inner_text()


def test_arrow_keys_go_from_place_to_place(page):
    page.focus(".drawing")
    page.keyboard.press("ArrowRight")
    first = page.locator("#told").inner_text()
    page.keyboard.press("ArrowRight")
    second = page.locator("#told").inner_text()
    assert first != second
    page.keyboard.press("ArrowLeft")
    assert page.locator("#told").inner_text() == first
    page.keyboard.press("Escape")
    assert page.locator("#told").is_hidden()


def test_the_table_of_variants_sorts_and_filters(page):
    assert len(rows(page)) == 6
    page.locator("th button", has_text="arm.at.x").click()
    across = [float(row[1]) for row in rows(page)]
    assert across == [-100, -100, 0, 0, 100, 100]
    page.fill("[data-filter]", "not computed")
    assert [row[1] for row in rows(page)] == ["-100", "-100"]
    assert page.locator(".count").inner_text() == "2 of 6"
