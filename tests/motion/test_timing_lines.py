"""Straight lines: as fast as joints allow, against a fine integration of our own.

The judge here knows nothing of the rows: it solves the inverse along the line at 800 steps and
takes differences, and finds the fastest run by halving at every step.
"""

from dataclasses import dataclass

import numpy as np
import pytest

from envelope.cell.load import load_arm
from envelope.geometry.frames import pose
from envelope.motion.pace import Pace
from envelope.motion.path import Lines, straight
from envelope.motion.profile import Limits, duration, run, state
from envelope.motion.slopes import slopes
from envelope.motion.timing import Timed, timed_lines

FINE = 800
SPEED, ACCELERATION = 0.8, 5.0


@dataclass
class Line:
    rows: np.ndarray
    length: float
    exact: np.ndarray  # joints at FINE + 1 even places


def pace_of_arm(arm, share=1.0, jerk=np.inf) -> Pace:
    return Pace(
        Limits(SPEED, ACCELERATION),
        np.array([joint.speed for joint in arm.joints]) * share,
        np.array([joint.acceleration for joint in arm.joints]) * share,
        np.full(arm.dof, jerk),
    )


def timed(pace: Pace, line: Line) -> Timed:
    return timed_lines(pace, [(line.rows, line.length)])[0]


def lines_of(name: str, count: int, seed: int) -> tuple:
    """Lines that the arm follows, tool down, many of them where joints move fast."""
    arm, numbers = load_arm(name), np.random.default_rng(seed)
    reach = {"spherical-1800-25": 1.6, "offset-wrist-1750-25": 1.5}[name]
    found: list[Line] = []
    while len(found) < count:
        radius, angle = numbers.uniform(0.3, reach), numbers.uniform(-2.0, 2.0)
        start = pose(radius * np.cos(angle), radius * np.sin(angle), numbers.uniform(-0.3, 0.8))
        start[:3, :3] = pose(yaw=numbers.uniform(-3, 3))[:3, :3] @ np.diag([1.0, -1.0, -1.0])
        shift = numbers.normal(size=3)
        shift *= numbers.uniform(0.05, 0.5) / np.linalg.norm(shift)
        answers = arm.inverse(start[None]).q[0]
        for q in answers[np.isfinite(answers).all(axis=1)][:1]:
            rows = straight(arm, np.eye(4), Lines(start[None], shift[None], q[None]))[0]
            if rows is not None:
                exact = _followed(arm, start, shift, q)
                found.append(Line(rows, float(np.linalg.norm(shift)), exact))
    return arm, found


def _followed(arm, start, shift, q):
    poses = np.repeat(start[None], FINE + 1, axis=0)
    poses[:, :3, 3] += np.linspace(0.0, 1.0, FINE + 1)[:, None] * shift
    answers, joints = arm.inverse(poses).q, [q]
    for options in answers[1:]:
        near = arm.unwrap_near(options, joints[-1])
        joints.append(near[np.nanargmin(np.abs(near - joints[-1]).max(axis=1))])
    return np.array(joints)


def fastest_by_halving(pace: Pace, line: Line) -> float:
    """Least time along the exact joints: backwards, then forwards, each step by halving."""
    step = line.length / FINE
    first = np.gradient(line.exact, step, axis=0, edge_order=2)
    second = np.gradient(first, step, axis=0, edge_order=2)
    own = np.ones((FINE + 1, 1))
    slope, bend = np.hstack([first, own]), np.hstack([second, 0.0 * own])
    most = np.append(pace.acceleration, ACCELERATION)
    top = np.minimum((pace.speed / np.maximum(np.abs(first), 1e-12)).min(axis=1), SPEED) ** 2

    def push(k, x):
        """Least and greatest acceleration along the line at a place and a speed squared."""
        with np.errstate(divide="ignore", invalid="ignore"):
            one = (most - bend[k] * x) / slope[k]
            other = (-most - bend[k] * x) / slope[k]
        return np.fmin(one, other).max(), np.fmax(one, other).min()

    def allowed(k, x, following):
        low, high = push(k, x)
        return low <= high and x + 2.0 * step * low <= following

    most_x = np.zeros(FINE + 1)
    for k in range(FINE - 1, 0, -1):
        low, high = 0.0, top[k]
        if not allowed(k, high, most_x[k + 1]):
            for _ in range(30):
                middle = (low + high) / 2.0
                low, high = (middle, high) if allowed(k, middle, most_x[k + 1]) else (low, middle)
            high = low
        most_x[k] = high
    x = np.zeros(FINE + 1)
    for k in range(FINE):
        x[k + 1] = min(most_x[k + 1], x[k] + 2.0 * step * push(k, x[k])[1])
    speed = np.sqrt(np.maximum(x, 0.0))
    return float((2.0 * step / (speed[1:] + speed[:-1])).sum())


