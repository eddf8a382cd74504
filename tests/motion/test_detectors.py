"""Detectors against simulated belts: what is there, within and outside the tolerances."""

from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from envelope.cell.load import load, load_text
from envelope.motion.detectors import seen
from envelope.motion.pads import rooms
from envelope.motion.setup import groups_of
from envelope.motion.waiting import guide_play, waiting, wander

CELL = """
name: Pairs
arm: {model: spherical-1800-25, at: {x: 0, y: 0, z: 700}}
tool: {model: two-heads-400}
cartons:
  oats: {size: [400, 260, 230], mass: 6}
groups:
  single: {row: {carton: oats, count: 1}, fields: {1: left}}
  pair: {row: {carton: oats, count: 2, along: ALONG}, fields: {1: left, 2: right}}
infeed: {at: {x: 400, y: -900, z: 700, yaw: 180}, width: 600, detectors: DETECTORS}
pallets:
  A: {size: [1200, 800, 144], at: {x: 1300, y: -600, yaw: 90}, stack: main}
stacks:
  main: {layers: 1, patterns: [row]}
patterns:
  row:
    order: as written
    placements:
      - {group: pair, at: {x: 400, y: 300}}
      - {group: single, at: {x: 1000, y: 140}}
tolerances: TOLERANCES
"""


@cache
def made(tolerances: str = "{}", detectors: str = "{}", along: str = "x"):
    text = CELL.replace("TOLERANCES", tolerances).replace("DETECTORS", detectors)
    cell = load_text(text.replace("ALONG", along), "cell.yaml")
    return cell, {group.name: group for group in groups_of(cell)}, seen(cell, groups_of(cell))


@pytest.mark.parametrize(
    "tolerances",
    ["{}", "{carton_size: 4, pick_position: 3, group_gap: 2}",
     "{carton_size: 6, pick_skew: 2, group_gap: 5, pick_position: 1}"],
)  # fmt: skip
def test_a_group_in_its_place_is_always_released(tolerances):
    """Every carton within its tolerances, every detector anywhere within its own: all on."""
    cell, _, told = made(tolerances)
    assert told.troubles == ()
    own, given = cell.infeed.detectors, cell.tolerances
    rng = np.random.default_rng(1)
    for name, count in (("single", 1), ("pair", 2)):
        assert told.needs[name]
        for _ in range(300):
            start = rng.uniform(0, given.pick_position)
            edges: list[tuple[float, float]] = []
            for _ in range(count):
                length = 0.4 + rng.uniform(-1, 1) * given.carton_size
                edges.append((start, start + length))
                start += length + rng.uniform(0, given.group_gap)
            for detector in told.detectors:
                if detector.name in told.needs[name]:
                    at = detector.at + rng.uniform(-1, 1) * own.tolerance
                    near, far = at - own.beam / 2, at + own.beam / 2
                    assert any(a <= near and far <= b for a, b in edges)


@pytest.mark.parametrize("tolerances", ["{}", "{carton_size: 4, pick_position: 3}"])
def test_one_carton_alone_never_releases_a_pair(tolerances):
    """Wherever a single carton stops, and however slightly it dips into a beam."""
    cell, _, told = made(tolerances)
    own = cell.infeed.detectors
    rng = np.random.default_rng(2)
    released = 0
    for _ in range(20_000):
        start = rng.uniform(0, 1.0)
        end = start + 0.4 + rng.uniform(-1, 1) * cell.tolerances.carton_size
        on = set()
        for detector in told.detectors:
            at = detector.at + rng.choice([-1, 1]) * own.tolerance
            if start < at + own.beam / 2 and end > at - own.beam / 2:
                on.add(detector.name)
        assert "pair" not in told.allowed(frozenset(on))
        if "single" in told.allowed(frozenset(on)):
            released += 1
            assert start <= told.of_group("single")[0].early + 1e-9
    assert released > 100


def test_positions_by_hand():
    """Beam 10 and tolerance 5: 10 mm past an edge; one carton of 400 cannot span both."""
    _, _, told = made()
    assert [detector.at for detector in told.detectors] == pytest.approx([0.010, 0.430])
    first, second = told.of_group("pair")
    assert (first.low, first.high) == pytest.approx((0.010, 0.390))
    assert (second.low, second.high) == pytest.approx((0.410, 0.790))
    assert (first.early, second.early) == pytest.approx((0.020, 0.040))
    assert told.needs == {"pair": {"D1", "D2"}, "single": {"D1"}}


def test_the_truth_table():
    _, _, told = made()
    assert told.allowed(frozenset()) == []
    assert told.allowed(frozenset({"D2"})) == []
    assert told.allowed(frozenset({"D1"})) == ["single"]
    assert told.allowed(frozenset({"D1", "D2"})) == ["pair", "single"]


def test_tolerances_add_up_from_the_stop_on():
    cell, groups, _ = made("{carton_size: 4, pick_position: 3, group_gap: 2}")
    first, second = waiting(cell, groups["pair"])
    assert (first.lead, first.trail) == pytest.approx((0.003, 0.007))
    assert (second.lead, second.trail) == pytest.approx((0.009, 0.013))
    squares = "{carton_size: 4, pick_position: 3, group_gap: 2, added: root of squares}"
    cell, groups, _ = made(squares)
    second = waiting(cell, groups["pair"])[1]
    assert second.trail == pytest.approx(np.sqrt(9 + 4 + 2 * 16) / 1e3)


