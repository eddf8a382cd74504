"""Kinematics against arms of textbooks and against general-purpose libraries.

Numbers of the PUMA 560: table of Corke & Armstrong-Helouvry, "A search for consensus among
model parameters reported for the PUMA 560 robot", ICRA 1994, as carried by the file
models/mdl_puma560.m of robotics-toolbox-matlab; poses and inverse by multiplying out that
table, cross-checked with pin 4.1.0.
"""

import numpy as np
import pytest

from envelope.arm.arm import TURN, Joint
from envelope.arm.chain import Chain, Link
from envelope.arm.closed_form import two_bars
from envelope.arm.families import build
from envelope.arm.parallelogram import Parallelogram

QUARTER = np.pi / 2
Z = np.array([0.0, 0.0, 1.0])


def dh_step(theta, d, a, alpha):
    """One row of a standard Denavit-Hartenberg table as a matrix."""
    ct, st, ca, sa = np.cos(theta), np.sin(theta), np.cos(alpha), np.sin(alpha)
    return np.array(
        [
            [ct, -st * ca, st * sa, a * ct],
            [st, ct * ca, -ct * sa, a * st],
            [0.0, sa, ca, d],
            [0.0, 0.0, 0.0, 1.0],
        ]
    )


def modified_step(theta, d, a, alpha):
    """One row of a modified table: alpha and a of the link before come first."""
    before = dh_step(0.0, 0.0, a, alpha)
    return before @ dh_step(theta, d, 0.0, 0.0)


def chain_of(rows, step=dh_step, slides=()):
    """A chain from a table [theta, d, a, alpha] at zero; its axes are the table's z axes."""
    frames = [np.eye(4)]
    for row in rows:
        frames.append(frames[-1] @ step(*row))
    frames = np.array(frames)
    at = frames[:-1] if step is dh_step else frames[1:]
    before = np.vstack([np.zeros(3), at[:-1, :3, 3]])
    links = tuple(
        Link(f"link {i}", i, at[i, :3, 3] - before[i], at[i, :3, 2], i, prismatic=i in slides)
        for i in range(len(rows))
    )
    flange = frames[-1].copy()
    flange[:3, 3] -= at[-1, :3, 3]
    return Chain(links, len(rows), len(rows), flange)


PUMA = chain_of(
    [
        (0, 0, 0, QUARTER),
        (0, 0, 0.4318, 0),
        (0, 0.15005, 0.0203, -QUARTER),
        (0, 0.4318, 0, QUARTER),
        (0, 0, 0, -QUARTER),
        (0, 0, 0, 0),
    ]
)
PUMA_LIMITS = np.array([[-160, 160], [-45, 225], [-225, 45], [-110, 170], [-100, 100], [-266, 266]])
PUMA_QN = np.radians([0, 45, 180, 0, 45, 0])
FACING_X = [[0, 0, 1], [0, 1, 0], [-1, 0, 0]]


def generic_puma():
    """The same arm as one of the spherical-wrist family."""
    dimensions = {
        "shoulder_height": np.finfo(float).tiny,  # the table puts joint 2 at the base's height
        "shoulder_offset": 0.0,
        "shoulder_lateral": -0.15005,
        "upper_arm": 0.4318,
        "elbow_offset": -0.0203,
        "forearm": 0.4318,
        "flange": 0.0,
    }
    joints = [Joint(f"joint {i + 1}", -5.0, 5.0, 1.0, 1.0) for i in range(6)]
    return build("textbook", "spherical wrist", dimensions, joints)


SIGN = np.array([1.0, -1.0, -1.0, 1.0, -1.0, 1.0])
SHIFT = np.array([0.0, QUARTER, -np.pi, 0.0, 0.0, np.pi])


def to_generic(q):
    """Joint coordinates of the table to those of the family (their zero poses differ)."""
    return SIGN * np.asarray(q) + SHIFT


def to_table(q):
    return SIGN * (q - SHIFT)


