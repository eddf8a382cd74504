"""The page of a check at work: table, 3D view and plans, in a browser without a network."""

import io
import time

import numpy as np
import pytest
from PIL import Image

from envelope.report.html import as_html
from envelope.report.rendering import template
from envelope.report.view_library import used_by

from .conftest import NAME, NO_3D, opened, wait

NUMBERS = ("DoubleSide", "FrontSide", "GreaterDepth")  # constants of the library


def state(page, what):
    return page.evaluate(f"page.{what}")


def camera(page):
    return state(page, "viewer().camera")


def settled(page):
    """Wait until the eye stands still."""
    wait(page, "!page.state.glide && !page.viewer().dirty")


def picture(page):
    settled(page)
    shot = page.locator("#view").screenshot()
    return np.asarray(Image.open(io.BytesIO(shot)).convert("RGB")).astype(int)


def shown_rows(page):
    return page.locator("#rows tr:visible").evaluate_all("rows => rows.map(r => r.dataset.goto)")


def test_the_page_asks_for_nothing_and_reports_no_error(browser, file):
    with opened(browser, file) as told:
        assert told.asked == [file.as_uri()]
        told.page.mouse.wheel(0, 20_000)
        time.sleep(0.3)
        assert told.asked == [file.as_uri()]
        assert told.said == []


def test_the_verdict_stands_on_top(page, checked):
    box = page.locator("#verdict").bounding_box()
    assert box["y"] < 200
    assert "FAIL" in page.locator("#verdict").inner_text()
    told = f"Of 8 placements {checked[1].count('fail')} fail"
    assert told in page.locator("#verdict").inner_text()
    assert page.title().startswith("FAIL")


def test_markup_in_a_name_stays_text(page):
    assert page.locator("h1").inner_text() == NAME
    assert page.evaluate("typeof window.taken") == "undefined"
    assert page.locator("script").count() == 3
    assert page.locator("img[src=x]").count() == 0


def test_rows_filter_by_words_and_by_verdict(page, checked):
    everything = [judged.placement.id for judged in checked[1].placements]
    assert shown_rows(page) == everything
    page.fill("#words", "a/1/7")
    assert shown_rows(page) == ["A/1/7"]
    page.fill("#words", "no such words")
    assert shown_rows(page) == []
    assert "0 of 8" in page.locator("#count").inner_text()
    page.fill("#words", "")
    page.uncheck("[name=verdict][value=pass]")
    failing = [judged.placement.id for judged in checked[1].placements if judged.verdict == "fail"]
    assert shown_rows(page) == failing
    assert 0 < len(failing) < 8


def test_rows_sort_up_and_down_by_number(page):
    heading = page.locator("th button", has_text="x [mm]")
    numbers = "rows => rows.map(r => Number(r.cells[4].dataset.key))"
    heading.click()
    up = page.locator("#rows tr").evaluate_all(numbers)
    assert up == sorted(up)
    assert len(set(up)) > 1
    heading.click()
    assert page.locator("#rows tr").evaluate_all(numbers) == sorted(up, reverse=True)
    assert page.locator("th[aria-sort=descending]").inner_text().startswith("x [mm]")


def test_a_row_click_moves_the_view_to_the_worst_instant(page, checked):
    judged = next(j for j in checked[1].placements if j.placement.id == "A/1/8")
    worst = min(
        (f for f in judged.findings if f.verdict == "fail" and f.at is not None),
        key=lambda f: abs(f.at - state(page, "byId.get('A/1/8').at")),
    )
    page.click("#previous")
    settled(page)
    before, seen = camera(page), picture(page)
    page.locator("#rows tr[data-goto='A/1/8'] td.words").click()
    settled(page)
    assert state(page, "state.id") == "A/1/8"
    assert state(page, "state.seconds") == pytest.approx(worst.at)
    assert camera(page) != before
    assert np.abs(picture(page) - seen).max(axis=2).mean() > 1.0
    assert f"{worst.at:.2f} s" in page.locator("#now").inner_text()
    assert worst.segment in page.locator("#now").inner_text()
    assert page.locator("#rows tr[aria-current]").get_attribute("data-goto") == "A/1/8"
    box = page.locator("#view").bounding_box()
    assert 0 <= box["y"] < 900  # the view is on the screen after the click


def test_a_failing_placement_is_seen(page):
    page.locator("#why [data-goto='A/1/8']").first.click()
    image = picture(page)
    assert len(np.unique(image.reshape(-1, 3), axis=0)) > 200
    where = page.evaluate(
        """() => {
          const viewer = page.viewer(), picked = viewer.scene.shown.filter(
            (body) => viewer.scene.picked.has(body.name) && body.role !== "arm");
          return picked.map((body) => viewer.project(viewer.middle(body)));
        }"""
    )
    assert where
    red, green, blue = image.transpose(2, 0, 1)
    orange = (red > 1.4 * green) & (green > blue)
    assert orange.sum() > 800
    low, high = np.argwhere(orange).min(axis=0), np.argwhere(orange).max(axis=0)
    x, y = where[0]
    assert low[0] - 60 <= y <= high[0] + 60
    assert low[1] - 60 <= x <= high[1] + 60


