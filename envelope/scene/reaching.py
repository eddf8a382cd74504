"""What the arm reaches at one height, and where it is wanted: for pictures of reach."""

from dataclasses import dataclass

import numpy as np

from ..cell.model import Cell, Pallet
from ..geometry.frames import Array, invert
from ..motion.heights import Heights
from ..motion.options import Task
from ..motion.postures import Reach
from ..motion.shortfall import ABOVE_ALL, ABOVE_PICK, ABOVE_PLACE, PICK, PLACE, waypoints
from ..motion.stations import Stations
from .facets import Facets, Mask

_AROUND = 180  # directions in which the level is tried
_STEP = 0.025  # [m]: distance from one circle that is tried to the next
_BEYOND = 0.3  # [m]: how far past the wanted place the level is tried


_WHERE = {
    PICK: "at the pick for",
    ABOVE_PICK: "above the pick for",
    PLACE: "at",
    ABOVE_PLACE: "above",
    ABOVE_ALL: "above the stack for",
}


@dataclass(frozen=True, slots=True, eq=False)
class Wanted:
    """A pose of the tool that has no answer.

    Attributes:
        base_from_tcp: Shape (4, 4).
        link: Pose of the link that carries the tool, in the world, shape (4, 4).
        tcp: The TCP in the world, shape (3,) [m].
    """

    base_from_tcp: Array
    link: Array
    tcp: Array


def wanted_pose(
    cell: Cell, pallet: Pallet, task: Task, segment: str | None = None, *, over: bool = False
) -> tuple[Wanted, str]:
    """The first pose of a task that is out of reach, and in words where it lies.

    Where each of them is in reach by itself: the one that a segment leads to, by default the
    last placement. over: the point above all that stands on the pallet is wanted as well.
    """
    heights = Heights(cell, pallet, Reach(cell))
    poses = waypoints(cell, Stations(cell, pallet), heights, task, over=over)
    reached = _reached(cell, np.array([at for _, at in poses]))
    last = next(entry for entry in reversed(poses) if entry[0] == PLACE)
    led_to = {"approach pick": poses[0], "lift off": poses[1]}.get(segment or "", last)
    what, at = next(
        (entry for entry, found in zip(poses, reached, strict=True) if not found), led_to
    )
    where = _WHERE[what]
    link = at @ invert(cell.tool.flange_from_tcp) @ invert(cell.mounted.arm.chain.link_from_flange)
    world = cell.mounted.world_from_base
    return Wanted(at, world @ link, (world @ at)[:3, 3]), where


def reached_level(cell: Cell, wanted: Wanted) -> list[Facets]:
    """Flat facets of all that the TCP reaches at the wanted height, turned as it is wanted."""
    world_from_base = cell.mounted.world_from_base
    centre = world_from_base[:3, 3]
    away = float(np.linalg.norm((wanted.tcp - centre)[:2])) + _BEYOND
    radii = np.arange(_STEP, max(away, 1.0) + _STEP, _STEP)
    angles = np.arange(_AROUND) * (2.0 * np.pi / _AROUND)
    points = np.stack(
        np.broadcast_arrays(
            centre[0] + radii[:, None] * np.cos(angles),
            centre[1] + radii[:, None] * np.sin(angles),
            wanted.tcp[2],
        ),
        axis=-1,
    )
    poses = np.broadcast_to(wanted.base_from_tcp, (*points.shape[:2], 4, 4)).copy()
    base_from_world = invert(world_from_base)
    poses[..., :3, 3] = points @ base_from_world[:3, :3].T + base_from_world[:3, 3]
    inside = _reached(cell, poses.reshape(-1, 4, 4)).reshape(points.shape[:2])
    return _cells(points, inside)


def _cells(points: Array, inside: Mask) -> list[Facets]:
    """The quads of a polar grid of points whose four corners are inside, as flat facets."""
    after = np.roll(inside, -1, axis=1)
    whole = inside[:-1] & inside[1:] & after[:-1] & after[1:]
    ring, turn = np.nonzero(whole)
    if not len(ring):
        return []
    count = points.shape[1]
    corner = ring * count + turn
    beside = ring * count + (turn + 1) % count
    faces = np.concatenate(
        [
            np.column_stack([corner, corner + count, beside + count]),
            np.column_stack([corner, beside + count, beside]),
        ]
    )
    nothing = np.zeros((0, 2), dtype=np.intp)
    return [Facets(points.reshape(-1, 3), faces, nothing, nothing, convex=False)]


def _reached(cell: Cell, base_from_tcp: Array) -> Mask:
    """Whether poses, shape (n, 4, 4), have an answer in the usable ranges, either way round."""
    arm = cell.mounted.arm
    usable = np.array(cell.mounted.usable)
    half = base_from_tcp.copy()
    half[:, :3, :2] *= -1.0
    reached = np.zeros(len(base_from_tcp), dtype=bool)
    for poses in (base_from_tcp, half):
        answers = arm.inverse(poses @ invert(cell.tool.flange_from_tcp)).q
        branches = answers.shape[1]
        copies, row = arm.turns_within(answers.reshape(-1, arm.dof), usable[:, 0], usable[:, 1])
        room = arm.limit_margin(copies).min(axis=1) >= -1e-9
        reached[row[room] // branches] = True
    return reached
