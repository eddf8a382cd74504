"""How the flange moves: against another library, and against differences of positions."""

import numpy as np
import pytest

from envelope.arm.chain import Chain, Link
from envelope.arm.families import FAMILIES
from envelope.arm.flange_motion import flange_motion
from envelope.arm.urdf import to_urdf
from envelope.cell.load import arm_names, load_arm

ARM_OF = {load_arm(name).family: name for name in arm_names()}


def moving(dof, count, seed=4):
    rng = np.random.default_rng(seed)
    return (rng.normal(size=(count, dof)) * scale for scale in (1.5, 2.0, 5.0))


@pytest.mark.peer
@pytest.mark.parametrize("family", [name for name in FAMILIES if name in ARM_OF])
def test_pin_gives_the_same_twist_and_classical_acceleration(family):
    pin = pytest.importorskip("pinocchio", exc_type=ImportError)
    arm = load_arm(ARM_OF[family])
    model = pin.buildModelFromXML(to_urdf(arm))
    data, frame = model.createData(), model.getFrameId("flange")
    where = [
        model.joints[model.frames[model.getFrameId(link.name.replace(" ", "_"))].parentJoint].idx_q
        for link in arm.chain.links
    ]
    q, v, a = moving(arm.dof, 30)
    ours = flange_motion(arm.chain, q, v, a)
    for row in range(len(q)):
        theirs = []
        for coordinates in (q[row], v[row], a[row]):
            values = np.zeros(model.nq)
            for link, index in zip(arm.chain.links, where, strict=True):
                values[index] = link.multiplier * coordinates[link.source]
            theirs.append(values)
        pin.forwardKinematics(model, data, *theirs)
        pin.updateFramePlacements(model, data)
        world = pin.ReferenceFrame.LOCAL_WORLD_ALIGNED
        speed = pin.getFrameVelocity(model, data, frame, world)
        change = pin.getFrameClassicalAcceleration(model, data, frame, world)
        assert ours.spin[:, row] == pytest.approx(speed.angular, abs=1e-9)
        assert ours.spin_change[:, row] == pytest.approx(change.angular, abs=1e-8)
        assert ours.acceleration[:, row] == pytest.approx(change.linear, abs=1e-8)


def test_a_point_on_a_chain_with_a_slide_against_differences():
    """Coriolis terms of a slide on a turning link are easily left out."""
    links = (
        Link("turn", 0, np.array([0.1, 0, 0.3]), np.array([0.0, 0, 1]), 0),
        Link("slide", 1, np.array([0.2, 0, 0]), np.array([0.6, 0, 0.8]), 1, prismatic=True),
        Link("tip", 2, np.array([0.0, 0.1, 0.5]), np.array([0.0, 1, 0]), 2),
        Link("follower", 3, np.array([0.4, 0.1, 0]), np.array([1.0, 0, 0]), 0, -0.5),
    )
    mount = np.eye(4)
    mount[:3, 3] = 0.1, 0.2, 0.3
    chain = Chain(links, 3, 4, mount)
    q, v, a = moving(3, 20)
    motion = flange_motion(chain, q, v, a)
    arm = np.array([0.3, -0.2, 0.5])
    step = 1e-4

    def point(t):
        poses = chain.flange_poses(q + v * t + a * t * t / 2)
        return (poses[:, :3, :3] * arm).sum(axis=2) + poses[:, :3, 3]

    second = (point(step) - 2 * point(0.0) + point(-step)) / step**2
    poses = chain.flange_poses(q)
    found = motion.of_point((poses[:, :3, :3] * arm).sum(axis=2).T)
    assert pytest.approx(second, abs=2e-5 * np.abs(second).max()) == found.T


@pytest.mark.parametrize("name", arm_names())
def test_axes_are_those_the_jacobian_turns_about(name):
    chain = load_arm(name).chain
    q, v, a = moving(chain.dof, 10)
    motion = flange_motion(chain, q, v, a)
    jacobian, tip = chain.jacobian(q), chain.flange_poses(q)[:, :3, 3]
    for joint in range(chain.dof):
        if sum(link.source == joint for link in chain.links) > 1:
            continue  # a linkage turns about more than one axis
        if not chain.turning()[joint]:
            assert joint not in motion.axes
            continue
        axis = motion.axes[joint]
        assert pytest.approx(jacobian[:, 3:, joint]) == axis.direction.T
        lever = tip - axis.point.T
        assert np.cross(axis.direction.T, lever) == pytest.approx(jacobian[:, :3, joint])