@pytest.mark.parametrize(
    ("detectors", "tolerances", "said", "released"),
    [
        ("{positions: [30, 450]}", "{}", None, {"single", "pair"}),
        ("{positions: [30]}", "{}", "No detector sees carton 2 of pair", {"single"}),
        ("{positions: [30, 405]}", "{}", "No detector sees carton 2 of pair", {"single"}),
        ("{positions: [30, 440]}", "{}", "410 mm apart", {"single", "pair"}),
        ("{positions: [450]}", "{}", "No detector sees carton 1 of pair", set()),
        ("{beam: 400}", "{}", "too short for the tolerances", set()),
        ("{belt_speed: 100, on_delay: 0.3}", "{}", "needs 0.40 s", {"single", "pair"}),
        ("{belt_speed: 100, on_delay: 0.4}", "{}", None, {"single", "pair"}),
        ("{}", "{carton_size: 200}", "too short for the tolerances", {"single"}),
    ],
)
def test_detectors_in_the_wrong_place_are_told_and_release_nothing(
    detectors, tolerances, said, released
):
    _, _, told = made(tolerances, detectors)
    if said is None:
        assert told.troubles == ()
    else:
        assert any(said in trouble for trouble in told.troubles)
    every = frozenset(detector.name for detector in told.detectors)
    assert set(told.allowed(every)) == released


def test_cartons_side_by_side_need_a_detector_each():
    cell, groups, told = made("{}", "{}", "y")
    needed = [d for d in told.detectors if d.name in told.needs["pair"]]
    assert len(needed) == 2
    for detector, carton in zip(needed, waiting(cell, groups["pair"]), strict=True):
        assert carton.low[1] < detector.across < carton.high[1]
        assert (
            sum(c.low[1] < detector.across < c.high[1] for c in waiting(cell, groups["pair"])) == 1
        )
    for one in needed:
        assert "pair" not in told.allowed(frozenset({one.name}))
    # A beam across the belt sees either of them, and so must release nothing.
    _, _, told = made("{}", "{positions: [30]}", "y")
    assert told.allowed(frozenset({"D1"})) == ["single"]
    assert any("side by side" in trouble for trouble in told.troubles)


def test_detectors_come_in_order_and_none_twice():
    for along in "xy":
        _, _, told = made("{carton_size: 4}", "{}", along)
        at = [(detector.at, detector.across or 0.0) for detector in told.detectors]
        assert all(a < b for a, b in pairwise(at))
        assert [d.name for d in told.detectors] == [f"D{n + 1}" for n in range(len(at))]


def test_wander_of_the_centre_by_hand():
    cell, groups, _ = made("{carton_size: 4, pick_position: 3, group_gap: 2, pick_skew: 1}")
    off = wander(cell, groups["pair"])
    assert off.along == pytest.approx(0.003 + 2 * 0.002 + 0.001)
    assert off.across == pytest.approx(0.003)
    assert off.skew == pytest.approx(np.radians(1))
    cell, groups, _ = made("{carton_size: 4}")
    assert guide_play(cell, groups["pair"]) == pytest.approx(0.010)
    assert wander(cell, groups["pair"]).across == pytest.approx(0.012)
    assert wander(cell, groups["pair"]).across_by == "guides"


def test_cups_by_hand_and_by_moving_the_carton():
    """Cups of 60 at 95: rims 172.5 and 125 from the middle of a carton of 400 x 260."""
    cell, groups, _ = made("{pick_position: 2, carton_size: 3}")
    for name in ("single", "pair"):
        found = {room.side: room for room in rooms(cell, groups[name], 0.0)}
        assert found["downstream"].room == pytest.approx(0.0275)
        assert found["left"].room == pytest.approx(0.005)
        assert found["left"].needed == pytest.approx(0.002 + 0.0015)
    pair = {room.side: room for room in rooms(cell, groups["pair"], 0.0)}
    assert pair["upstream"].number == 2
    assert pair["upstream"].left == pytest.approx(0.0275 - 0.002 - 2 * 0.003)
    assert pair["downstream"].number == 2  # what is longer before it pushes it back
    assert pair["downstream"].left == pytest.approx(0.0275 - 0.002 - 0.003)


def test_skew_takes_room_of_the_cups():
    plain = made("{pick_position: 2}")
    skew = made("{pick_position: 2, pick_skew: 1}")
    before = {room.side: room.left for room in rooms(plain[0], plain[1]["pair"], 0.0)}
    after = {room.side: room.left for room in rooms(skew[0], skew[1]["pair"], 0.0)}
    # The rim farthest from the group's centre is 200 + 142.5 + 30 away from it along the travel.
    lever = 0.3725 * np.sin(np.radians(1))
    assert before["left"] - after["left"] == pytest.approx(lever)
    assert all(after[side] < before[side] for side in before)


def test_an_oblong_pad_has_its_own_room_along_and_across(tmp_path):
    """One pad of 300 x 200 in the middle of each carton of 400 x 260: 50 and 30 mm."""
    tool = (Path(__file__).parents[2] / "models/tools/two-heads-400.yaml").read_text()
    cups = "cups: {rows: 3, columns: 4, pitch: [95, 95], diameter: 60}"
    assert cups in tool
    (tmp_path / "pads.yaml").write_text(
        tool.replace(cups, "pads: {size: [300, 200], rows: 1, columns: 1}")
    )
    text = CELL.replace("TOLERANCES", "{pick_position: 2}").replace("DETECTORS", "{}")
    text = text.replace("ALONG", "x").replace("two-heads-400", "pads.yaml")
    (tmp_path / "cell.yaml").write_text(text)
    cell = load(tmp_path / "cell.yaml")
    for group in groups_of(cell):
        found = {room.side: room.room for room in rooms(cell, group, 0.0)}
        assert found == pytest.approx(
            {"downstream": 0.05, "upstream": 0.05, "left": 0.03, "right": 0.03}
        )