def test_play_moves_the_arm_along_the_checked_motion(page, checked):
    cell, result = checked
    cycle = result.placements[0].cycle
    page.evaluate("page.select('A/1/1', false)")
    page.evaluate("page.seek(0)")
    before = page.evaluate("Array.from(page.viewer().scene.joints)")
    page.select_option("#speed", "3")
    page.click("#play")
    wait(page, "page.state.seconds > 0.5")
    page.click("#play")
    assert page.evaluate("page.state.playing") is False
    seconds = page.evaluate("page.state.seconds")
    joints = np.array(page.evaluate("Array.from(page.viewer().scene.joints)"))
    segment = next(s for s in cycle.segments if s.times[-1] >= seconds)
    driven = [np.interp(seconds, segment.times, column) for column in segment.joints.T]
    assert joints == pytest.approx(driven, abs=1e-5)
    assert np.abs(joints - before).max() > 0.01
    flange = np.array(page.evaluate("page.viewer().scene.tool")).reshape(3, 4)
    chain = cell.mounted.arm.chain
    expected = cell.mounted.world_from_base @ chain.link_poses(joints[None])[0, chain.flange_link]
    assert flange == pytest.approx(expected[:3], abs=1e-5)


def test_cartons_stand_as_the_order_says(page, checked):
    result = checked[1]
    for number, judged in enumerate(result.placements):
        page.evaluate(f"page.select('{judged.placement.id}', false)")
        page.evaluate("page.seek(0)")
        placed = page.evaluate(
            "page.viewer().scene.shown.filter(b => b.role === 'placed').map(b => b.placement)"
        )
        assert placed == [earlier.placement.id for earlier in result.placements[:number]]


def test_keys_step_turn_and_zoom(page, checked):
    page.evaluate("page.select('A/1/1', false)")
    page.focus("#view")
    before = camera(page)
    for key in ("ArrowLeft", "ArrowUp", "+"):
        page.keyboard.press(key)
    after = camera(page)
    assert after["turn"] != before["turn"]
    assert after["rise"] > before["rise"]
    assert after["far"] < before["far"]
    page.keyboard.press("n")
    assert state(page, "state.id") == "A/1/2"
    page.keyboard.press("x")
    bad = [judged.placement.id for judged in checked[1].placements[2:] if judged.verdict != "pass"]
    assert state(page, "state.id") == bad[0]


def test_plans_and_rows_answer_to_the_keyboard(page):
    page.focus(".spot[data-goto='A/1/3']")
    page.keyboard.press("Enter")
    assert state(page, "state.id") == "A/1/3"
    page.focus("#rows button[data-goto='A/1/5']")
    page.keyboard.press("Enter")
    assert state(page, "state.id") == "A/1/5"


def test_dragging_turns_the_view(page):
    page.locator("#view").scroll_into_view_if_needed()
    box = page.locator("#view").bounding_box()
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    before = camera(page)["turn"]
    page.mouse.move(*middle)
    page.mouse.down()
    page.mouse.move(middle[0] + 80, middle[1])
    page.mouse.up()
    assert camera(page)["turn"] != before


def test_print_is_a4(page):
    paper = page.pdf(prefer_css_page_size=True)
    assert paper.startswith(b"%PDF")
    assert b"/MediaBox [0 0 594.95996 841.91998]" in paper or b"/MediaBox [0 0 595" in paper


def test_text_stands_out_and_everything_has_a_name(page):
    """Contrast as WCAG 2.1 counts it, 4.5 to 1; names that a screen reader can tell."""
    faint = page.evaluate(
        """() => {
          const light = (c) => { const v = c / 255;
            return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
          const share = [0.2126, 0.7152, 0.0722];
          const lum = (rgb) => share.reduce((sum, s, k) => sum + s * light(rgb[k]), 0);
          const parse = (text) => (text.match(/[\\d.]+/g) || [0, 0, 0, 0]).map(Number);
          const back = (e) => { for (; e; e = e.parentElement) {
            const c = parse(getComputedStyle(e).backgroundColor);
            if (c.length === 3 || c[3] > 0.8) return c; } return [255, 255, 255]; };
          const found = [];
          const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
          for (let node = walk.nextNode(); node; node = walk.nextNode()) {
            const e = node.parentElement;
            if (!node.textContent.trim() || !e.checkVisibility()) continue;
            if (e.closest("svg, script, :disabled")) continue;
            const ink = lum(parse(getComputedStyle(e).color)), paper = lum(back(e));
            const [a, b] = [Math.max(ink, paper), Math.min(ink, paper)];
            if ((a + 0.05) / (b + 0.05) < 4.5) found.push(node.textContent.trim());
          }
          return found;
        }"""
    )
    assert faint == []
    nameless = page.evaluate(
        """() => [...document.querySelectorAll(
            "button, input, select, canvas, img, svg.plan, svg.profile")]
          .filter((e) => !(e.textContent.trim() || e.getAttribute("aria-label") || e.alt ||
            (e.labels && e.labels.length))).map((e) => e.outerHTML.slice(0, 80))"""
    )
    assert nameless == []
    assert page.locator("html").get_attribute("lang") == "en"


