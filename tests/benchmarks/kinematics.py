"""Forward and inverse kinematics, ours in batches and others' in loops; reach alone."""

import time
from collections.abc import Callable
from typing import TypeVar

import numpy as np

from envelope.cell.load import load, load_arm
from envelope.motion.options import tasks_of
from envelope.motion.postures import Reach, postures_of
from envelope.motion.stations import Stations

from .job import CELL, pin_model

Result = TypeVar("Result")
POSES = 10_000
ARM = "spherical-1800-25"  # six joints: closed-form packages know no four-joint linkage


def timed(work: Callable[[], Result], times: int = 2) -> tuple[float, Result]:
    """Processor seconds of this process for one call, the least of so many, and what came out."""
    found = []
    for _ in range(times):
        start = time.process_time()
        result = work()
        found.append(time.process_time() - start)
    return min(found), result


def spent(work: Callable[[], object], times: int = 1) -> float:
    """Processor seconds of this process for one call, the least of so many."""
    return timed(work, times)[0]


def kinematics() -> dict[str, float | str]:
    """Microseconds a pose; what is missing says so."""
    arm = load_arm(ARM)
    rng = np.random.default_rng(1)
    low = np.array([joint.lower for joint in arm.joints])
    high = np.array([joint.upper for joint in arm.joints])
    q = rng.uniform(low, high, (POSES, arm.dof))
    poses = arm.chain.flange_poses(q)
    each = 1e6 / POSES
    found: dict[str, float | str] = {
        "forward, all links, ours": each * spent(lambda: arm.chain.link_poses(q), 5),
        "forward, all links, pin in a loop": each * spent(lambda: _pin_forward(arm, q), 2),
        "inverse, all branches, ours": each * spent(lambda: arm.inverse(poses), 5),
    }
    found["inverse, all branches, eaik in a loop"] = _eaik(arm, q, poses)
    found["inverse, one answer, pin iterating (1 of 20)"] = pin_inverse(arm, q[::20], poses[::20])
    return found


def _pin_forward(arm, q: np.ndarray) -> np.ndarray:
    """Poses of all links, copied out."""
    import pinocchio as pin

    model, matrix, joints = pin_model(arm)
    data = model.createData()
    poses = np.empty((len(q), len(joints), 4, 4))
    for row, values in enumerate(q @ matrix.T):
        pin.forwardKinematics(model, data, values)
        for column, joint in enumerate(joints):
            poses[row, column] = data.oMi[joint].homogeneous
    return poses


def _eaik(arm, q: np.ndarray, poses: np.ndarray) -> float | str:
    """A closed-form package; it is believed only when it finds the joints we started from."""
    try:
        from eaik.IK_HP import HPRobot
    except ImportError:
        return "skipped: eaik is not installed"
    links = [arm.chain.links[k - 1] for k in arm.chain.path(arm.chain.flange_link)]
    axes = np.array([link.axis for link in links])
    flange = arm.chain.link_from_flange
    robot = HPRobot(axes, np.array([*(link.origin for link in links), flange[:3, 3]]))
    asked = poses.copy()  # its end frame stands parallel to the base at zero
    asked[:, :3, :3] = poses[:, :3, :3] @ flange[:3, :3].T
    for row in range(50):
        answers = np.array(robot.IK(asked[row]).Q)
        apart = np.abs((answers - q[row] + np.pi) % (2.0 * np.pi) - np.pi).max(axis=1)
        if apart.min() > 1e-6:
            return "skipped: eaik does not find the joints the pose was made from"
    return 1e6 / len(q) * spent(lambda: [robot.IK(pose) for pose in asked])


def pin_inverse(arm, q: np.ndarray, poses: np.ndarray) -> float:
    """Damped least squares from 0.3 rad away, as the library's example has it."""
    import pinocchio as pin

    model, matrix, joints = pin_model(arm)
    data, tip = model.createData(), joints[arm.chain.flange_link]
    flange = np.linalg.inv(arm.chain.link_from_flange)

    def solve() -> None:
        for start, pose in zip((q + 0.3) @ matrix.T, poses, strict=True):
            wanted, values = pin.SE3(pose @ flange), start
            for _ in range(100):
                pin.forwardKinematics(model, data, values)
                error = pin.log6(data.oMi[tip].actInv(wanted)).vector
                if np.sqrt((error**2).sum()) < 1e-6:
                    break
                slope = pin.computeJointJacobian(model, data, values, tip)
                square = slope @ slope.T + 1e-9 * np.eye(6)
                values = values + slope.T @ np.linalg.solve(square, error)

    return 1e6 / len(q) * spent(solve)


def reach_rate() -> float:
    """Postures (pose and branch) a second, joint ranges included, nothing else judged."""
    cell = load(CELL)
    branches = len(cell.mounted.arm.branch_names)
    done = 0

    def all_pallets() -> None:
        nonlocal done
        done = 0
        for pallet in cell.pallets:
            found = postures_of(Reach(cell), Stations(cell, pallet), tasks_of(pallet))
            done += branches * sum(len(p.place) for choices in found for p in choices)

    seconds = spent(all_pallets, 3)
    return done / seconds
