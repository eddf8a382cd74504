"""Laws of an arm on a lift or a track: its own answers, seen from where the axis stands."""

import numpy as np
import pytest

from envelope.arm.arm import Joint
from envelope.arm.carried import carried
from envelope.arm.external_axis import ExternalAxis, spread, stops_between
from envelope.arm.travel import Travel
from envelope.cell.load import load_arm
from envelope.geometry.bodies import Body, Box

NAMES = (
    "spherical-1800-25",
    "offset-wrist-1300-12",
    "palletizer-3000-160",
    "column-arm-1600-50",
    "gantry-3200-80",
)
WAYS = {"lift": (0.0, 0.0, 1.0), "track": (0.0, 1.0, 0.0)}
STOPS = (0.0, 0.25, 0.8)


def on_axis(name, kind):
    axis = ExternalAxis(kind, np.array(WAYS[kind]), STOPS, True)
    joint = Joint(kind, 0.0, 0.8, 0.5, 1.0)
    plate = Body("plate", Box(np.array([0.1, 0.1, 0.01])), np.eye(4))
    return carried(load_arm(name), axis, joint, [plate], [plate])


@pytest.fixture(params=[(name, kind) for name in NAMES for kind in WAYS], ids=str)
def pair(request):
    name, kind = request.param
    return load_arm(name), on_axis(name, kind)


def motions(arm, count, seed=0):
    rng = np.random.default_rng(seed)
    q = rng.uniform(-np.pi, np.pi, (count, arm.dof))
    q[:, 0] = rng.uniform(0.0, 0.8, count)
    return q


def test_the_flange_moves_with_the_axis_and_turns_with_the_arm_alone(pair):
    arm, moved = pair
    q = motions(moved, 500)
    wanted = arm.chain.flange_poses(q[:, 1:])
    wanted[:, :3, 3] += q[:, :1] * moved.axis.direction
    assert np.abs(moved.chain.flange_poses(q) - wanted).max() < 1e-12
    assert np.abs(moved.mounting_points(q) - q[:, :1] * moved.axis.direction).max() == 0.0


def test_every_joint_vector_comes_back_from_its_own_pose_and_place(pair):
    arm, moved = pair
    q = motions(moved, 3000, 1)
    answers = moved.inverse(moved.chain.flange_poses(q), q[:, 0])
    assert answers.q.shape == (3000, len(arm.branch_names), moved.dof)
    back = answers.q[np.arange(len(q)), moved.label(q)]
    apart = (back - q)[:, 1:]
    assert np.abs(np.angle(np.exp(1j * apart))).max() < 1e-6
    assert (answers.q[answers.found][:, 0] == np.repeat(q[:, 0], answers.found.sum(axis=1))).all()


def test_without_a_place_every_stop_is_answered_for_stop_by_stop(pair):
    arm, moved = pair
    poses = moved.chain.flange_poses(motions(moved, 300, 2))
    every = moved.inverse(poses)
    own = len(arm.branch_names)
    assert every.q.shape[1] == own * len(STOPS)
    for index, stop in enumerate(STOPS):
        block = slice(index * own, (index + 1) * own)
        one = moved.inverse(poses, np.full(len(poses), stop))
        assert np.array_equal(every.q[:, block], one.q, equal_nan=True)
    assert every.found.any(axis=1).mean() > 0.4


def test_limits_stay_with_their_joints(pair):
    arm, moved = pair
    q = motions(moved, 200, 3)
    rooms = moved.limit_margin(q)
    assert np.array_equal(rooms[:, 1:], arm.limit_margin(q[:, 1:]))
    assert np.allclose(rooms[:, 0], np.minimum(q[:, 0], 0.8 - q[:, 0]))


def test_a_move_of_the_axis_alone_bends_nothing(pair):
    """And turns beside it bend no more than without it."""
    arm, moved = pair
    steps = np.random.default_rng(4).uniform(-0.3, 0.3, (50, moved.dof))
    tip = moved.chain.flange_link
    still = Travel(arm.chain).bend(steps[:, 1:], 0, arm.chain.flange_link)
    bend = Travel(moved.chain).bend(steps, 0, tip)
    assert np.allclose(bend.fixed, still.fixed)
    assert np.allclose(bend.spin, still.spin)
    steps[:, 1:] = 0.0
    alone = Travel(moved.chain).bend(steps, 0, tip)
    assert (alone.fixed == 0.0).all()
    assert (alone.spin == 0.0).all()


def test_an_axis_cannot_be_carried_by_another():
    moved = on_axis(NAMES[0], "lift")
    with pytest.raises(ValueError, match="is on a lift already"):
        carried(moved, moved.axis, Joint("track", 0.0, 1.0, 1.0, 1.0))


@pytest.mark.parametrize(("low", "high", "margin"), [(0.0, 0.8, 0.005), (-0.31, 0.017, 0.2)])
def test_stops_stay_within_the_travel_less_its_margin(low, high, margin):
    stops = np.array(stops_between(low, high, margin))
    kept = min(margin, (high - low) / 2)
    assert stops[0] >= low + kept - 1e-12
    assert stops[-1] <= high - kept + 1e-12
    assert (np.diff(stops) > 0.0).all()
    assert np.diff(stops, prepend=low + kept, append=high - kept).max() <= 0.0251


def test_few_stops_of_many_keep_both_ends():
    assert spread(tuple(range(41)), 5) == (0, 10, 20, 30, 40)
    assert spread((1.0, 2.0), 5) == (1.0, 2.0)
