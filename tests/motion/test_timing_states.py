"""States along timed segments: they add up to the motion, and keep what the arm may do."""

import numpy as np
import pytest

from envelope.cell.load import load
from envelope.checks.block import judge
from envelope.motion.cycle import Segment
from envelope.motion.options import tasks_of
from envelope.motion.states import states_of
from envelope.verify import _Pallet
from tests.support.second_opinion import CELLS

SETTINGS = (
    (),
    ("motion.loaded_acceleration_share=0.4", "motion.joint_speed_share=0.7"),
    ("motion.linear_jerk=15000",),
)


@pytest.fixture(scope="module", params=SETTINGS, ids=["plain", "gentle when loaded", "jerk"])
def timed(request):
    cell = load(CELLS / "tea-five-layers.yaml", request.param)
    (pallet,) = cell.pallets
    wanted = {tasks_of(pallet)[k].placements[0].id for k in (0, 17)}
    (block,) = _Pallet(cell, pallet, wanted).blocks()
    cycles = [judged.cycle for judged in judge(block)]
    assert all(cycles)
    return cell, [segment for cycle in cycles for segment in cycle.segments]


def test_states_stand_in_time_and_hold_rows_and_ends(timed):
    cell, segments = timed
    for segment in segments:
        states = states_of(cell.mounted.arm, segment)
        assert (np.diff(states.times) >= -1e-12).all()
        assert states.times[0] == pytest.approx(segment.times[0], abs=1e-9)
        assert states.times[-1] == pytest.approx(segment.times[-1], abs=1e-9)
        assert np.abs(states.joints[0] - segment.joints[0]).max() < 1e-9
        assert np.abs(states.joints[-1] - segment.joints[-1]).max() < 1e-9
        for row, time in zip(segment.joints, segment.times, strict=True):
            near = np.abs(states.times - time) < 1e-7
            assert near.any()
            assert np.abs(states.joints[near] - row).max() < 1e-5
        assert np.degrees(np.abs(np.diff(states.joints, axis=0)).max()) < 2.1


def test_accelerations_add_up_to_speeds_and_speeds_to_joints(timed):
    cell, segments = timed
    for segment in segments:
        states = states_of(cell.mounted.arm, segment)
        step = np.diff(states.times)[:, None]
        gained = (states.accelerations[1:] + states.accelerations[:-1]) / 2 * step
        assert np.abs(np.diff(states.speeds, axis=0) - gained).max() < 3e-3
        way = (states.speeds[1:] + states.speeds[:-1]) / 2 * step
        assert np.abs(np.diff(states.joints, axis=0) - way).max() < 5e-4
        total = gained.sum(axis=0)
        assert np.abs(total).max() < 5e-3  # from rest to rest
        assert np.abs(way.sum(axis=0) - (segment.joints[-1] - segment.joints[0])).max() < 1e-3


def test_no_joint_exceeds_its_speed_or_acceleration_loaded_or_not(timed):
    cell, segments = timed
    joints, motion = cell.mounted.arm.joints, cell.motion
    speed = np.array([joint.speed for joint in joints]) * motion.joint_speed_share
    acceleration = np.array([joint.acceleration for joint in joints])
    used = 0.0
    for segment in segments:
        share = motion.loaded_acceleration_share if segment.carried else 1.0
        states = states_of(cell.mounted.arm, segment)
        assert (np.abs(states.speeds) <= speed * 1.001).all()
        assert (np.abs(states.accelerations) <= acceleration * share * 1.001).all()
        used = max(used, float((np.abs(states.accelerations) / acceleration / share).max()))
    assert used > 0.5  # and does not crawl


def test_both_sides_of_a_switch_of_acceleration_are_told(timed):
    cell, segments = timed
    if cell.motion.linear_jerk:
        pytest.skip("with limited jerk accelerations do not jump on straight lines")
    segment = next(s for s in segments if s.name == "lift off")
    states = states_of(cell.mounted.arm, segment)
    twice = np.flatnonzero(np.diff(states.times) < 1e-12)
    jumps = np.abs(states.accelerations[twice + 1] - states.accelerations[twice]).max(axis=1)
    assert (jumps > 0.1).sum() >= 1


def test_a_segment_that_moves_without_phases_is_refused(timed):
    cell, segments = timed
    bare = Segment(
        "transfer", "joint", segments[0].joints, segments[0].times, (), 0, segments[0].to_go
    )
    with pytest.raises(ValueError, match="no phases"):
        states_of(cell.mounted.arm, bare)
