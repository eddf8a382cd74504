"""Pages of every kind are read on a screen, a telephone, on paper, and by who cannot see them."""

from pathlib import Path

import pytest

from envelope.report.groups_page import groups_page
from envelope.report.space_page import space_page
from envelope.report.survey_page import base_page, reach_page, stack_page
from envelope.surveys.grouped import FailingPlacement, GroupsSurvey, Measured, WayFound, WayJudged
from envelope.surveys.guard_hints import Asked, hints
from envelope.surveys.judging import Judgement
from envelope.surveys.ranges import read_range
from envelope.surveys.results import (
    BaseSurvey,
    Column,
    Height,
    ReachMap,
    ReachSurvey,
    StackSurvey,
    Stop,
    Variant,
)
from envelope.surveys.space import operating_space
from envelope.surveys.space_views import outline

from .conftest import opened

KINDS = ("check", "base", "stack", "stacks", "reach", "groups", "space")
SHA = "ab" * 32
WORDS = (
    "the point above all that stands on the pallet is out of reach; within reach when moved down"
)
PHONE = {"viewport": {"width": 390, "height": 844}, "is_mobile": True, "has_touch": True}
A4 = {"viewport": {"width": 688, "height": 1016}}  # [px]: a sheet without its margins of 14 mm
PROBE = (Path(__file__).parent / "readable.js").read_text(encoding="utf-8").split("\n", 1)[1]
UNNAMED = """() => [...document.querySelectorAll("svg, img, canvas, input, select, [tabindex]")]
  .filter((e) => !e.closest("[aria-hidden]") && !e.parentElement.closest("svg"))
  .filter((e) => !e.getAttribute("aria-label") && !e.alt && !(e.labels && e.labels.length))
  .map((e) => e.outerHTML.slice(0, 120))"""


def base():
    ranges = (read_range("arm.at.y", "0,100"), read_range("arm.at.x", "-100,0,100"))
    variants = []
    for y in (0, 100):
        for x in (-100, 0, 100):
            settings = (("arm.at.y", str(y)), ("arm.at.x", str(x)))
            judged = Judgement("values", 4, 4, 1, 0, x / 10 + 5.0, "deg", 12.5, 9.25, WORDS)
            variants.append(Variant(settings, 4, 4, 8.0, judged if x >= 0 else None))
    return BaseSurvey("Tea", SHA, "room", ranges, tuple(variants), (2, 1, 4, 5), (), (), 0, 0)


def column(settings=()):
    passes = Height(1, 394.0, Judgement("values", 8, 8, 0, 0, 30.0, "deg", 12.5, 9.0))
    stop = Stop("A/2/3", 2, "reach", 80.0, 0.0, "mm", WORDS)
    fails = Height(2, 644.0, Judgement("values", 16, 16, 2, 0, 7.5, "deg", 12.5, 9.0), (stop,))
    stopped = Height(
        3, 894.0, Judgement("stopped", 24, 20, 1, None, None, "deg", None, None, WORDS)
    )
    return Column(settings, (passes, fails, stopped), (4, 5, 6))


def reach():
    turns = tuple(tuple(24 if abs(x) + abs(y) < 4 else 0 for x in range(-4, 5)) for y in range(5))
    room = tuple(tuple(float(n) if n else None for n in row) for row in turns)
    maps = tuple(ReachMap(h, (("A", n),), "tea", turns, room, ()) for n, h in enumerate((394, 644)))
    x = tuple(200.0 * n for n in range(-4, 5))
    return ReachSurvey("Tea", SHA, 200.0, x, x[:5], 24, (0.0, 0.0), maps, ())


def way(name, *failing, verdict="pass"):
    measured = [Measured(value, "A/1/1", "of some bodies") for value in (9.0, 60.0, 120.0, 15.5)]
    judged = WayJudged(
        63, 0, failing, (("A", 63),), 63, measured[0], "fail", *measured[1:], verdict
    )
    return WayFound(name, (name,), False, "", "", True, judged)


def groups():
    failing = FailingPlacement("A/1/4", "pair", "approach", WORDS, ("approach",))
    ways = (way("single cartons"), way("pair along", failing, verdict="fail"))
    none = WayFound("row of three", (), False, "the tool cannot hold it", "", True, None)
    return GroupsSurvey("Oats", SHA, 10.0, (*ways, none), 0)


def space(checked):
    cell, result = checked
    found = operating_space(cell, result, 0.1)
    views = tuple(outline(found.swept, axes) for axes in ((0, 1), (0, 2), (1, 2)))
    asked = Asked(stopping=0.5, resolution=40.0)
    return space_page(cell, found, views, (), tuple(hints(asked, 0, 2500, ())))


@pytest.fixture(scope="module")
def pages(checked, file, tmp_path_factory):
    """A page of every kind, by its name."""
    folder = tmp_path_factory.mktemp("kinds")
    lifts = (read_range("arm.at.z", "0,100"),)
    several = tuple(column((("arm.at.z", z),)) for z in ("0", "100"))
    texts = {
        "base": base_page(base()),
        "stack": stack_page(StackSurvey("Tea", SHA, (), (column(),))),
        "stacks": stack_page(StackSurvey("Tea", SHA, lifts, several)),
        "reach": reach_page(reach()),
        "groups": groups_page(groups()),
        "space": space(checked),
    }
    for name, text in texts.items():
        (folder / f"{name}.html").write_text(text, encoding="utf-8")
    return {"check": file} | {name: folder / f"{name}.html" for name in texts}


def all_laid_out(page):
    sections = "document.querySelectorAll('section')"
    page.evaluate(f"{sections}.forEach((s) => {{ s.style.contentVisibility = 'visible'; }})")