def moved(line: Line, phases: np.ndarray) -> tuple:
    """Instants, and the exact joints' speeds and accelerations then, by differences in time."""
    times = np.linspace(0.0, duration(phases), 2001)
    which = np.clip(np.searchsorted(phases[:, 0], times, side="right") - 1, 0, None)
    place = state(phases, which, times - phases[which, 0])[0] / (len(line.rows) - 1) * FINE
    low = np.clip(place.astype(int), 1, FINE - 2)
    joints = np.zeros((len(times), line.exact.shape[1]))
    for offset in range(-1, 3):  # the cubic through four neighbours
        weight = np.ones(len(times))
        for other in range(-1, 3):
            if other != offset:
                weight = weight * (place - low - other) / (offset - other)
        joints += weight[:, None] * line.exact[low + offset]
    step = times[1] - times[0]
    return (
        times,
        (joints[2:] - joints[:-2]) / (2.0 * step),
        (joints[2:] - 2.0 * joints[1:-1] + joints[:-2]) / step**2,
    )


@pytest.fixture(scope="module", params=["spherical-1800-25", "offset-wrist-1750-25"])
def followed(request):
    return lines_of(request.param, 16, 7)


@pytest.mark.parametrize("jerk", [np.inf, 60.0], ids=["no jerk limit", "jerk"])
@pytest.mark.parametrize("share", [1.0, 0.35])
def test_no_joint_exceeds_its_speed_or_acceleration_on_the_true_line(followed, share, jerk):
    arm, lines = followed
    pace, used = pace_of_arm(arm, share, jerk), []
    for line in lines:
        _, speeds, accelerations = moved(line, timed(pace, line).phases)
        fast = float((np.abs(speeds) / pace.speed).max())
        steep = float((np.abs(accelerations) / pace.acceleration).max())
        assert fast <= 1.01
        assert steep <= 1.03
        used.append(max(fast, steep))
    if share < 1.0:
        assert max(used) > 0.97


@pytest.mark.parametrize("share", [1.0, 0.35])
def test_times_are_those_of_a_fine_integration(followed, share):
    arm, lines = followed
    pace, slowed = pace_of_arm(arm, share), 0
    for line in lines[:8]:
        mine = duration(timed(pace, line).phases)
        least = fastest_by_halving(pace, line)
        assert least * 0.999 <= mine <= least * 1.03 + 0.002
        slowed += mine > 1.02 * duration(run(line.length, pace.line))
    assert slowed >= (3 if share < 1.0 else 1)


def test_a_line_that_no_joint_hinders_is_the_plain_trapezoid(followed):
    arm, lines = followed
    pace = pace_of_arm(arm, 50.0)
    for line in lines:
        phases, times = timed(pace, line).phases, timed(pace, line).times
        assert duration(phases) == pytest.approx(duration(run(line.length, pace.line)), rel=1e-9)
        assert (np.diff(times) > 0.0).all()


def test_slopes_of_a_quartic_are_exact():
    at = np.linspace(0.0, 1.0, 11)
    rows = np.stack([at**4 - 2.0 * at**3, at**2 + at], axis=1)
    first, second = slopes(rows)
    assert np.abs(first * 10.0 - np.stack([4 * at**3 - 6 * at**2, 2 * at + 1], 1)).max() < 1e-12
    within = np.s_[2:-2]
    exact = np.stack([12 * at**2 - 12 * at, np.full(11, 2.0)], axis=1)
    assert np.abs(second * 100.0 - exact)[within].max() < 1e-10
