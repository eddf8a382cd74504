"""Hold: cups against the rules of the trade and by hand, and how a wrong pass could come about."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from envelope.cell.holding import Clamp, Fork, HoldLimits, Vacuum
from envelope.cell.load import load, load_text
from envelope.checks.grips import mean_distance
from envelope.checks.hanging import hangings
from envelope.checks.hold_use import _wrench, hold_use
from envelope.checks.suction import Wrench, shares
from envelope.motion.burden import of_carton
from envelope.motion.sealing import OnTop, sealing
from envelope.motion.states import moving
from envelope.verify import check

G = 9.80665
OATS = "cells/oats-two-heads.yaml"


def on(at, radius=0.025):
    at = np.array(at, float)
    count = len(at)
    return OnTop(at, np.full((count, 2), radius), np.full(count, radius), np.ones(count))


def pull(x, y, z, moment=(0.0, 0.0, 0.0)):
    return Wrench(np.array([[x], [y], [z]]), np.array(moment)[:, None])


def test_turning_about_the_normal_counts():
    """Four cups, carton pushed sideways off their middle: lips turn as well as slide."""
    cups, force = on([(-0.1, -0.1), (0.1, -0.1), (-0.1, 0.1), (0.1, 0.1)]), np.full(4, 100.0)
    _, straight = shares(cups, force, 0.5, pull(20, 0, 50), 0.0, 1.0)
    _, turned = shares(cups, force, 0.5, pull(20, 0, 50, (0, 0, 4.0)), 0.0, 1.0)
    d, r = np.hypot(0.1, 0.1), 0.025
    each = 4.0 * (d + r) / (4 * d * d + 4 * r * r)
    assert straight == pytest.approx((50 + 20 / 0.5) / 400)
    assert turned == pytest.approx((50 + (20 + 4 * each) / 0.5) / 400)


def test_a_single_cup_keeps_from_tipping_by_its_lip_alone():
    """Ring of radius r: pull plus twice the moment over the radius at the worst point of it."""
    peel, _ = shares(on([(0.03, 0.0)]), np.array([200.0]), 0.5, pull(0, 0, 50), 0.1, 1.0)
    assert peel == pytest.approx((50 + 2 * 50 * 0.03 / 0.025) / 200)
    row = on([(-0.1, 0.0), (0.0, 0.0), (0.1, 0.0)])
    peel, _ = shares(row, np.full(3, 200.0), 0.5, pull(0, 10, 50), 0.1, 1.0)
    assert peel == pytest.approx((50 / 3 + 10 * 0.1 * 0.025 / (3 * 0.025**2 / 2)) / 200)


def test_more_of_anything_is_never_better_held():
    rng = np.random.default_rng(3)
    for _ in range(30):
        cups = on(rng.uniform(-0.2, 0.2, (rng.integers(1, 9), 2)))
        force = np.full(len(cups.at), 90.0)
        push = rng.normal(size=3) * (20, 20, 0) + (0, 0, 60)
        base = np.maximum(*shares(cups, force, 0.5, pull(*push), 0.1, 2.0))
        for more in ((1, 2.5), (0, 3.0)):
            kwargs = (0.5, pull(*push), 0.1, more[1]) if more[0] else (0.3, pull(*push), 0.1, 2.0)
            assert np.maximum(*shares(cups, force, *kwargs)) >= base
        assert np.maximum(*shares(cups, force * 0.8, 0.5, pull(*push), 0.1, 2.0)) > base


@pytest.fixture(scope="module")
def oats():
    cell = load(OATS)
    return cell, check(cell, placements=["A/1/1"]).placements[0]


def test_wrenches_are_those_of_a_fine_numerical_differentiation(oats):
    """The carton's own motion, differentiated twice, against what the check works with."""
    cell, judged = oats
    group, cycle = judged.placement.group, judged.cycle
    arm, mass = cell.mounted.arm, 6.0
    hanging = next(h for h in hangings(cell, [(group, cycle)]) if h.carried)
    wrench = _wrench(cell.tool, hanging, 1, stop=False)
    segment = next(s for s in cycle.segments if s.name == "transfer")
    stretch = next(
        s
        for s in hanging.stretches
        if any(cycle.segments[k].name == "transfer" for _, k in s.members)
    )

    phases, checked = segment.phases, 0
    body = of_carton(cell.tool, group, cycle.pick_turn, 1)
    step = 1e-3
    for state in range(stretch.first + 1, stretch.stop - 1, 7):
        time = float(segment.times[0] + hanging.times[state])
        if np.abs(time - np.append(phases[:, 0], segment.times[-1])).min() < 3 * step:
            continue  # the acceleration jumps here
        which = np.full(3, np.searchsorted(phases[:, 0], time) - 1)
        after = time + step * np.arange(-1, 2) - phases[which, 0]
        joints, _, _ = moving(segment, which, after)
        poses = arm.chain.flange_poses(joints)
        centres = (poses[:, :3, :3] @ body.centre) + poses[:, :3, 3]
        second = (centres[0] - 2 * centres[1] + centres[2]) / step**2
        weight = np.array([0.0, 0.0, -G])
        needed = np.linalg.norm(mass * (second - weight))
        assert np.linalg.norm(wrench.force[:, state]) == pytest.approx(needed, rel=1e-4)
        checked += 1
    assert checked > 5