@pytest.mark.parametrize("kind", KINDS)
def test_every_text_stands_out_from_its_ground(browser, pages, kind):
    with opened(browser, pages[kind]) as told:
        all_laid_out(told.page)
        assert told.page.evaluate(PROBE) == []
        assert told.said == []


def test_a_faint_text_would_be_found(browser, pages):
    with opened(browser, pages["stack"]) as told:
        told.page.evaluate("document.querySelector('h1').style.color = '#999'")
        told.page.evaluate("document.querySelector('svg text').setAttribute('fill', '#aaa')")
        assert len(told.page.evaluate(PROBE)) == 2


@pytest.mark.parametrize("kind", KINDS)
def test_everything_that_is_no_text_has_a_name(browser, pages, kind):
    with opened(browser, pages[kind]) as told:
        assert told.page.evaluate(UNNAMED) == []


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_runs_out_of_a_telephone(browser, pages, kind):
    with opened(browser, pages[kind], **PHONE) as told:
        all_laid_out(told.page)
        assert told.page.evaluate("document.documentElement.scrollWidth") == 390
        words = "[...document.querySelectorAll('td.words')].map((e) => e.clientWidth)"
        assert min(told.page.evaluate(words), default=300) > 250


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_runs_out_of_a_sheet_of_paper(browser, pages, kind):
    with opened(browser, pages[kind], **A4) as told:
        told.page.emulate_media(media="print")
        all_laid_out(told.page)
        assert told.page.evaluate("document.documentElement.scrollWidth") == 688
        high = "[...document.querySelectorAll('svg, img')].map((e) => e.clientHeight)"
        assert max(told.page.evaluate(high)) < 1016
        wide = """[...document.querySelectorAll('table, figure > svg, img, pre')]
            .filter((e) => e.getBoundingClientRect().right > 689)
            .map((e) => e.outerHTML.slice(0, 80))"""
        assert told.page.evaluate(wide) == []


def test_no_arrow_runs_through_a_number(browser, pages):
    crossed = """[...document.querySelectorAll('.spot')].filter((spot) => {
        const way = spot.querySelector('.way'), text = spot.querySelector('text');
        if (!way) return false;
        const a = way.getBoundingClientRect(), b = text.getBoundingClientRect();
        const over = Math.min(a.right, b.right) - Math.max(a.left, b.left);
        return over > 1 && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 1;
    }).length"""
    with opened(browser, pages["check"]) as told:
        all_laid_out(told.page)
        assert told.page.locator(".spot .way").count() > 0
        assert told.page.evaluate(crossed) == 0


def test_fingers_turn_and_zoom_the_view_and_scroll_the_page(browser, pages):
    with opened(browser, pages["check"], **PHONE) as told:
        page = told.page
        line = page.context.new_cdp_session(page)
        to_the_view = "document.getElementById('view').scrollIntoView({ block: 'center' })"
        camera, scrolled = "page.viewer().camera", "window.scrollY"

        def fingers(*ways):
            def send(kind, share=0.0):
                points = [
                    {"x": x + share * (u - x), "y": y + share * (v - y), "id": number}
                    for number, (x, y, u, v) in enumerate(ways)
                ]
                points = [] if kind == "touchEnd" else points
                line.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

            send("touchStart")
            for number in range(1, 11):
                send("touchMove", number / 10)
                page.wait_for_timeout(16)
            send("touchEnd")
            page.wait_for_timeout(400)

        page.evaluate(to_the_view)
        page.wait_for_timeout(300)
        box = page.locator("#view").bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        before, at = page.evaluate(camera), page.evaluate(scrolled)
        fingers((x, y, x, y - 150))  # not tapped yet: the page scrolls, as one expects
        assert page.evaluate(scrolled) > at + 50
        assert page.evaluate(camera) == before

        page.evaluate(to_the_view)
        page.wait_for_timeout(300)
        page.touchscreen.tap(x, y)
        at = page.evaluate(scrolled)
        fingers((x, y, x + 90, y - 60))
        after = page.evaluate(camera)
        assert abs(after["turn"] - before["turn"]) > 0.3
        assert abs(after["rise"] - before["rise"]) > 0.05
        fingers((x - 30, y, x - 90, y), (x + 30, y, x + 90, y))
        assert page.evaluate(camera)["far"] < 0.7 * after["far"]
        assert page.evaluate(scrolled) == at


def test_the_measured_length_stays_inside_the_view(browser, pages):
    with opened(browser, pages["check"], **PHONE) as told:
        mark, view = told.page.locator("#mark"), told.page.locator("#view")
        told.page.evaluate("page.select('A/1/1', true)")
        told.page.wait_for_timeout(600)
        if mark.is_hidden():
            told.page.locator("#problem").click()
            told.page.wait_for_timeout(600)
        inner, outer = mark.bounding_box(), view.bounding_box()
        assert inner["x"] >= outer["x"]
        assert inner["x"] + inner["width"] <= outer["x"] + outer["width"] + 1


@pytest.mark.parametrize("kind", KINDS)
def test_no_drawing_cuts_off_its_words(browser, pages, kind):
    cut = """[...document.querySelectorAll('figure > svg text, .profile text')].filter((text) => {
        const box = text.getBoundingClientRect(), of = text.ownerSVGElement.getBoundingClientRect();
        return box.right > of.right + 1 || box.left < of.left - 1 || box.bottom > of.bottom + 1;
    }).map((text) => text.textContent)"""
    with opened(browser, pages[kind]) as told:
        all_laid_out(told.page)
        assert told.page.evaluate(cut) == []