@pytest.mark.parametrize(
    ("degrees", "position", "rotation"),
    [
        ((0, 0, 0, 0, 0, 0), (0.4521, -0.15005, 0.4318), np.eye(3)),
        ((0, 90, -90, 0, 0, 0), (0.0203, -0.15005, 0.8636), np.eye(3)),
        ((0, 0, -90, 0, 0, 0), (0.8636, -0.15005, -0.0203), FACING_X),
        ((0, 45, 180, 0, 45, 0), (0.596303, -0.15005, -0.014354), FACING_X),
        (
            np.degrees([0.1, 0.75, -2.25, 0, 0.75, 0]),
            (0.759340, -0.074615, 0.304627),
            [
                [0.728033, -0.099833, 0.678233],
                [0.073047, 0.995004, 0.06805],
                [-0.681639, 0.0, 0.731689],
            ],
        ),
        (
            (10, 20, -100, 40, 50, 60),
            (0.847902, -0.002857, 0.202674),
            [
                [0.167305, -0.775672, 0.608557],
                [0.912924, -0.111182, -0.392695],
                [0.372263, 0.621266, 0.689528],
            ],
        ),
    ],
)
def test_puma_560_poses(degrees, position, rotation):
    q = np.radians([degrees])
    for pose in (
        PUMA.flange_poses(q)[0],
        generic_puma().chain.flange_poses(to_generic(q))[0],
    ):
        assert pose[:3, 3] == pytest.approx(position, abs=6e-7)
        assert pose[:3, :3] == pytest.approx(np.array(rotation), abs=6e-7)


@pytest.mark.parametrize(
    ("radians", "all_six", "translation"),
    [
        ((0, 0, 0, 0, 0, 0), 0.0, 0.084295),
        (np.radians([0, 90, -90, 0, 0, 0]), 0.0, 0.000178),
        (PUMA_QN, 0.0786171653, 0.111181461),
        ((0.1, 0.75, -2.25, 0, 0.75, 0), 0.063203, 0.092722),
        (np.radians([10, 20, -100, 40, 50, 60]), 0.026217, 0.034223),
    ],
)
def test_puma_560_manipulability(radians, all_six, translation):
    """Yoshikawa's measure, sqrt(det(J J')); values computed from the table."""
    q = np.array([radians])
    for jacobian in (
        PUMA.jacobian(q)[0],
        generic_puma().chain.jacobian(to_generic(q))[0],
    ):
        assert abs(np.linalg.det(jacobian)) == pytest.approx(all_six, abs=6e-7)
        linear = jacobian[:3]
        measure = np.sqrt(np.linalg.det(linear @ linear.T))
        assert measure == pytest.approx(translation, abs=6e-7)


PUMA_INVERSE_OF_QN = {  # degrees, with whether all joints lie inside the limits
    "run": ((0.0, 45.0, -180.0, -180.0, -45.0, 180.0), False),
    "ruf": ((0.0, 45.0, -180.0, 0.0, 45.0, 0.0), True),
    "rdn": ((0.0, -47.7579, 5.3833, 0.0, -47.6253, 0.0), False),
    "rdf": ((0.0, -47.7579, 5.3833, 180.0, 47.6253, -180.0), False),
    "lun": ((151.7514, 135.0, 5.3833, -34.895, -55.8261, -158.6058), True),
    "luf": ((151.7514, 135.0, 5.3833, 145.105, 55.8261, 21.3942), True),
    "ldn": ((151.7514, -132.2421, -180.0, -141.3674, -49.2967, -27.5288), False),
    "ldf": ((151.7514, -132.2421, -180.0, 38.6326, 49.2967, 152.4712), False),
}


def test_puma_560_inverse_of_the_nominal_pose():
    """All eight answers, three of them inside all limits."""
    arm = generic_puma()
    answers = arm.inverse(PUMA.flange_poses(PUMA_QN[None]))
    assert answers.found.all()
    ours = to_table(answers.q[0])
    met = []
    for name, (degrees, inside) in PUMA_INVERSE_OF_QN.items():
        apart = np.abs((ours - np.radians(degrees) + np.pi) % TURN - np.pi).max(axis=1)
        assert apart.min() < np.radians(1e-4), name
        met.append(int(apart.argmin()))
        limits = np.radians(PUMA_LIMITS)
        copies = ours[met[-1]] + TURN * np.arange(-1, 2)[:, None]
        within = (copies > limits[:, 0] - 1e-6) & (copies < limits[:, 1] + 1e-6)
        assert within.any(axis=0).all() == inside, name
    assert sorted(met) == list(range(8))