def test_at_rest_the_share_is_weight_over_force_by_hand(oats):
    """12 cups of 60 mm at 55 kPa, 15 % lost; 6 kg hang under the middle of their field."""
    cell, judged = oats
    use = hold_use(cell, judged.placement.group, None)
    force = 12 * np.pi / 4 * 0.06**2 * 55e3 * 0.85
    for carton in use.cartons:
        assert (carton.sealing, carton.cups) == (12, 12)
        assert carton.force == pytest.approx(force)
        strains = dict(carton.strains)
        assert strains["moving"].share == pytest.approx(2 * 6 * G / force)
        assert strains["stopping"].share == pytest.approx(1.5 * 6 * G / force)
        # A corner cup lost: the eleven others also keep the carton from tipping.
        assert strains["with one cup lost"].share > 1.2 * 6 * G / (force * 11 / 12)


def test_moving_asks_more_than_resting_and_a_harder_stop_more_than_a_soft_one(oats):
    cell, judged = oats
    group, cycle = judged.placement.group, judged.cycle
    rest = dict(hold_use(cell, group, None).cartons[0].strains)
    found = {}
    for stop in (0.5, 1.5, 3.0):
        limits = HoldLimits(stop_deceleration=stop)
        use = hold_use(replace(cell, hold=limits), group, cycle)
        found[stop] = dict(use.cartons[0].strains)
    assert found[0.5]["moving"].share > rest["moving"].share
    assert found[0.5]["stopping"].share < found[1.5]["stopping"].share
    assert found[1.5]["stopping"].share < found[3.0]["stopping"].share


def findings(judged):
    return [finding for finding in judged.findings if finding.check == "hold"]


def test_a_weak_vacuum_fails_and_says_by_how_much():
    cell = load(OATS)
    weak = replace(cell, tool=replace(cell.tool, vacuum=Vacuum(5e3, 0.15, 0.45)))
    judged = check(weak, placements=["A/1/1"]).placements[0]
    assert {f.verdict for f in findings(judged)} == {"fail"}
    assert "12 of 12 cups seal: 144 N" in findings(judged)[0].message
    assert "asked" in findings(judged)[0].message


def test_what_no_file_states_is_not_passed():
    cell = load(OATS)
    silent = replace(cell, tool=replace(cell.tool, vacuum=None))
    assert hold_use(silent, cell.groups[0], None) is None
    judged = check(silent, placements=["A/1/1"]).placements[0]
    assert findings(judged) == []
    # One field with a fork, and cups of which nothing is known beside it.
    left, right = cell.tool.fields
    mixed = replace(cell.tool, vacuum=None, fields=(left, replace(right, grip=Fork())))
    pair = next(g for g in cell.groups if g.name == "pair")
    use = hold_use(replace(cell, tool=mixed), pair, None)
    assert [bool(carton.unjudged) for carton in use.cartons] == [True, False]


TOOL = """
tool:
  mass: 6
  centre_of_gravity: [0, 0, 80]
  bodies: [{name: plate, box: [900, 280, 20], at: {z: 100}}]
  tcp: {at: {z: 150}, on: compressed}
  vacuum: {pressure: 55}
  fields:
    plate: {centre: [0, 0], size: [900, 280], stroke: 20, compression: 10, FIELD}
"""
CUPS = "cups: {rows: 3, columns: 8, pitch: [110, 90], diameter: 60}"


def written(tmp_path, field, *changes):
    """The oats cell with a tool of one field."""
    text = (
        Path(OATS).read_text().replace("tool: {model: two-heads-400}", TOOL.replace("FIELD", field))
    )
    text = text.replace("fields: {1: left}, ", "").replace("fields: {1: left, 2: right}, ", "")
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return load_text(text, tmp_path / "cell.yaml")


def test_cups_over_the_seam_of_a_pair_are_lost_for_both(tmp_path):
    pair = next(g for g in written(tmp_path, CUPS).groups if g.name == "pair")
    cell = written(tmp_path, CUPS)
    cups, every = sealing(cell.tool, pair, 0.0, 0)
    # Of columns at 55, 165, 275 and 385 from the seam, the outer reaches past the edge at 400.
    assert (len(cups.at), every) == (9, 24)
    odd = written(tmp_path, "cups: {rows: 3, columns: 7, pitch: [110, 90], diameter: 60}")
    over, _ = sealing(odd.tool, pair, 0.0, 0)
    assert len(over.at) == 9  # at 0 (over the seam: lost), 110, 220 and 330
    use = hold_use(odd, pair, None)
    assert [carton.sealing for carton in use.cartons] == [9, 9]


