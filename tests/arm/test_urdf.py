"""An arm written as URDF is the same arm to others who read it."""

import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest

from envelope.arm.arm import CoupledLimit, Joint, LinkBody
from envelope.arm.chain import Chain, Link
from envelope.arm.families import FAMILIES, build
from envelope.arm.urdf import to_urdf
from envelope.geometry.bodies import Body, Box, Capsule, Cylinder, Hull, frozen
from envelope.geometry.frames import rotate_about


def make(family="parallelogram", **more):
    kind = FAMILIES[family]
    lengths = np.linspace(0.11, 0.93, len(kind.dimensions))
    dimensions = dict(zip(kind.dimensions, lengths, strict=True))
    joints = [Joint(f"joint {i + 1}", -1.5, 2.0 + i, 2.5, 9.0) for i in range(len(kind.joints))]
    return build("my arm", family, dimensions, joints, **more)


def tilted():
    pose = np.eye(4)
    pose[:3, :3] = rotate_about(np.array([0.6, 0.0, 0.8]), np.array(0.7))
    pose[:3, 3] = 0.1, 0.2, 0.3
    return frozen(pose)


def bodies():
    hull = Hull(frozen([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]))
    return {
        "base": [Body("foot", Cylinder(0.3, 0.1))],
        "forearm": [
            Body("tube", Capsule(0.1, 0.4), tilted()),
            Body("cover", Box(frozen([0.1, 0.2, 0.3]))),
            Body("shell -- front <1>", hull),
        ],
    }


def test_shapes_and_names():
    text = to_urdf(make(bodies=bodies()))
    robot = ET.fromstring(text)
    assert text.startswith('<?xml version="1.0"?>\n<robot name="my_arm">')
    links = {link.get("name"): link for link in robot.findall("link")}
    assert set(links) == {
        *(name.replace(" ", "_") for name in FAMILIES["parallelogram"].links),
        "flange",
    }
    forearm = links["forearm"].findall("collision")
    tags = [next(iter(solid.find("geometry"))) for solid in forearm]
    assert [tag.tag for tag in tags] == ["cylinder", "sphere", "sphere", "box"]
    assert float(tags[0].get("length")) == pytest.approx(0.8)
    assert tags[3].get("size") == "0.2 0.4 0.6"
    axis = tilted()[:3, 2]
    ends = [np.array(solid.find("origin").get("xyz").split(), float) for solid in forearm]
    assert ends[1] == pytest.approx(tilted()[:3, 3] + 0.4 * axis)
    assert ends[2] == pytest.approx(tilted()[:3, 3] - 0.4 * axis)
    assert "left out, URDF has no hull" in text
    names = [solid.get("name") for solid in robot.iter("collision")]
    assert len(set(names)) == len(names)


def test_limits_and_followers():
    arm = make(coupled=[CoupledLimit("pair", (0.0, -1.0, 1.0, 0.0), -1.0, 1.25)])
    text = to_urdf(arm)
    assert "pair: -1 <= -1 * joint 2 +1 * joint 3 <= 1.25" in text
    found = {joint.get("name"): joint for joint in ET.fromstring(text).findall("joint")}
    assert len(found) == 12
    for joint in arm.joints:
        leader = found[joint.name.replace(" ", "_")]
        assert leader.find("mimic") is None
        assert float(leader.find("limit").get("lower")) == joint.lower
        assert float(leader.find("limit").get("upper")) == joint.upper
        assert float(leader.find("limit").get("velocity")) == joint.speed
    plate = found["joint_3_wrist_plate"]
    assert plate.find("mimic").attrib == {"joint": "joint_3", "multiplier": "-1", "offset": "0"}
    assert float(plate.find("limit").get("lower")) == -arm.joints[2].upper
    assert found["flange_mount"].get("type") == "fixed"
    assert found["flange_mount"].find("child").get("link") == "flange"


def test_the_same_arm_gives_the_same_text():
    assert to_urdf(make(bodies=bodies())) == to_urdf(make(bodies=bodies()))


def test_a_coordinate_that_no_link_takes_as_it_is_is_refused():
    half = Link("half", 0, np.zeros(3), np.array([0.0, 0.0, 1.0]), 0, 0.5)
    arm = replace(make(), chain=Chain((half,), 1, 1, np.eye(4)))
    with pytest.raises(ValueError, match="no link moves by joint 1 as it is"):
        to_urdf(arm)


def test_a_slide_is_prismatic():
    slide = Link("slide", 0, np.zeros(3), np.array([0.0, 0.6, 0.8]), 0, prismatic=True)
    arm = replace(make(), chain=Chain((slide,), 1, 1, np.eye(4)), bodies=())
    joint = ET.fromstring(to_urdf(arm)).find("joint")
    assert joint.get("type") == "prismatic"
    assert joint.find("axis").get("xyz") == "0 0.6 0.8"


@pytest.mark.peer
@pytest.mark.parametrize("family", FAMILIES)
def test_pin_reads_the_same_kinematics(family):
    """Second opinion: the library pin reads the text, followers included."""
    pin = pytest.importorskip("pinocchio", exc_type=ImportError)
    arm = make(family, bodies={"base": [Body("foot", Cylinder(0.3, 0.1))]})
    model = pin.buildModelFromXML(to_urdf(arm), mimic=True)
    data = model.createData()
    assert model.nq == arm.dof
    q = np.random.default_rng(2).uniform(-3.0, 3.0, (50, arm.dof))
    poses, flanges = arm.chain.link_poses(q), arm.chain.flange_poses(q)
    jacobians = arm.chain.jacobian(q)
    for row in range(len(q)):
        pin.forwardKinematics(model, data, q[row])
        pin.updateFramePlacements(model, data)
        for index, link in enumerate(arm.chain.links, start=1):
            theirs = data.oMf[model.getFrameId(link.name.replace(" ", "_"))].homogeneous
            assert np.abs(theirs - poses[row, index]).max() < 1e-9
        frame = model.getFrameId("flange")
        assert np.abs(data.oMf[frame].homogeneous - flanges[row]).max() < 1e-9
        theirs = pin.computeFrameJacobian(
            model, data, q[row], frame, pin.ReferenceFrame.LOCAL_WORLD_ALIGNED
        )
        assert np.abs(theirs - jacobians[row]).max() < 1e-9


@pytest.mark.peer
def test_pin_places_the_shapes_where_they_are():
    pin = pytest.importorskip("pinocchio", exc_type=ImportError)
    arm = make(bodies=bodies())
    text = to_urdf(arm)
    model = pin.buildModelFromXML(text, mimic=True)
    shapes = pin.buildGeomFromUrdfString(model, text, pin.GeometryType.COLLISION)
    data, placed = model.createData(), pin.GeometryData(shapes)
    q = np.array([0.3, 0.4, 0.5, 0.6])
    pin.updateGeometryPlacements(model, data, shapes, placed, q)
    poses = arm.chain.link_poses(q[None])[0]
    drawn = [item for item in arm.bodies if not isinstance(item.body.shape, Hull)]
    ours = [poses[item.link] @ item.body.pose for item in drawn]
    theirs = [pose.homogeneous for pose in placed.oMg]
    assert len(theirs) == 5  # foot, tube of three pieces, cover
    for pose, index in zip(ours, (0, 1, 4), strict=True):
        assert np.abs(theirs[index] - pose).max() < 1e-9
    assert isinstance(drawn[0], LinkBody)
