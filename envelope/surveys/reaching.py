"""What the arm reaches from many mounting positions: one batch of inverse solutions."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..cell.model import Cell
from ..geometry.bodies import frozen
from ..geometry.frames import Array, invert, pose
from ..motion.heights import Heights
from ..motion.options import Task, tasks_of, turns_of
from ..motion.postures import AT_LIMIT, Reach
from ..motion.stations import Stations

_POSES = 2_048  # solved at once: more gains nothing and costs memory


@dataclass(frozen=True, slots=True, eq=False)
class Reached:
    """What each of n mounting positions reaches.

    Attributes:
        placements: How many placements there are.
        reached: Placements of which pick, place and the points straight above both are in
            range of the joints, shape (n,). More may fail for other reasons, never fewer.
        room: Least joint room at picks and places, each in its best posture [rad or m], over
            what is reached; inf where nothing is. Motion leaves as much or less. Shape (n,).
        poses: How many tool poses were solved; each gives one answer for every branch.
        solutions: How many answers that makes.
    """

    placements: int
    reached: NDArray[np.intp]
    room: Array
    poses: int
    solutions: int


def reach_from(cell: Cell, world_from_bases: Array) -> Reached:
    """What the arm of a cell reaches from other mounting positions.

    Errs: on the side of reaching: a placement counted may still have no motion.

    Args:
        cell: The cell; where its own arm stands plays no part.
        world_from_bases: The mounting positions, shape (n, 4, 4).
    """
    points = _Points(cell)
    count = max(1, _POSES // max(1, len(points.world_from_flange)))
    reached, room = [np.zeros(0, np.intp)], [np.zeros(0)]
    for start in range(0, len(world_from_bases), count):
        some, least = points.reached(world_from_bases[start : start + count])
        reached.append(some)
        room.append(least)
    poses = len(points.world_from_flange) * len(world_from_bases)
    return Reached(
        points.placements,
        np.concatenate(reached),
        np.concatenate(room),
        poses,
        poses * len(cell.mounted.arm.branch_names),
    )


class Room:
    """Joint room at flange poses, over branches and whole turns of the joints.

    Args:
        cell: The cell whose arm and usable ranges count.
        confirmed: Whether answers are confirmed by forward kinematics. Where they are not,
            more may be in range than is true, never less, in half of the time.
    """

    def __init__(self, cell: Cell, *, confirmed: bool = True) -> None:
        self.arm = cell.mounted.arm
        self._confirmed = confirmed or self.arm.axis is not None
        self._reach = Reach(cell)
        self._middle = (self._reach.lower + self._reach.upper) / 2.0

    def of(self, base_from_flange: Array) -> Array:
        """Room in each branch, shape (n, 4, 4) to (n, branches) [rad]; -inf out of range.

        Of the whole turns of a joint the one nearest to the middle of its range counts. An arm
        on a lift or track has its branches at every stop.
        """
        if self._confirmed:
            answers = self.arm.inverse(base_from_flange)
            q, found = answers.q, answers.found
        else:
            q = self.arm.solve(base_from_flange)
            found = ~np.isnan(q).any(axis=2)
        rows = q[found]
        room = np.full(found.shape, -np.inf)
        if len(rows):
            room[found] = self._reach.margin(self.arm.unwrap_near(rows, self._middle))
        return np.where(room >= -AT_LIMIT, room, -np.inf)


class _Points:
    """The flange poses a cell asks for, in the world, each once; and what needs which."""

    def __init__(self, cell: Cell) -> None:
        still = replace(cell.mounted, world_from_base=frozen(np.eye(4)))
        self._cell = replace(cell, mounted=still)  # so that stations are in the world frame
        self._room = Room(cell, confirmed=False)
        self._flange = invert(cell.tool.flange_from_tcp)
        self._numbers: dict[bytes, int] = {}
        self._poses: list[Array] = []
        choices: list[tuple[int, list[int], list[int]]] = []  # task, postures, points above
        self._weights: list[int] = []
        for pallet in cell.pallets:
            stations = Stations(self._cell, pallet)
            heights = Heights(self._cell, pallet, Reach(self._cell))
            for task in tasks_of(pallet):
                choices += self._choices(len(self._weights), task, stations, heights)
                self._weights.append(len(task.placements))
        self.world_from_flange = np.array(self._poses).reshape(-1, 4, 4)
        self.placements = sum(self._weights)
        self._of = np.array([task for task, _, _ in choices], dtype=np.intp)
        self._at = _table([at for _, at, _ in choices])
        self._above = _table([above for _, _, above in choices])

    def _choices(
        self, number: int, task: Task, stations: Stations, heights: Heights
    ) -> list[tuple[int, list[int], list[int]]]:
        """For every choice of turns: numbers of the poses at pick and places, and above them."""
        lift, rise = heights.lift(task), self._cell.motion.approach_height
        found: list[tuple[int, list[int], list[int]]] = []
        for turns in turns_of(task):
            pick = stations.pick(task.group, turns.pick)
            at, above = [self._number(pick, 0.0)], [self._number(pick, lift)]
            for placement, turn in zip(task.placements, turns.place, strict=True):
                place = stations.place(placement, turns.pick, turn)
                at.append(self._number(place, 0.0))
                above.append(self._number(place, rise))
            found.append((number, at, above))
        return found

    def _number(self, world_from_tcp: Array, higher: float) -> int:
        """The number of a flange pose, given anew where it is a new one."""
        world_from_flange = world_from_tcp @ self._flange
        world_from_flange[2, 3] += higher
        key = (np.round(world_from_flange, 9) + 0.0).tobytes()
        if key not in self._numbers:
            self._numbers[key] = len(self._poses)
            self._poses.append(world_from_flange)
        return self._numbers[key]

    def reached(self, world_from_bases: Array) -> tuple[NDArray[np.intp], Array]:
        """Placements reached and least room, each of shape (n,)."""
        positions = len(world_from_bases)
        if not self.placements:
            return np.zeros(positions, np.intp), np.full(positions, np.inf)
        base_from_world = invert(world_from_bases)
        poses = (base_from_world[:, None] @ self.world_from_flange).reshape(-1, 4, 4)
        room = self._room.of(poses).reshape(positions, len(self.world_from_flange), -1)
        anyhow = room.max(axis=2) > -np.inf
        least = room[:, self._at[0]]
        for column in self._at[1:]:
            least = np.minimum(least, room[:, column])
        best = least.max(axis=2)
        for column in self._above:
            best = np.where(anyhow[:, column], best, -np.inf)
        starts = np.flatnonzero(np.diff(self._of, prepend=-1))
        of_task = np.maximum.reduceat(best, starts, axis=1)
        good = of_task > -np.inf
        reached = (good * np.array(self._weights)).sum(axis=1)
        return reached, np.where(good, of_task, np.inf).min(axis=1)


def _table(rows: Sequence[Sequence[int]]) -> NDArray[np.intp]:
    """Rows as columns, short ones filled up with their first entry: shape (longest, rows)."""
    longest = max((len(row) for row in rows), default=1)
    filled = [[*row, *([row[0]] * (longest - len(row)))] for row in rows]
    return np.array(filled, dtype=np.intp).reshape(-1, longest).T


def mounting(cell: Cell, position: dict[str, float]) -> Array:
    """Pose world_from_base of a cell's arm with some of x, y, z [mm], yaw [deg] replaced."""
    own = cell.mounted.world_from_base
    yaw = float(np.arctan2(own[1, 0], own[0, 0]))
    x, y, z = (
        position[name] / 1e3 if name in position else float(own[row, 3])
        for row, name in enumerate("xyz")
    )
    return pose(x, y, z, np.radians(position["yaw"]) if "yaw" in position else yaw)