def test_puma_560_in_two_modified_tables():
    """Armstrong, Khatib & Burdick 1986, and Craig's table, as computed from those tables."""
    akb = [
        (0, 0, 0, 0),
        (0, 0.2435, 0, -QUARTER),
        (0, -0.0934, 0.4318, 0),
        (0, 0.4331, -0.0203, QUARTER),
        (0, 0, 0, -QUARTER),
        (0, 0, 0, QUARTER),
    ]
    pose = chain_of(akb, modified_step).flange_poses(np.radians([[10, 20, 30, 40, 50, 60]]))[0]
    assert pose[:3, 3] == pytest.approx((0.687413, 0.273625, 0.146258), abs=6e-7)
    assert pose[0, :3] == pytest.approx((-0.636562, 0.022716, 0.770891), abs=6e-7)
    craig = [
        (0, 0, 0, 0),
        (0, 0, 0, -QUARTER),
        (0, 0.15005, 0.4318, 0),
        (0, 0.4318, 0.0203, -QUARTER),
        (0, 0, 0, QUARTER),
        (0, 0, 0, -QUARTER),
    ]
    pose = chain_of(craig, modified_step).flange_poses(np.radians([[10, 20, 30, 40, 50, 60]]))[0]
    assert pose[:3, 3] == pytest.approx((0.060637, 0.163057, -0.440791), abs=6e-7)
    assert pose[0, :3] == pytest.approx((-0.334414, 0.031468, -0.941901), abs=6e-7)


def test_stanford_arm_with_its_sliding_joint():
    """Table of Stanford AIM-177, figure 2.3, as reproduced; poses computed from it."""
    rows = [
        (0, 0.412, 0, -QUARTER),
        (0, 0.154, 0, QUARTER),
        (-QUARTER, 0, 0, 0),
        (0, 0, 0, -QUARTER),
        (0, 0, 0, QUARTER),
        (0, 0.263, 0, 0),
    ]
    chain = chain_of(rows, slides=(2,))
    q = np.radians([[0, 0, 0, 0, 0, 0], [30, 60, 0, 40, 50, 20]])
    q[1, 2] = 0.5
    zero, general = chain.flange_poses(q)
    assert zero[:3, 3] == pytest.approx((0, 0.154, 0.675), abs=1e-12)
    assert zero[:3, :3] == pytest.approx(np.array([[0, 1, 0], [-1, 0, 0], [0, 0, 1]]), abs=1e-12)
    assert general[:3, 3] == pytest.approx((0.558033, 0.321794, 0.634374), abs=6e-7)
    assert general[2, :3] == pytest.approx((-0.923066, -0.370022, -0.10504), abs=6e-7)


def planar(lengths):
    """A planar arm: axes along z, at zero along x."""
    steps = [0.0, *lengths[:-1]]
    links = tuple(
        Link(f"link {i}", i, np.array([step, 0.0, 0.0]), Z, i) for i, step in enumerate(steps)
    )
    tip = np.eye(4)
    tip[0, 3] = lengths[-1]
    return Chain(links, len(lengths), len(lengths), tip)


@pytest.mark.parametrize(
    ("degrees", "x", "y", "heading"),
    [((0, 0, 0), 9.0, 0.0, 0), ((10, 20, 30), 7.537307, 3.926644, 60), ((90, 90, 90), -3, 2, 270)],
)
def test_planar_three_bars_forward(degrees, x, y, heading):
    """Craig, Introduction to Robotics, exercises of chapter 3, lengths 4, 3, 2; from memory."""
    pose = planar((4.0, 3.0, 2.0)).flange_poses(np.radians([degrees]))[0]
    assert pose[:2, 3] == pytest.approx((x, y), abs=6e-7)
    angle = np.degrees(np.arctan2(pose[1, 0], pose[0, 0])) % 360
    assert angle == pytest.approx(heading % 360, abs=1e-9)


