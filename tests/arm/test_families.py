"""Families: what they ask for, what they refuse, and that an arm can travel to a worker."""

import pickle

import numpy as np
import pytest

from envelope.arm.arm import CoupledLimit, Joint, Rating, Touching
from envelope.arm.families import FAMILIES, build
from envelope.geometry.bodies import Body, Capsule

GOOD = {
    "shoulder_height": 0.2,
    "upper_arm": 0.6,
    "forearm": 0.5,
    "wrist_lateral": 0.15,
    "wrist_length": 0.1,
    "flange": 0.1,
}
JOINTS = [Joint(f"joint {i + 1}", -3.0, 3.0, 2.0, 9.0) for i in range(6)]
FAMILY = "three parallel axes"


def with_joint(**changes):
    values = {"name": "joint 1", "lower": -3.0, "upper": 3.0, "speed": 2.0, "acceleration": 9.0}
    return [Joint(**{**values, **changes}), *JOINTS[1:]]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"family": "two axes"}, "unknown family 'two axes'; families are: spherical wrist"),
        ({"dimensions": {**GOOD, "flagne": 0.1}}, "unknown dimension 'flagne'.*Dimensions are"),
        ({"dimensions": {k: GOOD[k] for k in list(GOOD)[1:]}}, "'shoulder_height' is missing"),
        ({"dimensions": {**GOOD, "upper_arm": 0.0}}, "'upper_arm' must be greater than 0"),
        ({"dimensions": {**GOOD, "forearm": -0.5}}, "'forearm' must be greater than 0"),
        ({"dimensions": {**GOOD, "forearm": np.nan}}, "'forearm' is no finite number"),
        ({"dimensions": {**GOOD, "flange": np.inf}}, "'flange' is no finite number"),
        ({"joints": JOINTS[:5]}, "6 joints are needed, 5 are given"),
        ({"joints": [*JOINTS[:5], JOINTS[0]]}, "joint names must differ"),
        ({"joints": with_joint(lower=3.0)}, "joint 1: the range must run from low to high"),
        ({"joints": with_joint(speed=0.0)}, "joint 1: speed and acceleration"),
        ({"joints": with_joint(acceleration=np.nan)}, "joint 1: speed and acceleration"),
        ({"coupled": [CoupledLimit("pair", (1.0, 1.0), 0, 1)]}, "pair: 6 factors are needed"),
        ({"coupled": [CoupledLimit("pair", (1.0,) * 6, 1, 1)]}, "pair: the range must run"),
        ({"bodies": {"hand": []}}, "bodies: unknown link 'hand'; links are: base"),
        ({"bodies": {"base": [Body("foot", Capsule(0.1, 0.1))] * 2}}, "have the same name"),
        ({"touching": [Touching("base", "hand", "")]}, "touching: unknown link 'hand'"),
        ({"touching": [Touching("base", "base", "")]}, "'base' is paired with itself"),
        ({"rating": Rating(1.0, moments=(("joint 9", 1.0),))}, "rating: unknown joint 'joint 9'"),
        ({"rating": Rating(1.0, inertias=(("wrist", 1.0),))}, "rating: unknown joint 'wrist'"),
    ],
)
def test_what_is_wrong_is_said(changes, message):
    given = {"name": "arm", "family": FAMILY, "dimensions": GOOD, "joints": JOINTS}
    build(**given)
    with pytest.raises(ValueError, match=message):
        build(**{**given, **changes})


def test_all_faults_of_the_dimensions_are_said_at_once():
    with pytest.raises(ValueError) as caught:
        build("arm", FAMILY, {"upper_arm": -1.0, "reach": 2.0}, JOINTS)
    for word in ("'reach'", "'upper_arm'", "'shoulder_height'", "'wrist_lateral'"):
        assert word in str(caught.value)


def test_an_offset_may_be_zero_or_negative():
    for offset in (0.0, -0.15):
        arm = build("arm", FAMILY, {**GOOD, "wrist_lateral": offset}, JOINTS)
        q = np.array([[0.3, 0.4, 0.5, 0.6, 0.7, 0.8]])
        assert arm.inverse(arm.chain.flange_poses(q)).found.any()


@pytest.mark.parametrize("family", FAMILIES)
def test_names_of_a_family_fit_together(family):
    kind = FAMILIES[family]
    dimensions = dict.fromkeys(kind.dimensions, 0.3)
    joints = JOINTS[: len(kind.joints)]
    arm = build("arm", family, dimensions, joints)
    assert kind.links == ("base", *(link.name for link in arm.chain.links))
    assert len(set(kind.branches)) == len(kind.branches)
    assert arm.solve(np.eye(4)[None]).shape == (1, len(kind.branches), len(joints))
    for link in kind.links:
        arm = build("arm", family, dimensions, joints, bodies={link: [Body("b", Capsule(1, 1))]})
        assert kind.links[arm.bodies[0].link] == link


@pytest.mark.parametrize("family", FAMILIES)
def test_an_arm_survives_the_journey_to_a_worker(family):
    kind = FAMILIES[family]
    arm = build("arm", family, dict.fromkeys(kind.dimensions, 0.3), JOINTS[: len(kind.joints)])
    copy = pickle.loads(pickle.dumps(arm))
    q = np.random.default_rng(0).uniform(-2.0, 2.0, (20, arm.dof))
    poses = arm.chain.flange_poses(q)
    assert np.array_equal(copy.inverse(poses).q, arm.inverse(poses).q, equal_nan=True)
    assert (copy.label(q) == arm.label(q)).all()


@pytest.mark.parametrize(
    ("family", "q", "words"),
    [
        ("spherical wrist", (0, 0.3, 0.2, 0, 1.0, 0), "front, elbow up, wrist tips"),
        ("spherical wrist", (0, 0.3, 0.2, 3, -1.0, 0), "front, elbow up, wrist flipped"),
        ("spherical wrist", (0, 1.5, -2.5, 0, 1.0, 0), "front, elbow down, wrist tips"),
        ("spherical wrist", (0, -0.8, -2.6, 0, 1.0, 0), "back, elbow up, wrist tips"),
        (FAMILY, (0, 0.3, 0.2, -2.1, 1.57, 0), "front, elbow up, wrist outward"),
        (FAMILY, (0, 0.3, 0.2, 1.1, -1.57, 0), "front, elbow up, wrist inward"),
        ("parallelogram", (0, 0.3, 0.2, 0), "front, elbow up"),
        ("parallelogram", (0, 1.4, -1.2, 0), "front, elbow down"),
    ],
)
def test_branches_are_called_what_they_look_like(family, q, words):
    dimensions = dict.fromkeys(FAMILIES[family].dimensions, 0.1)
    dimensions |= {"upper_arm": 0.8, "forearm": 0.8}
    arm = build("arm", family, dimensions, JOINTS[: len(q)])
    number = arm.label(np.array([q], float))[0]
    assert arm.branch_names[number] == words
    links = [link.name for link in arm.chain.links]
    poses = arm.chain.link_poses(np.array([q], float))[0, :, :3, 3]
    shoulder = poses[1 + links.index("upper arm")]
    elbow = poses[1 + links.index("forearm")]
    wrist = arm.chain.flange_poses(np.array([q], float))[0, :3, 3]
    assert (wrist[0] > 0.0) == ("front" in words)
    middle = shoulder + (wrist - shoulder) * (elbow - shoulder)[0] / (wrist - shoulder)[0]
    if "wrist tips" not in words or "elbow down" not in words:
        assert (elbow[2] > middle[2]) == ("elbow up" in words)
