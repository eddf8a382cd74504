"""The rate of whole cells: by hand, and how it could be told too high."""

import json
from dataclasses import replace

import numpy as np
import pytest

from envelope.cell.load import load_text
from envelope.cell.model import Line
from envelope.checks.dominating import STANDING, spent
from envelope.checks.rate import check_rate, rate_of, sustained_rate
from envelope.report.results import as_json
from envelope.verify import check

CELL = """
name: Tea, two layers
arm: {model: spherical-1800-25, at: {x: 0, y: 0, z: 600}, pedestal: {size: [400, 400]}}
tool: {model: one-field-400x300}
cartons: {tea: {size: [400, 300, 250], mass: 6}}
infeed: {at: {x: -500, y: 800, z: 700, yaw: 90}, width: 450, queue_gap: 10}
pallets: {A: {size: [1200, 800, 144], at: {x: 500, y: -400}, stack: main}}
stacks: {main: {layers: 2, patterns: [row]}}
patterns: {row: {column: {group: tea}}}
hold: {safety: 1.5}
"""
PAIRS = """
name: Oats, single and in pairs
arm: {model: spherical-1800-25, at: {x: 0, y: 0, z: 700}, pedestal: {size: [400, 400]}}
tool: {model: two-heads-400}
cartons: {oats: {size: [400, 260, 230], mass: 6}}
groups:
  pair: {row: {carton: oats, count: 2}, fields: {1: left, 2: right}}
infeed: {at: {x: 400, y: -900, z: 700, yaw: 180}, width: 400}
pallets: {A: {size: [1200, 800, 144], at: {x: 1300, y: -600, yaw: 90}, stack: main}}
stacks: {main: {layers: 1, patterns: [row]}}
patterns:
  row:
    placements:
      - {group: pair, at: {x: 400, y: 140}}
      - {group: pair, at: {x: 400, y: 400}}
      - {group: pair, at: {x: 400, y: 660}}
line: {rate: 6}
"""
LOW = ("stacks.main.layers=1",)
QUICK = Line(rate=0.05, queue_length=2.0, index_time=0.0, settle_time=0.0, pallet_change=0.0)


@pytest.fixture(scope="module")
def tea():
    cell = load_text(CELL, "tea.yaml")
    result = check(cell)
    assert result.verdict in ("pass", "marginal")
    return cell, result


def rated(tea, line: Line):
    cell, result = tea
    rate, findings = check_rate(replace(cell, line=line), result.placements)
    assert rate is not None
    return rate, findings


def seconds_of(tea) -> np.ndarray:
    return np.array([judged.cycle.seconds for judged in tea[1].placements])


def test_by_hand_an_arm_that_never_waits(tea):
    seconds = seconds_of(tea)
    rate, _ = rated(tea, QUICK)
    assert rate.cartons == rate.cycles == 16
    assert rate.sustained == pytest.approx(60.0 * 16 / seconds.sum(), rel=1e-12)
    assert rate.mean_cycle == pytest.approx(seconds.mean())
    assert rate.slowest_cycle[0] == seconds.max()
    layers = [60.0 * 8 / part.sum() for part in (seconds[:8], seconds[8:])]
    assert [layer.rate for layer in rate.layers] == pytest.approx(layers)
    assert rate.slowest_layer.rate == pytest.approx(min(layers))


def test_by_hand_with_a_pallet_change(tea):
    """Of 25 s, during which the next carton moves up."""
    rate, _ = rated(tea, replace(QUICK, pallet_change=25.0))
    assert rate.sustained == pytest.approx(60.0 * 16 / (seconds_of(tea).sum() + 25.0), rel=1e-12)
    assert dict(rate.waiting) == pytest.approx({"for an empty pallet": 25.0})
    assert rate.alone == pytest.approx(60.0 * 16 / seconds_of(tea).sum())


def test_by_hand_where_cartons_move_up_slowly(tea):
    """A carton moves up once the one before hangs above it: 20 s after that is the next start."""
    rate, _ = rated(tea, replace(QUICK, index_time=20.0, settle_time=2.0))
    rounds = 0.0
    for judged in tea[1].placements:
        lift = next(s for s in judged.cycle.segments if s.name == "lift off")
        rounds += 22.0 + float(lift.times[np.flatnonzero(lift.to_go >= 0.25)[0]])
    assert rate.sustained == pytest.approx(60.0 * 16 / rounds, rel=1e-9)
    assert rate.dominating[0][0] == "waiting for cartons"


