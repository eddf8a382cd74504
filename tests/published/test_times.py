"""Times of moves against published values and against ruckig.

S-curve values are computed from the closed form and agree with ruckig; the double S with a speed
at its start is example 3.9 and 3.10 of Biagiotti and Melchiorri, Trajectory Planning for Automatic
Machines and Robots (2008), from memory.
"""

import math
from itertools import pairwise

import numpy as np
import pytest

from envelope.motion.pace import Pace
from envelope.motion.profile import Limits, duration, run
from envelope.motion.timing import timed_moves, trapezoid


@pytest.mark.parametrize(("move", "seconds"), [((1.0, 0.5, 1.0), 2.5), ((0.3, 2.0, 4.0), 0.547723)])
def test_trapezoid(move, seconds):
    """Biagiotti and Melchiorri, section 3.2, as reproduced."""
    assert trapezoid(*move) == pytest.approx(seconds, abs=1e-6)


def test_legs_of_an_arch_without_rounding():
    legs = [trapezoid(leg, 2.0, 6.0) for leg in (0.4, 1.6, 0.4)]
    assert legs == pytest.approx([0.516398, 1.133333, 0.516398], abs=1e-6)
    assert sum(legs) == pytest.approx(2.166129, abs=1e-6)


@pytest.mark.parametrize(
    ("move", "seconds", "top"),
    [
        ((1.0, 0.5, 1.0, 5.0), 2.7, 0.5),
        ((2.0, 2.0, 4.0, 40.0), 1.6, 2.0),
        ((0.3, 2.0, 4.0, 40.0), 0.656776, 0.913553),
        ((0.02, 2.0, 4.0, 40.0), 0.251984, 0.15874),
        ((math.pi / 2, 2.0, 4.0, 20.0), 1.485398, 2.0),
        ((1.0, 1.0, 2.0, 1e9), 1.5, 1.0),
    ],
)
def test_s_curve_at_rest(move, seconds, top):
    profile = run(move[0], Limits(*move[1:]))
    assert duration(profile) == pytest.approx(seconds, abs=1e-6)
    assert profile[:, 3].max() == pytest.approx(top, abs=1e-6)


@pytest.mark.parametrize(("top", "seconds"), [(5.0, 2.71), (10.0, 2.24938)])
def test_double_s_with_a_speed_at_its_start(top, seconds):
    profile = run(10.0, Limits(top, 10.0, 30.0), start=1.0)
    assert duration(profile) == pytest.approx(seconds, abs=1e-6)


def test_the_slowest_axis_rules_joints_that_move_together():
    moves = np.array([[90, 120, 400], [30, 110, 350], [45, 115, 400], [180, 300, 900]], float)
    alone = [trapezoid(*move) for move in moves]
    assert alone == pytest.approx([1.05, 0.58554, 0.678804, 0.933333], abs=1e-6)
    way, speed, acceleration = moves.T
    pace = Pace(Limits(1.0, 1.0), speed, acceleration, np.full(4, np.inf))
    (move,) = timed_moves(pace, [np.stack([np.zeros(4), way])])
    assert duration(move.phases) == pytest.approx(1.05, abs=1e-9)


def _moves(count: int):
    numbers = np.random.default_rng(20261125).uniform(-2.5, 2.5, (count, 6))
    for way, speed, acceleration, jerk, start, end in np.exp(numbers):
        limits = Limits(float(speed), float(acceleration), float(jerk * 10.0))
        yield float(way), limits, min(float(start), limits.speed), min(float(end), limits.speed)


def test_times_are_those_of_ruckig():
    ruckig = pytest.importorskip("ruckig")
    compared = at_speed = 0
    for way, limits, start, end in _moves(400):
        for begin, finish in ((0.0, 0.0), (start, 0.0), (start, end)):
            try:
                mine = duration(run(way, limits, begin, finish))
            except ValueError:
                continue  # too short to change the speed without turning back
            theirs = _asked(ruckig, way, limits, begin, finish)
            compared += 1
            at_speed += begin > 0.0
            assert mine == pytest.approx(theirs, rel=1e-6, abs=1e-9)
    assert compared > 600
    assert at_speed > 200


def _asked(ruckig, way, limits, start, end):
    wanted = ruckig.InputParameter(1)
    wanted.current_position, wanted.target_position = [0.0], [way]
    wanted.current_velocity, wanted.target_velocity = [start], [end]
    wanted.current_acceleration = wanted.target_acceleration = [0.0]
    wanted.max_velocity = [limits.speed]
    wanted.max_acceleration, wanted.max_jerk = [limits.acceleration], [limits.jerk]
    path = ruckig.Trajectory(1)
    ruckig.Ruckig(1).calculate(wanted, path)
    return path.duration


def test_phases_join_without_a_jump():
    for way, limits, start, end in _moves(60):
        try:
            profile = run(way, limits, start, end)
        except ValueError:
            continue
        for before, after in pairwise(profile):
            t, (_, _, p, v, a, j) = before[1], before
            assert after[2] == pytest.approx(p + v * t + a * t**2 / 2 + j * t**3 / 6, abs=1e-9)
            assert after[3] == pytest.approx(v + a * t + j * t**2 / 2, abs=1e-9)
            assert after[4] == pytest.approx(a + j * t, abs=1e-6 * limits.acceleration)
