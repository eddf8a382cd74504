"""The work that everybody is given: motions already found, and who moves and stands in each."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from envelope.arm.arm import Arm
from envelope.arm.urdf import to_urdf
from envelope.cell.load import load
from envelope.cell.model import Cell
from envelope.checks.cast import SEGMENTS, Cast, cast_of
from envelope.checks.stretches import Planned
from envelope.checks.watch import watch_cycles
from envelope.geometry.bodies import Body, Box, Capsule, Cylinder
from envelope.motion.cycle import Cycle, Segment
from envelope.motion.options import tasks_of

ROOT = Path(__file__).parents[2]
CELL = ROOT / "cells" / "biscuits-two-pallets.yaml"
BLOCK = 96  # as the command judges them
CLASSES = (
    "carried_to_placed",
    "carried_to_guide",
    "carried_to_fixed",
    "tool_to_placed",
    "tool_to_fixed",
    "arm_to_any",
    "arm_to_itself",
    "placing_gap",
)
TOUCH_ONLY = tuple(f"clearances.{name}=0" for name in CLASSES)  # asks for contact alone
SPOILT = ("pallets.left.at.x=-440", "pallets.right.at.x=-540")  # the motions go on as before
STEP = 0.002  # [m] of travel from sample to sample: nothing is over 1 mm from one


@dataclass(frozen=True, slots=True, eq=False)
class Job:
    """A cell and the motions given for it, in the blocks in which they are judged."""

    cell: Cell
    blocks: tuple[tuple[Cast, tuple[Planned, ...]], ...]

    def sampled(self, every: int, first: int = 0) -> "Job":
        """Every so many of the cycles only."""
        number, blocks = -first, []
        for cast, planned in self.blocks:
            chosen = [p for k, p in enumerate(planned) if (number + k) % every == 0]
            number += len(planned)
            if chosen:
                blocks.append((cast, tuple(chosen)))
        return Job(self.cell, tuple(blocks))

    @property
    def cycles(self) -> int:
        return sum(len(planned) for _, planned in self.blocks)

    def stretches(self) -> "Iterator[tuple[str, Cast, Stretch]]":
        """Every segment, with the first placement of its cycle and who is about."""
        for cast, planned in self.blocks:
            for plan in planned:
                for segment in plan.cycle.segments:
                    yield plan.task.placements[0].id, cast, about(self.cell, cast, plan, segment)


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """A segment and the actors that move and stand in it, the arm's base apart from both.

    Attributes:
        samples: Joints along it for those who sample, shape (n, dof).
    """

    segment: Segment
    moving: tuple[int, ...]
    still: tuple[int, ...]
    samples: np.ndarray


def job_of(settings: Sequence[str], cycles: Mapping[str, Cycle], path: Path = CELL) -> Job:
    """A cell with values set, and motions that may have been found for another."""
    cell = load(path, settings)
    blocks = []
    for pallet in cell.pallets:
        tasks = tasks_of(pallet)
        for start in range(0, len(tasks), BLOCK):
            some = tasks[start : start + BLOCK]
            planned = [
                Planned(task, cycles[task.placements[0].id])
                for task in some
                if task.placements[0].id in cycles
            ]
            if planned:
                blocks.append((cast_of(cell, pallet, some), tuple(planned)))
    return Job(cell, tuple(blocks))


def about(cell: Cell, cast: Cast, plan: Planned, segment: Segment) -> Stretch:
    """Who moves and who stands in a segment of a cycle."""
    event = plan.task.first + segment.release
    bit = 1 << SEGMENTS.index(segment.name)
    moving, still = [], []
    for index, actor in enumerate(cast.actors):
        if actor.carried is not None:
            group, turn, item = actor.carried
            mine = group == plan.task.group.name and turn == plan.cycle.pick_turn
            if mine and item in segment.carried:
                moving.append(index)
        elif actor.link:
            moving.append(index)
        else:
            stands = actor.since <= event < actor.until and actor.segments & bit
            mine = actor.group in ("", plan.task.group.name)
            if stands and mine and actor.role != "arm":  # its base is a part of the arm
                still.append(index)
    samples = dense(cell, cast, segment, moving)
    return Stretch(segment, tuple(moving), tuple(still), samples)


def ours(job: Job, *, values: bool) -> dict[str, bool]:
    """Certify every motion; by cycle (its first placement), whether anything comes too near."""
    met: dict[str, bool] = {}
    for cast, planned in job.blocks:
        met |= {plan.task.placements[0].id: False for plan in planned}
        for seen in watch_cycles(job.cell, cast, planned, values=values):
            if seen.margin[0] < 0.0:
                met[planned[seen.planned].task.placements[0].id] = True
    return met


# --- what every peer needs ----------------------------------------------------------------------


def shrunk(job: Job, cast: Cast, index: int) -> Body:
    """A moving body less the depth by which it may touch: peers know no intended contact.

    The carried carton loses its slack, the lips their stroke, everything the contact depth.
    """
    actor, body = cast.actors[index], cast.bodies[index]
    if not actor.link and actor.role != "arm":
        return body
    less = job.cell.clearances.contact + actor.slack + actor.stroke
    shape = body.shape
    if isinstance(shape, Box):
        return Body(body.name, Box(np.maximum(shape.half - less, 1e-4)), body.pose)
    if isinstance(shape, Capsule):
        return Body(body.name, Capsule(shape.radius - less, shape.half), body.pose)
    if isinstance(shape, Cylinder):
        return Body(body.name, Cylinder(shape.radius - less, shape.half - less), body.pose)
    return body


def apart(cast: Cast, first: int, second: int) -> bool:
    """Whether two bodies of the arm, the tool and what hangs on it are to be watched."""
    a, b = cast.actors[first], cast.actors[second]
    pair = (min(first, second), max(first, second))
    return bool(a.link or b.link) and pair not in cast.together


def pin_model(arm: Arm):
    """An arm as a model of `pin`; its joint values in ours, (nq, dof); its joint of each link."""
    import pinocchio as pin

    model = pin.buildModelFromXML(to_urdf(arm))
    names = [link.name.replace(" ", "_") for link in arm.chain.links]
    joints = [0, *(model.frames[model.getFrameId(name)].parentJoint for name in names)]
    # Links that follow a coordinate are joints of their own here.
    matrix = np.zeros((model.nq, arm.dof))
    for link, joint in zip(arm.chain.links, joints[1:], strict=True):
        matrix[model.joints[joint].idx_q, link.source] = link.multiplier
    return model, matrix, joints


class Kin:
    """The arm's forward kinematics by `pin`, one configuration at a time."""

    def __init__(self, cell: Cell) -> None:
        self.model, self.matrix, self.joint = pin_model(cell.mounted.arm)
        self.data = self.model.createData()

    def rows(self, joints: np.ndarray) -> np.ndarray:
        """The library's joint values for ours, shape (n, dof) to (n, nq)."""
        return joints @ self.matrix.T