def test_a_detector_that_waits_longer_than_cartons_settle_counts_in_its_place(tea):
    cell, result = tea
    line = replace(QUICK, index_time=20.0, settle_time=2.0)
    rates = []
    for delay in (0.0, 2.0, 5.0):
        detectors = replace(cell.infeed.detectors, on_delay=delay)
        slow = replace(cell, line=line, infeed=replace(cell.infeed, detectors=detectors))
        rates.append(60.0 / sustained_rate(slow, result.placements))  # seconds a carton
    assert rates[1] == pytest.approx(rates[0])
    assert rates[2] == pytest.approx(rates[0] + 3.0)


def test_by_hand_half_of_the_time_at_half_speed(tea):
    """Half of the time cycles take their time at full speed, half of it twice the moving time."""
    rate, _ = rated(tea, replace(QUICK, reduced_share=0.5, reduced_speed=0.5))
    full = seconds_of(tea)
    slow = 2.0 * (full - 0.5) + 0.5  # 0.3 s to grip and 0.2 s to release do not stretch
    assert rate.mean_cycle == pytest.approx((2.0 / (1.0 / full + 1.0 / slow)).mean())
    always, _ = rated(tea, replace(QUICK, reduced_share=1.0, reduced_speed=0.5))
    assert always.mean_cycle == pytest.approx(slow.mean())


@pytest.mark.parametrize(
    ("share", "verdicts"),
    [
        (0.80, ("pass", "pass")),
        (0.95, ("marginal", "pass")),
        (1.00, ("marginal", "pass")),
        (1.0001, ("fail", "fail")),
        (3.00, ("fail", "fail")),
    ],
)
def test_verdicts_around_what_is_sustained(tea, share, verdicts):
    most = rated(tea, QUICK)[0].sustained
    line = replace(QUICK, rate=most * share / 60.0, queue_length=50.0)
    assert tuple(finding.verdict for finding in rated(tea, line)[1]) == verdicts


def test_a_short_infeed_fails_though_the_arm_is_fast_enough(tea):
    """Cartons, 400 mm long and 10 mm apart, stand there while the pallet is changed."""
    most = rated(tea, QUICK)[0].sustained
    line = replace(QUICK, rate=0.6 * most / 60.0, pallet_change=40.0)
    rate, (_, queue) = rated(tea, line)
    came = line.rate * 40.0
    assert rate.queue is not None
    assert np.floor(came) <= rate.queue.cartons <= came + 2.0
    extent = rate.queue.cartons * 410.0 - 10.0
    assert queue.value == pytest.approx(extent)
    for room, verdict in ((extent - 1, "fail"), (extent, "marginal"), (extent + 401, "pass")):
        found = rated(tea, replace(line, queue_length=room / 1e3))[1]
        assert [finding.verdict for finding in found] == ["pass", verdict]


def test_places_are_counted_where_they_are_stated(tea):
    line = replace(QUICK, rate=0.05, pallet_change=100.0, queue_length=9.0)
    cartons = rated(tea, line)[0].queue.cartons
    for places, verdict in ((cartons - 1, "fail"), (cartons, "marginal"), (cartons + 1, "pass")):
        (_, length, counted) = rated(tea, replace(line, queue_places=places))[1]
        assert (length.verdict, counted.verdict) == ("pass", verdict)
        assert (counted.value, counted.limit) == (cartons, places)


def test_a_stretch_at_reduced_speed_lengthens_the_queue(tea):
    line = replace(QUICK, rate=0.1, reduced_share=0.05, reduced_speed=0.2, queue_length=90.0)
    queues = [
        rated(tea, replace(line, reduced_stretch=stretch))[0].queue.cartons
        for stretch in (0.0, 60.0, 300.0)
    ]
    assert queues[0] + 3 <= queues[1] <= queues[0] + 7  # 6 come in a minute
    assert queues[1] + 12 <= queues[2]


def test_what_a_cycle_spends_adds_up_to_its_time(tea):
    cell, result = tea
    for judged in result.placements:
        amounts = spent(cell, judged.cycle)
        assert sum(amounts.values()) == pytest.approx(judged.cycle.seconds, abs=1e-9)
        assert amounts[STANDING] == pytest.approx(0.5)


def test_a_joint_that_is_slow_dominates():
    settings = ("motion.linear_speed=2000", "motion.linear_acceleration=20000", *LOW)
    cell = load_text(CELL, "tea.yaml", (*settings, "motion.joint_speed_share=0.05", "line.rate=1"))
    rate = check(cell).rate
    name, seconds = rate.dominating[0]
    assert name.endswith(" speed")
    assert name != "linear speed"
    assert seconds > 0.4 * rate.slowest_cycle[0]