def test_the_library_has_all_that_the_view_takes_of_it(page):
    names = sorted(used_by(template("viewer.js")))
    assert len(names) > 10
    kinds = page.evaluate(f"{names}.map((name) => typeof THREE[name])")
    assert dict(zip(names, kinds, strict=True)) == {
        name: "number" if name in NUMBERS else "object" if name == "MOUSE" else "function"
        for name in names
    }


def test_the_wheel_zooms_once_the_view_was_clicked_and_scrolls_before(page):
    page.locator("#view").scroll_into_view_if_needed()
    box = page.locator("#view").bounding_box()
    page.mouse.move(box["x"] + 300, box["y"] + 200)
    before, scrolled = camera(page)["far"], page.evaluate("scrollY")
    page.mouse.wheel(0, 60)
    wait(page, f"scrollY > {scrolled}")
    assert camera(page)["far"] == pytest.approx(before)
    page.locator("#view").click()
    scrolled = page.evaluate("scrollY")
    page.mouse.wheel(0, -120)
    wait(page, f"page.viewer().camera.far < {before * 0.99}")
    assert page.evaluate("scrollY") == scrolled


def test_shift_and_drag_moves_the_view(page):
    page.locator("#view").scroll_into_view_if_needed()
    box = page.locator("#view").bounding_box()
    before = camera(page)
    page.mouse.move(box["x"] + 300, box["y"] + 200)
    page.keyboard.down("Shift")
    page.mouse.down()
    page.mouse.move(box["x"] + 380, box["y"] + 200)
    page.mouse.up()
    page.keyboard.up("Shift")
    after = camera(page)
    assert after["turn"] == pytest.approx(before["turn"])
    assert np.linalg.norm(np.subtract(after["target"], before["target"])) > 0.05


def test_without_its_library_the_page_says_so_and_everything_else_works(browser, checked, tmp_path):
    path = tmp_path / "page.html"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("envelope.report.view_library._FILE", "static/r999/three.min.js")
        path.write_text(as_html(checked[1], checked[0]), encoding="utf-8")
    with opened(browser, path) as told:
        page = told.page
        assert "No 3D view: on the machine that wrote" in page.locator("#no-view").inner_text()
        assert not page.locator("#shown").is_visible()
        page.fill("#words", "A/1/7")
        assert shown_rows(page) == ["A/1/7"]
        page.locator("#rows button[data-goto='A/1/7']").click()
        assert "A/1/7: fail" in page.locator("#chosen").inner_text()
        assert told.said == []


def test_without_webgl_everything_else_works(start, file):
    with start(NO_3D) as browser, opened(browser, file) as told:
        page = told.page
        assert "WebGL is off" in page.locator("#no-view").inner_text()
        assert not page.locator("#shown").is_visible()
        page.fill("#words", "A/1/7")
        assert shown_rows(page) == ["A/1/7"]
        page.locator("#rows button[data-goto='A/1/7']").click()
        assert "A/1/7: fail" in page.locator("#chosen").inner_text()


def test_a_plan_is_one_stop_of_the_tab_key_and_arrows_go_from_carton_to_carton(page):
    plan = page.locator(".plan").first
    assert plan.locator(".spot[tabindex='0']").count() == 1
    plan.locator(".spot[tabindex='0']").focus()
    label = "document.activeElement.getAttribute('aria-label')"
    first = page.evaluate(label)
    way = next(key for key in ("ArrowRight", "ArrowLeft") if moved(page, key, label) != first)
    second = page.evaluate(label)
    back = {"ArrowRight": "ArrowLeft", "ArrowLeft": "ArrowRight"}[way]
    assert moved(page, back, label) == first
    assert moved(page, way, label) == second
    page.keyboard.press("Enter")
    assert page.locator("#chosen").inner_text() == f"Placement {second}"
    page.keyboard.press("Tab")
    assert page.evaluate(f"!document.activeElement.closest('.plan') || {label} !== '{second}'")


def moved(page, key, label):
    page.keyboard.press(key)
    return page.evaluate(label)


def test_a_passing_placement_is_pointed_out_as_well(page):
    passing = page.locator("#rows tr[data-verdict=pass]").first
    id_ = passing.get_attribute("data-goto")
    passing.locator("td.words").click()
    settled(page)
    assert state(page, "state.id") == id_
    red, green, blue = picture(page).transpose(2, 0, 1)
    assert ((green > 1.4 * red) & (green > blue)).sum() > 800
    assert "shown, passes" in page.locator(".keys").inner_text()