def corners(body: Body) -> np.ndarray:
    """Points of the link whose hull holds a body, shape (k, 3) [m]."""
    shape = body.shape
    if isinstance(shape, Box):
        half = np.asarray(shape.half)
    elif isinstance(shape, Capsule):
        half = np.array([shape.radius, shape.radius, shape.half + shape.radius])
    elif isinstance(shape, Cylinder):
        half = np.array([shape.radius, shape.radius, shape.half])
    else:
        return shape.vertices @ body.pose[:3, :3].T + body.pose[:3, 3]
    signs = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)])
    return (signs * half) @ body.pose[:3, :3].T + body.pose[:3, 3]


def dense(cell: Cell, cast: Cast, segment: Segment, moving: Sequence[int]) -> np.ndarray:
    """Joints along a segment, as few as leave no corner of a body over 1 mm from a sample.

    How far corners travel is measured, not bounded: this favours who samples.
    """
    chain = cell.mounted.arm.chain
    found = []
    for first, last in pairwise(segment.joints):
        looks = 33 if segment.kind == "joint" else 2
        q = first + np.linspace(0.0, 1.0, looks)[:, None] * (last - first)
        poses = chain.link_poses(q)
        steps = np.zeros(looks - 1)
        for index in moving:
            frame = poses[:, cast.actors[index].link]
            points = np.einsum("nij,kj->nki", frame[:, :3, :3], corners(cast.bodies[index]))
            moved = np.diff(points + frame[:, None, :3, 3], axis=0)
            steps = np.maximum(steps, np.sqrt((moved**2).sum(axis=2)).max(axis=1))
        travel = np.concatenate([[0.0], np.cumsum(steps)])
        count = max(1, int(np.ceil(travel[-1] / STEP)))
        middles = (np.arange(count) + 0.5) / count * travel[-1]
        share = np.interp(middles, travel, np.linspace(0.0, 1.0, looks))
        found.append(first + share[:, None] * (last - first))
    return np.concatenate(found)