def test_settling_counts_at_the_pick_and_at_every_release(tea):
    swaying = check(load_text(CELL, "tea.yaml", ("motion.settle_time=0.4", *LOW)))
    for plain, later in zip(tea[1].placements[:8], swaying.placements, strict=True):
        assert later.cycle.seconds == pytest.approx(plain.cycle.seconds + 0.8)


def test_no_line_no_rate_but_what_the_arm_alone_brings(tea):
    cell, result = tea
    assert result.rate is None
    assert result.findings == ()
    alone = rate_of(cell, result)
    assert alone.asked is None
    assert alone.queue is None
    assert alone.sustained == pytest.approx(alone.alone, rel=1e-12)
    assert alone.sustained == pytest.approx(60.0 * 16 / seconds_of(tea).sum())


def test_the_rate_alone_is_the_same_whatever_order_the_placements_come_in(tea):
    cell, result = replace(tea[0], line=replace(QUICK, pallet_change=9.0)), tea[1]
    shuffled = [result.placements[k] for k in np.random.default_rng(4).permutation(16)]
    full, _ = check_rate(cell, result.placements)
    assert sustained_rate(cell, shuffled) == full.sustained
    assert check_rate(cell, shuffled)[0] == full
    assert sustained_rate(cell, [replace(shuffled[0], cycle=None), *shuffled[1:]]) is None


def test_a_part_of_a_cell_has_no_rate(tea):
    """One layer, or less, may be faster than the whole."""
    cell = replace(tea[0], line=QUICK)
    part = check(cell, placements={"A/1/1", "A/1/2"})
    assert part.rate is None
    assert part.findings == ()
    assert rate_of(cell, part) is None
    assert any("rate" in note for note in part.notes)


def test_without_a_motion_there_is_no_rate_and_no_pass(tea):
    cell, result = tea
    lame = [*result.placements[:-1], replace(result.placements[-1], cycle=None)]
    rate, (finding,) = check_rate(replace(cell, line=QUICK), lame)
    assert rate is None
    assert finding.verdict == "not checked"
    assert "A/2/8" in finding.message
    assert replace(result, findings=(finding,)).verdict == "not checked"


def test_a_cell_that_misses_the_rate_fails():
    cell = load_text(CELL, "tea.yaml", ("line.rate=60", *LOW))
    result = check(cell)
    assert {judged.verdict for judged in result.placements} <= {"pass", "marginal"}
    assert result.verdict == "fail"
    data = json.loads(as_json(result, cell))
    assert data["verdict"] == "fail"
    assert [finding["check"] for finding in data["findings"]] == ["rate", "rate"]
    assert data["rate"]["asked"] == 60.0
    assert data["rate"]["sustained"] == pytest.approx(result.rate.sustained, abs=1e-4)
    assert data["rate"]["queue"]["cartons"] is None


def test_a_pair_waits_for_two_cartons():
    cell = load_text(PAIRS, "oats.yaml")
    result = check(cell)
    rate = result.rate
    assert (rate.cartons, rate.cycles) == (6, 3)
    slow = replace(cell, line=replace(cell.line, index_time=30.0, pallet_change=0.0))
    held_up, _ = check_rate(slow, result.placements)
    each = 60.0 * 2 / held_up.sustained  # seconds a pair
    assert 60.3 < each < 60.3 + rate.slowest_cycle[0]
    assert rate.queue.length >= 800.0 - 1e-6  # a pair is 800 mm long, whatever stands of it


def test_less_acceleration_while_loaded_is_slower():
    rates = [
        check(load_text(PAIRS, "oats.yaml", (f"motion.loaded_acceleration_share={share}",))).rate
        for share in (1.0, 0.3)
    ]
    assert rates[0].alone > rates[1].alone


def test_two_pallets_go_on_during_a_change():
    """The second pallet stands opposite."""
    other = "B: {size: [1200, 800, 144], at: {x: -500, y: 400, yaw: 180}, stack: main}"
    text = CELL.replace("pallets: {", f"pallets: {{{other}, ").replace("layers: 2", "layers: 1")
    cell = load_text(text, "tea.yaml", ("line.rate=1", "line.pallet_change=20"))
    result = check(cell)
    seconds = sum(judged.cycle.seconds for judged in result.placements)
    goes_on = replace(cell, line=replace(cell.line, during_change="go on"))
    waits, both = result.rate, check_rate(goes_on, result.placements)[0]
    assert waits.sustained == pytest.approx(60.0 * 16 / (seconds + 40.0), rel=0.03)
    assert both.sustained == pytest.approx(60.0 * 16 / seconds, rel=0.03)
    assert waits.alone == both.alone >= both.sustained