def planar_inverse(lengths, x, y, heading):
    """Both answers [deg], shape (2, 3), by the two-bar closed form; nan where there is none."""
    wrist_x = np.array([x - lengths[2] * np.cos(heading)])
    wrist_y = np.array([y - lengths[2] * np.sin(heading)])
    answers = []
    for bend in (1.0, -1.0):
        # The closed form measures from the vertical towards x: here from x towards y.
        direction, inner, further = two_bars(wrist_y, wrist_x, lengths[0], lengths[1])
        first, second = direction[0] - bend * inner[0], bend * further[0]
        answers.append((first, second, heading - first - second))
    return np.degrees(answers)


@pytest.mark.parametrize(
    ("lengths", "goal", "expected"),
    [
        ((4, 3, 2), (9, 0, 0), [(0, 0, 0), (0, 0, 0)]),
        (
            (4, 3, 2),
            (7.5373, 3.9266, 60),
            [(9.9988, 20.0020, 29.9992), (27.1146, -20.0020, 52.8874)],
        ),
        ((4, 3, 2), (-3, 2, -90), [(90, 90, -270), (163.7398, -90, -163.7398)]),
        ((4, 3, 2), (-3.1245, 9.1674, -30), None),
        ((3, 2, 1), (4, 2, 0), [(0, 90, -90), (67.3801, -90, 22.6199)]),
    ],
)
def test_planar_three_bars_inverse(lengths, goal, expected):
    """Craig, exercises of chapter 4 (from memory); Lynch & Park, Modern Robotics, ex. 6.1."""
    x, y, heading = goal
    answers = planar_inverse(lengths, x, y, np.radians(heading))
    if expected is None:
        assert np.isnan(answers).any(axis=1).all()
        return
    for ours, theirs in zip(answers, expected, strict=True):
        assert np.abs((ours - theirs + 180) % 360 - 180).max() < 1.1e-4
    poses = planar([float(length) for length in lengths]).flange_poses(np.radians(answers))
    assert poses[:, 0, 3] == pytest.approx([x, x], abs=1e-9)
    assert poses[:, 1, 3] == pytest.approx([y, y], abs=1e-9)


def test_planar_two_bars():
    """Unit bars at 30 and 40 degrees: Jacobian and determinant l1 l2 sin(q2), exact."""
    jacobian = planar((1.0, 1.0)).jacobian(np.radians([[30, 40]]))[0, :2]
    assert jacobian == pytest.approx(
        np.array([[-1.439693, -0.939693], [1.208046, 0.34202]]), abs=6e-7
    )
    assert np.linalg.det(jacobian) == pytest.approx(np.sin(np.radians(40)), abs=1e-12)


def test_area_that_two_bars_reach():
    """A ring: pi ((1 + .6)^2 - (1 - .6)^2), exact."""
    cell = 0.004
    axis = np.arange(-1.7, 1.7, cell) + cell / 2
    x, y = (grid.ravel() for grid in np.meshgrid(axis, axis))
    _, inner, further = two_bars(x, y, 1.0, 0.6)
    area = np.isfinite(inner + further).sum() * cell**2
    assert area == pytest.approx(7.539822, rel=1e-3)


def test_four_axis_arm_with_parallelogram():
    """Relation of Siciliano et al., Robotics, 2.9.2, from memory; numbers computed from it.

    There the links' angles are measured from the horizontal upward.
    """
    geometry = Parallelogram(0.8, 0.3, 1.2, 1.3, 0.25, 0.2, 0.2, 0.05, 0.2, 0.05, 0.3)
    second, third = np.radians([100, -20])
    q = np.array([[np.radians(30), QUARTER - second, -third, 0.4]])
    chain = geometry.chain()
    pose = chain.flange_poses(q)[0]
    assert pose[:3, 3] == pytest.approx((1.353790, 0.781611, 1.337143), abs=6e-7)
    assert pose[:3, 2] == pytest.approx((0, 0, -1), abs=1e-15)
    jacobian = chain.jacobian(q)[0]
    outward = np.cos(q[0, 0]) * jacobian[0, 1:3] + np.sin(q[0, 0]) * jacobian[1, 1:3]
    determinant = np.linalg.det(np.array([outward, jacobian[2, 1:3]]))
    assert determinant == pytest.approx(-1.351, abs=5e-4)
    assert determinant == pytest.approx(1.2 * 1.3 * np.sin(third - second), abs=1e-12)
