"""Load: numbers recomputed by hand, and how a wrong pass could come about."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from envelope.arm.arm import Rating
from envelope.cell.load import load
from envelope.checks.hanging import hangings
from envelope.checks.load_use import allowed_mass, farthest, load_use
from envelope.checks.loading import axis_loads
from envelope.geometry.frames import transform
from envelope.motion.burden import burden
from envelope.verify import check

G = 9.80665
LONG = "cells/cereal-pairs-long-tool.yaml"
TABLE = Rating(25.0, table=((0.2, 25.0), (0.3, 20.0), (0.45, 14.5)))


def first(cell, placement="A/1/1"):
    return check(cell, placements=[placement]).placements[0]


def found(judged):
    return [finding for finding in judged.findings if finding.check == "load"]


def test_a_pair_under_the_rated_load_fails_for_its_centre_of_gravity():
    """By hand: 18 kg hang 110 mm below lips at 190 mm; 6.8 kg of tool at 95 mm."""
    mass = 18.0 + 6.8
    centre = (18.0 * (190 + 110) + 6.8 * 95) / mass
    assert mass < 25.0
    assert centre == pytest.approx(243.79, abs=0.01)
    part = (centre - 200) / 100
    allowed = 1 / ((1 - part) / 25 + part / 20)
    assert 20 < allowed < 25 - 5 * part < mass  # it would fail on the straight line as well
    judged = first(load(LONG))
    assert judged.cycle is not None
    (finding,) = found(judged)
    assert finding.verdict == judged.verdict == "fail"
    assert finding.value == pytest.approx(mass / allowed * 100)
    assert "24.8 kg with the centre of gravity 244 mm" in finding.message
    assert f"too heavy by {mass - allowed:.1f} kg" in finding.message
    assert [f.check for f in judged.findings if f.verdict == "fail"] == ["load"]


def test_a_shorter_tool_cures_it():
    judged = first(load(LONG, ["tool.model=pair-plate-110"]))
    (finding,) = found(judged)
    mass = 18.0 + 6.2
    centre = (18.0 * (110 + 110) + 6.2 * 55) / mass
    assert centre < 200
    assert finding.value == pytest.approx(mass / 25.0 * 100)
    assert finding.verdict == "marginal"  # inside the limit, not by the margin asked for
    assert not [f for f in judged.findings if f.verdict == "fail"]
    roomy = load(LONG, ["tool.model=pair-plate-110", "load.margin=0.02"])
    assert [f.verdict for f in found(first(roomy))] == ["pass"]


def test_another_pair_passes():
    (finding,) = found(first(load("cells/oats-two-heads.yaml")))
    assert finding.verdict == "pass"
    centre = (8 * 0.118 + 12 * (0.220 + 0.115)) / 20
    part = (centre - 0.2) / 0.1
    assert finding.value == pytest.approx(20 * ((1 - part) / 25 + part / 20) * 100)


def test_the_table_between_its_rows_and_beyond_them():
    assert allowed_mass(TABLE, 0.0) == allowed_mass(TABLE, 0.2) == 25
    assert allowed_mass(TABLE, 0.3) == pytest.approx(20)
    # Never above the straight line: a constant moment lies below it.
    for distance in np.linspace(0.201, 0.299, 20):
        assert allowed_mass(TABLE, distance) < np.interp(distance, [0.2, 0.3], [25, 20])
    assert allowed_mass(TABLE, 0.4500001) == 0
    assert allowed_mass(Rating(12.0, table=((0.1, 15.0),)), 0.05) == 12  # not over the rated load
    for mass in (14.5, 17.0, 20.0, 23.0):
        assert allowed_mass(TABLE, farthest(TABLE, mass)) == pytest.approx(mass)
    assert farthest(TABLE, 10.0) == 0.45
    assert farthest(TABLE, 25.1) < 0


def test_beyond_the_table_a_light_load_fails():
    cell = load(LONG, ["cartons.cereal.mass=1", "cartons.cereal.size=[380, 280, 220]"])
    rating = replace(cell.mounted.arm.rating, table=((0.05, 25.0), (0.1, 20.0)))
    arm = replace(cell.mounted.arm, rating=rating)
    cell = replace(cell, mounted=replace(cell.mounted, arm=arm))
    use = load_use(cell, cell.groups[0], None)
    assert use.allowed == 0
    assert use.share > 1
    assert use.spare_offset < 0


@pytest.fixture(scope="module")
def oats():
    cell = load("cells/oats-two-heads.yaml")
    return cell, first(cell)


def test_moments_and_inertias_about_every_wrist_axis_by_hand(oats):
    """From the link poses of the forward kinematics, one row of the motion after the other."""
    cell, judged = oats
    group, cycle = judged.placement.group, judged.cycle
    arm = cell.mounted.arm
    use = load_use(cell, group, cycle)
    assert [axis.joint for axis in use.axes] == ["joint 4", "joint 5", "joint 6"]
    for axis, link in zip(use.axes, (4, 5, 6), strict=True):
        moment = inertia = 0.0
        for segment in cycle.segments:
            rows = segment.joints
            fine = np.concatenate(
                [a + (b - a) * np.linspace(0, 1, 40)[:, None] for a, b in pairwise(rows)]
            )
            load_ = burden(cell.tool, group, cycle.pick_turn, segment.carried)
            poses, flange = arm.chain.link_poses(fine), arm.chain.flange_poses(fine)
            centre = transform(flange, load_.centre[None])[:, 0]
            direction = poses[:, link, :3, :3] @ arm.chain.links[link - 1].axis
            lever = centre - poses[:, link, :3, 3]
            force = np.array([0.0, 0.0, -load_.mass * G])
            own = np.abs((direction * np.cross(lever, force)).sum(axis=1)).max()
            moment = max(moment, own)
            turned = flange[:, :3, :3] @ load_.inertia @ np.swapaxes(flange[:, :3, :3], 1, 2)
            about = (direction[:, None] @ turned @ direction[:, :, None])[:, 0, 0]
            about += load_.mass * (np.cross(direction, lever) ** 2).sum(axis=1)
            inertia = max(inertia, about.max())
        # Never below what is found by looking finely, and hardly above it.
        assert moment - 1e-9 <= axis.moment.value <= moment + 0.004 * 20 * G * 0.4
        assert inertia - 1e-9 <= axis.inertia.value <= inertia * 1.01


def test_bounds_hold_between_states_that_are_far_apart(oats):
    """The bound between states against many states between them, for coarse ones too."""
    cell, judged = oats
    arm, rng = cell.mounted.arm, np.random.default_rng(5)
    states = hangings(cell, [(judged.placement.group, judged.cycle)])
    hanging = next(h for h in states if h.carried and h.stretches)
    load_ = burden(cell.tool, hanging.group, hanging.turn, hanging.carried)
    for _ in range(20):
        start = rng.uniform(-2, 2, arm.dof)
        way = rng.normal(size=arm.dof) * rng.choice([0.05, 0.3, 0.8])
        fine = _at(cell, hanging, start + np.linspace(0, 1, 301)[:, None] * way)
        coarse = _at(cell, hanging, np.stack([start, start + way]))
        for joint in (3, 4, 5):
            exact = axis_loads(arm, load_, fine, joint)
            bound = axis_loads(arm, load_, coarse, joint)
            # The last state of a stretch carries no bound: it is the value itself.
            assert bound.still[0] >= exact.still[-1:].max() - 1e-9
            assert bound.still[0] >= _plain(fine, load_, joint).max() - 1e-9
            assert bound.inertia[0] >= exact.inertia[-1] - 1e-9


def _plain(hanging, load_, joint):
    axis = hanging.axes[joint]
    lever = load_.centre[:, None] - axis.point
    moment = np.cross(lever.T, load_.mass * hanging.gravity.T)
    return np.abs((axis.direction.T * moment).sum(axis=1))


def _at(cell, hanging, joints):
    """The states of one stretch at rest at joints, shape (n, dof)."""
    from envelope.arm.flange_motion import flange_motion
    from envelope.checks.hanging import Stretch, _seen_axis, seen

    zero = np.zeros_like(joints)
    motion = flange_motion(cell.mounted.arm.chain, joints, zero, zero)
    down = np.array([0.0, 0.0, -G])[:, None]
    return replace(
        hanging,
        stretches=(Stretch(((0, 0),), 0, len(joints)),),
        times=np.arange(len(joints), dtype=float),
        joints=joints,
        gravity=seen(motion, down),
        acceleration=np.zeros((3, len(joints))),
        spin=np.zeros((3, len(joints))),
        spin_change=np.zeros((3, len(joints))),
        axes={joint: _seen_axis(motion, axis) for joint, axis in motion.axes.items()},
    )


@pytest.mark.parametrize(
    ("limits", "word"),
    [
        ({"moments": (("joint 6", 0.001),)}, "moment at rest about joint 6"),
        ({"moving": (("joint 5", 1.0),)}, "moment while moving about joint 5"),
        ({"inertias": (("joint 4", 1.0),)}, "inertia about joint 4"),
    ],
)
def test_each_limit_can_fail(oats, limits, word):
    cell, judged = oats
    rating = Rating(25.0, **limits)
    arm = replace(cell.mounted.arm, rating=rating)
    use = load_use(
        replace(cell, mounted=replace(cell.mounted, arm=arm)), judged.placement.group, judged.cycle
    )
    assert use.utilisation > 1
    assert word.split(" about ")[1] == use.axes[0].joint
    mass, offset = use.spare()
    assert mass < 0
    assert offset < 0


def test_the_answer_does_not_depend_on_what_is_judged_together():
    cell = load("cells/oats-two-heads.yaml")
    together = {
        j.placement.id: found(j)
        for j in check(cell, placements=["A/1/1", "A/1/2", "A/2/1"]).placements
    }
    assert together["A/1/2"] == found(first(cell, "A/1/2"))


def test_an_arm_without_a_rated_load_is_not_passed(oats):
    cell, judged = oats
    arm = replace(cell.mounted.arm, rating=Rating(0.0))
    judged = first(replace(cell, mounted=replace(cell.mounted, arm=arm)))
    assert [f.verdict for f in found(judged)] == ["not checked"]
