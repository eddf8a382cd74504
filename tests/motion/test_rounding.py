"""Time saved at rounded corners: by hand, and by running both moves at once."""

from dataclasses import replace

import numpy as np
import pytest

from envelope.cell.load import load_text
from envelope.checks.rate import rate_of
from envelope.motion.cycle import Cycle, Segment
from envelope.motion.pace import pace_of
from envelope.motion.profile import TIME, duration
from envelope.motion.rounding import saved_by_rounding
from envelope.motion.timing import timed_moves
from envelope.verify import check

CELL = """
name: Tea, one layer
arm: {model: spherical-1800-25, at: {x: 0, y: 0, z: 600}, pedestal: {size: [400, 400]}}
tool: {model: one-field-400x300}
cartons: {tea: {size: [400, 300, 250], mass: 6}}
infeed: {at: {x: -500, y: 800, z: 700, yaw: 90}, width: 450, queue_gap: 10}
pallets: {A: {size: [1200, 800, 144], at: {x: 500, y: -400}, stack: main}}
stacks: {main: {layers: 1, patterns: [row]}}
patterns: {row: {column: {group: tea}}}
"""
START = np.radians([0.0, -30.0, 20.0, 0.0, 60.0, 0.0])


@pytest.fixture(scope="module")
def cell():
    return load_text(CELL, "tea.yaml")


def rounded(cell, radius: float):
    return replace(cell, motion=replace(cell.motion, blend_radius=radius))


def two_moves(cell, first: list[float], second: list[float], to_go: float = 10.0) -> Cycle:
    """A cycle of two joint moves [deg], one after another."""
    rows = START + np.radians([np.zeros(6), first, np.add(first, second)])
    pace = pace_of(cell.mounted.arm, cell.motion, loaded=False)
    clock, segments = 0.0, []
    for ends in (rows[:2], rows[1:]):
        (timed,) = timed_moves(pace, [ends])
        high, phases = np.full(2, to_go), timed.phases.copy()
        phases[:, TIME] += clock
        times = clock + timed.times
        segments.append(Segment("transfer", "joint", ends, times, (), 0, high, 0.0, phases))
        clock += duration(timed.phases)
    return Cycle(1, "A", "any", 0.0, (0.0,), "direct", tuple(segments))


def test_by_hand_one_joint_after_another(cell):
    """Half of the shorter move is saved: D/v + v/a seconds from rest to rest, halfway at half."""
    moves = zip(np.radians([100.0, 80.0]), cell.mounted.arm.joints, strict=False)
    shorter = min(d / joint.speed + joint.speed / joint.acceleration for d, joint in moves) / 2
    cycle = two_moves(cell, [100, 0, 0, 0, 0, 0], [0, 80, 0, 0, 0, 0])
    (saved,) = saved_by_rounding(rounded(cell, 10.0), [cycle])
    assert saved == pytest.approx(shorter, rel=1e-9)


def test_by_hand_the_radius_is_what_limits(cell):
    """Joint 1 turns the TCP at a radius R: within r of the corner it is for sqrt(2 r / (R a))."""
    one = cell.mounted.arm.joints[0]
    tcp = (cell.mounted.arm.chain.flange_poses(START[None]) @ cell.tool.flange_from_tcp)[0, :3, 3]
    cycle = two_moves(cell, [100, 0, 0, 0, 0, 0], [0, 0, 0, 0, 0, 90])
    radius = 0.01
    (saved,) = saved_by_rounding(rounded(cell, radius), [cycle])
    exact = np.sqrt(2.0 * radius / (np.hypot(tcp[0], tcp[1]) * one.acceleration))
    look = one.speed / one.acceleration / 12  # it is looked at in 12 steps
    assert exact - look <= saved <= exact


def test_by_hand_a_joint_that_turns_back_saves_nothing(cell):
    """While it still slows down one way it would speed up the other: twice its acceleration."""
    back = two_moves(cell, [100, 0, 0, 0, 0, 0], [-100, 0, 0, 0, 0, 0])
    on = two_moves(cell, [100, 0, 0, 0, 0, 0], [100, 0, 0, 0, 0, 0])
    saved = saved_by_rounding(rounded(cell, 10.0), [back, on])
    one = cell.mounted.arm.joints[0]
    assert saved[0] == 0.0
    assert 0.5 <= saved[1] / (one.speed / one.acceleration) <= 1.0  # then its speed is steady


def test_rest_is_no_corner(cell):
    cycle = two_moves(cell, [100, 0, 0, 0, 0, 0], [0, 80, 0, 0, 0, 0], to_go=0.0)
    assert saved_by_rounding(rounded(cell, 10.0), [cycle]) == [0.0]


def test_without_a_radius_nothing_is_saved(cell):
    cycle = two_moves(cell, [100, 0, 0, 0, 0, 0], [0, 80, 0, 0, 0, 0])
    assert saved_by_rounding(cell, [cycle]) == [0.0]


def test_cycles_save_more_the_wider_the_radius_and_each_by_itself(cell):
    cycles = [judged.cycle for judged in check(cell).placements]
    before = np.zeros(len(cycles))
    for radius in (0.005, 0.02, 0.08):
        saved = np.array(saved_by_rounding(rounded(cell, radius), cycles))
        assert (saved >= 0.0).all()
        assert (saved < 0.5 * np.array([cycle.seconds for cycle in cycles])).all()
        assert saved.sum() > before.sum()
        alone = [saved_by_rounding(rounded(cell, radius), [cycle])[0] for cycle in cycles]
        assert saved.tolist() == alone
        before = saved


def test_the_rate_counts_what_is_saved(cell):
    plain = check(cell)
    stops, goes = rate_of(cell, plain), rate_of(rounded(cell, 0.05), plain)
    assert stops.rounding == 0.0
    assert goes.rounding > 0.1
    assert goes.mean_cycle == pytest.approx(stops.mean_cycle - goes.rounding)
    assert goes.sustained > stops.sustained