def test_a_carton_held_by_the_edge_of_a_pad_alone_fails(tmp_path):
    """One pad under all of the middle: each carton of the pair lies under half of it."""
    field = "pads: {size: [300, 260], rows: 1, columns: 1}"
    cell = written(tmp_path, field)
    pair = next(g for g in cell.groups if g.name == "pair")
    use = hold_use(cell, pair, None)
    assert use.utilisation == np.inf
    judged = check(cell, placements=["A/1/1"]).placements[0]
    failed = [f for f in findings(judged) if f.verdict == "fail"]
    assert (
        "oats 1 of the group is held by nothing moving: no cup holds; 0 of 1" in failed[0].message
    )
    # The long side of a pad counts: half of it short is not on the carton.
    narrow = written(tmp_path, "pads: {at: [[-110, 0], [110, 0]], size: [300, 40]}")
    assert all(c.sealing == 0 for c in hold_use(narrow, pair, None).cartons)


def test_a_single_under_a_field_for_pairs_fails_while_the_next_queues_under_it(tmp_path):
    cell = written(tmp_path, CUPS)
    single = check(cell, placements=["A/1/2"]).placements[0]
    assert single.placement.group.name == "single"
    assert single.verdict == "fail"
    (grips,) = (f for f in single.findings if f.check == "offset" and f.verdict == "fail")
    assert "also grip the carton that queues behind" in grips.message
    assert grips.between == ("tool/plate", "infeed/queue 1 behind single")
    # With the queue held back beyond the field there is none to grip.
    apart = written(tmp_path, CUPS, ("  width: 400\n", "  width: 400\n  queue_gap: 300\n"))
    alone = check(apart, placements=["A/1/2"]).placements[0]
    assert not [f for f in alone.findings if f.check == "offset" and f.verdict == "fail"]


def clamped(cell, clamp, items):
    """The tool with one field that squeezes; the wrenches of a pair hanging still."""
    field = replace(cell.tool.fields[0], grip=clamp, cups=np.zeros((1, 2)), cup_radius=0.0)
    tool = replace(cell.tool, fields=(field,), vacuum=None)
    return hold_use(replace(cell, tool=tool), items, None)


def test_jaws_hold_a_row_by_friction_by_hand(tmp_path):
    cell = written(tmp_path, CUPS)
    pair = next(g for g in cell.groups if g.name == "pair")
    clamp = Clamp("x", 300.0, (0.2, 0.1), 0.115, 0.4, 0.3)
    use = clamped(cell, clamp, pair)
    # Two jaws bear 12 kg; the middle of the jaws is level with the centre of gravity.
    share = 2.0 * 12 * G / (2 * 0.4 * 300)
    assert [dict(c.strains)["moving"].share for c in use.cartons] == pytest.approx([share, share])
    # The seam bears nothing of equal weights; jaws set higher change nothing while still.
    low = clamped(cell, replace(clamp, depth=0.1), pair)
    assert low.utilisation == pytest.approx(share)
    assert clamped(cell, replace(clamp, depth=0.5), pair).utilisation == np.inf
    across = clamped(cell, replace(clamp, along="y"), pair)
    assert across.utilisation == np.inf  # side by side between the jaws: not one row
    assert mean_distance(0.5, 0.5) == pytest.approx(0.382598, abs=1e-6)


def test_a_fork_carries_what_stands_on_it_and_lets_go_of_what_does_not(tmp_path):
    cell = written(tmp_path, CUPS)
    pair = next(g for g in cell.groups if g.name == "pair")
    still = clamped(cell, Fork(0.3), pair)
    assert still.utilisation == 0.0
    short = replace(cell.tool.fields[0], size=(0.3, 0.28), grip=Fork(0.3))
    tool = replace(cell.tool, fields=(short,), vacuum=None)
    assert hold_use(replace(cell, tool=tool), pair, None).utilisation == np.inf
    # Moving: it slides once the acceleration passes friction times gravity.
    judged = check(cell, placements=["A/1/1"]).placements[0]
    field = replace(cell.tool.fields[0], grip=Fork(0.05))
    slippery = replace(cell, tool=replace(cell.tool, fields=(field,), vacuum=None))
    use = hold_use(slippery, pair, judged.cycle)
    assert use.utilisation > 1
    stopped = replace(field, grip=Fork(0.05, stops=True))
    tool = replace(slippery.tool, fields=(stopped,))
    gentle = replace(cell, tool=tool, hold=HoldLimits(stop_deceleration=0.3))
    assert hold_use(gentle, pair, judged.cycle).utilisation == 0.0
    # Braking on the way up harder than gravity does, nothing keeps a carton on the tines.
    hard = replace(cell, tool=tool, hold=HoldLimits(stop_deceleration=3.0))
    assert hold_use(hard, pair, judged.cycle).utilisation == np.inf
