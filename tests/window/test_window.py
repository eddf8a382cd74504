"""The window under a virtual display: it opens, steps, jumps to problems, plays, closes."""

import numpy as np
import pytest

from envelope.scene import colours
from envelope.scene.walk import Walk
from envelope.scene.window import Window


@pytest.fixture
def window(display, clash, monkeypatch):
    monkeypatch.setenv("DISPLAY", display.name)
    cell, result = clash
    told = [list(result.placements)]
    asked: list[str] = []
    opened = Window(Walk(cell, "A/1/2"), news=lambda: told.pop() if told else [], wish=asked.append)
    opened.asked = asked
    opened.open()
    opened.tick()
    yield opened
    opened._plotter.close()


def press(window, key):
    """Press a key as the window system tells it."""
    interactor = window._plotter.iren.interactor
    interactor.SetKeySym(key)
    interactor.InvokeEvent("KeyPressEvent")


def share_of(colour, picture):
    """Share of a picture that has a colour in any light."""
    picture, colour = picture.astype(float), np.array(colour, dtype=float)
    light = (picture @ colour) / (colour @ colour)
    off = np.abs(picture - light[..., None] * colour).max(axis=2)
    return float(((off < 8) & (light > 0.4)).mean())


def failing(clash):
    return next(f for f in clash[1].placements[1].findings if f.verdict == "fail")


def test_it_opens_on_the_placement_asked_for_with_its_verdict(window):
    assert window.picture().std() > 10
    assert window.title.text.startswith("A/1/2   pass")
    assert "all checks pass" in window.where.text
    assert "1 fail" in window.tally.text
    assert "1 pass" in window.tally.text
    assert "being checked" in window.tally.text  # the other placements are not known yet


def test_it_jumps_to_the_problem_at_its_worst_instant_and_tells_the_distance(window, clash):
    before = window.picture()
    press(window, "n")
    walk = window.walk
    assert walk.placement.id == "A/1/7"
    assert walk.instant == pytest.approx(walk.problem.finding.at)
    assert "A/1/7   fail" in window.title.text
    assert "OVERLAP" in window.near.text.splitlines()[1]
    assert "carton A/1/7, carton A/1/5" in window.near.text
    after = window.picture()
    assert share_of(colours.FIRST, after) > 0.005 > share_of(colours.FIRST, before)
    assert share_of(colours.SECOND, after) > 0.002 > share_of(colours.SECOND, before)


def test_it_steps_and_asks_for_what_is_not_judged(window):
    press(window, "Right")
    assert window.walk.placement.id == "A/1/3"
    assert window.asked == ["A/1/3"]
    assert "being checked" in window.title.text
    press(window, "Left")
    assert window.walk.placement.id == "A/1/2"
    press(window, "Left")
    press(window, "Left")
    assert window.walk.index == 0  # there is nothing before the first


def test_the_sliders_move_through_order_and_cycle(window):
    order, cycle = window.sliders._order, window.sliders._cycle
    cycle.GetRepresentation().SetValue(2.0)
    cycle.InvokeEvent("InteractionEvent")
    assert window.walk.instant == pytest.approx(2.0)
    assert "2.00 s of" in window.where.text
    order.GetRepresentation().SetValue(6.7)
    order.InvokeEvent("InteractionEvent")
    assert window.walk.placement.id == "A/1/7"
    assert order.GetRepresentation().GetValue() == pytest.approx(7.0)
    assert cycle.GetRepresentation().GetMaximumValue() == pytest.approx(window.walk.seconds)


def test_the_arm_moves_with_time_and_stands_where_the_motion_has_it(window):
    walk = window.walk
    walk.at(0.0)
    window.draw()
    first = window.picture()
    walk.at(walk.seconds / 2)
    window.draw()
    assert (np.abs(window.picture().astype(int) - first).max(axis=2) > 30).mean() > 0.01
    pose = walk.pose()
    row = np.searchsorted(pose.segment.times, walk.instant) - 1
    low, high = np.sort(pose.segment.joints[row : row + 2], axis=0)
    assert (pose.moment.joints >= low - 1e-9).all()
    assert (pose.moment.joints <= high + 1e-9).all()


def test_playing_goes_on_by_itself_and_stops(window, monkeypatch):
    clock = [100.0]
    monkeypatch.setattr("envelope.scene.window.time.monotonic", lambda: clock[0])
    press(window, "space")
    for _ in range(5):
        clock[0] += 0.1
        window.tick()
    assert window.walk.instant == pytest.approx(0.5)
    press(window, "space")
    clock[0] += 0.1
    window.tick()
    assert window.walk.instant == pytest.approx(0.5)


def test_each_switch_changes_what_is_seen_and_back(window):
    window.walk.at(2.0)
    window.draw()
    plain = window.picture()
    for key, colour in (("1", colours.SWEPT), ("2", colours.REACHED), ("3", None)):
        press(window, key)
        changed = window.picture()
        assert (changed != plain).any(axis=2).mean() > 0.003
        if colour is not None:
            hue = np.array(colour, float) - np.mean(colour)
            shift = (changed.astype(float) - plain).mean(axis=(0, 1))
            assert float(shift @ hue) > 0.0  # towards the colour that is laid over
        press(window, key)
        assert (np.abs(window.picture().astype(int) - plain).max(axis=2) > 8).mean() < 0.003


def test_the_keys_are_told_when_asked(window):
    assert "h all keys" in window.keys.text
    press(window, "h")
    assert "next, previous problem" in window.keys.text
    press(window, "h")
    assert "next, previous problem" not in window.keys.text


def test_texts_cover_neither_each_other_nor_what_they_say(window):
    press(window, "n")
    picture = window.picture()
    title = picture[8:28, 8:200].astype(int)  # on the ground of the verdict, not behind another
    verdict = np.abs(title - np.array(colours.BY_VERDICT["fail"])).max(axis=2) < 12
    assert verdict.mean() > 0.5
    letters = title[~verdict]
    assert letters.min(axis=1).max() > 200  # light letters on it
    assert picture[40:60, 12:40].std() > 5  # and the lines that follow begin below
