"""Where a lift or track stands during each cycle of a pallet: as few moves as can be.

One place for the whole pallet if it serves all of it, else one for as many layers in a row as
it serves, else one for as many cycles in a row, else one at the pick and another at the
placement. What counts here is reach alone, at the waypoints that any motion needs. Where the
motion from the planned place meets something, other places are tried within that cycle.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..arm.arm import Arm
from ..arm.external_axis import ExternalAxis, spread
from ..cell.model import Cell, Pallet
from ..geometry.frames import Array
from .heights import Heights
from .options import Task, Turns, turns_of
from .postures import Reach
from .stand import NO_AXIS, Stand, branch_name
from .stations import Stations

_OTHERS = 5  # places that are tried beside the planned one

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Stands:
    """What a lift or track does while one pallet is built.

    Attributes:
        every: All stands that may be taken; the only one of an arm without external axis
            is `NO_AXIS`.
        planned: Index of the stand planned for each task, by its number.

    A *branch* of a task is one of the arm's own branches at one of the stands; they are
    numbered stand by stand.
    """

    every: tuple[Stand, ...] = (NO_AXIS,)
    planned: dict[int, int] = field(default_factory=dict[int, int])

    def of(self, task: int) -> Stand:
        """The stand planned for a task."""
        return self.every[self.planned.get(task, 0)]

    def before(self, task: int) -> Stand:
        """The stand planned for the task before this one; its own for the first."""
        earlier = [number for number in self.planned if number < task]
        return self.of(max(earlier)) if earlier else self.of(task)

    def branch_name(self, arm: Arm, branch: int) -> str:
        """Name of a branch of a task, as findings tell it."""
        own = len(arm.branch_names)
        return branch_name(arm, self.every[branch // own], branch % own)

    def order(self, task: int) -> tuple[int, ...]:
        """Indices of all stands in the order of trial for a task: the fewest moves first."""
        planned = self.of(task)
        return tuple(
            sorted(
                range(len(self.every)),
                key=lambda index: (
                    index != self.planned.get(task, 0),
                    self.every[index].pick != planned.pick,
                    self.every[index].travel(),
                    index,
                ),
            )
        )

    def branches(self, task: int, ranked: Sequence[int]) -> tuple[int, ...]:
        """Branches over all stands, stand by stand, in the order of trial for a task.

        Args:
            task: Number of the task.
            ranked: The arm's own branches, the best first.
        """
        own = len(ranked)
        return tuple(stand * own + branch for stand in self.order(task) for branch in ranked)


def stands_of(cell: Cell, pallet: Pallet, tasks: Sequence[Task]) -> Stands:
    """Plan where the external axis stands for each task of a pallet."""
    axis = cell.mounted.arm.axis
    if axis is None or not tasks:
        return Stands()
    served = _Served(cell, pallet, axis, tasks)
    found = _Runs(served).planned(tasks)
    planned = sorted(set(found.values()), key=lambda stand: (stand.pick or 0.0, stand.place or 0.0))
    others = spread(served.stops, _OTHERS)
    picks = sorted({stand.pick for stand in planned if stand.pick is not None})
    every = [
        *planned,
        *(Stand(pick, other) for pick in picks for other in others),
        *(Stand(other, other) for other in others),
    ]
    unique = tuple(dict.fromkeys(every))
    return Stands(unique, {task: unique.index(stand) for task, stand in found.items()})


class _Served:
    """What is in reach from each stop of the axis, at pick and placement, by branch.

    Attributes:
        stops: The stops within the usable range of the axis.
    """

    def __init__(
        self, cell: Cell, pallet: Pallet, axis: ExternalAxis, tasks: Sequence[Task]
    ) -> None:
        self._reach, self._stations = Reach(cell), Stations(cell, pallet)
        self._heights = Heights(cell, pallet, self._reach)
        self._cell = cell
        low, high = self._reach.lower[0] - 1e-9, self._reach.upper[0] + 1e-9
        self.stops = tuple(stop for stop in axis.stops if low <= stop <= high) or axis.stops[:1]
        self._picks: dict[tuple[str, float], Array] = {}
        self._by_task: dict[int, list[tuple[Array, Array]]] = {}
        self._solve(tasks)

    def rooms(self, task: Task) -> list[tuple[Array, Array]]:
        """Joint room at pick and placement for each choice of turns, (stops, branches) each.

        Minus infinity out of reach.
        """
        return self._by_task[task.number]

    def single(self, task: Task) -> Array:
        """Best joint room with the axis at one stop all the cycle, shape (stops,)."""
        return np.max(
            [np.minimum(pick, place).max(axis=1) for pick, place in self.rooms(task)], axis=0
        )

    def double(self, task: Task) -> Array:
        """The same for two stops, at the pick and at the placement, shape (stops, stops)."""
        return np.max(
            [
                np.minimum(pick[:, None], place[None]).max(axis=2)
                for pick, place in self.rooms(task)
            ],
            axis=0,
        )

    def _solve(self, tasks: Sequence[Task]) -> None:
        self._solve_picks({task.group.name: task for task in tasks})
        wanted = [
            (task, turns, self._places(task, turns)) for task in tasks for turns in turns_of(task)
        ]
        at_place = iter(self._rooms(np.stack([pose for *_, poses in wanted for pose in poses])))
        loose: dict[int, list[tuple[Array, Array]]] = {task.number: [] for task in tasks}
        strict: dict[int, list[tuple[Array, Array]]] = {task.number: [] for task in tasks}
        for task, turns, poses in wanted:
            rooms = np.stack([next(at_place) for _ in poses]).reshape(-1, 3, *self._shape())
            pick = self._picks[task.group.name, turns.pick]
            loose[task.number].append((pick, rooms[:, :2].min(axis=(0, 1))))
            strict[task.number].append((pick, rooms.min(axis=(0, 1))))
        for number, choices in strict.items():
            # arriving over all that stands is what is tried first; where that is out of
            # reach from everywhere, arriving low must do
            serves = any(np.isfinite(np.minimum(*choice)).any() for choice in choices)
            self._by_task[number] = choices if serves else loose[number]

    def _solve_picks(self, groups: dict[str, Task]) -> None:
        """Joint room at the pick, and above it, of every group and turn."""
        poses = {
            (name, turn): self._with_lift(
                self._stations.pick(task.group, turn), (self._heights.lift(task),)
            )
            for name, task in groups.items()
            for turn in task.group.turns
        }
        rooms = iter(self._rooms(np.stack([pose for pair in poses.values() for pose in pair])))
        for key in poses:
            self._picks[key] = np.minimum(next(rooms), next(rooms))

    def _shape(self) -> tuple[int, int]:
        return len(self.stops), len(self._cell.mounted.arm.branch_names)

    def _places(self, task: Task, turns: Turns) -> list[Array]:
        """For each release: at rest, above it, and above all that stands on the pallet."""
        return [
            pose
            for release, (placement, turn) in enumerate(
                zip(task.placements, turns.place, strict=True)
            )
            for pose in self._with_lift(
                self._stations.place(placement, turns.pick, turn),
                (self._cell.motion.approach_height, self._heights.clear(task, release)),
            )
        ]

    def _with_lift(self, pose: Array, heights: tuple[float, ...]) -> list[Array]:
        """A pose, and the same at heights above it."""
        poses = [pose]
        for height in heights:
            lifted = pose.copy()
            lifted[:3, 3] += height * self._heights.up
            poses.append(lifted)
        return poses

    def _rooms(self, poses: Array) -> Array:
        """Joint room at poses, shape (n, stops, branches); minus infinity out of reach."""
        rooms = np.empty((len(poses), *self._shape()))
        for index, stop in enumerate(self.stops):
            q = self._reach.within(self._reach.answers(poses, stop), None)
            room = self._reach.margin(q.reshape(-1, q.shape[-1])).reshape(q.shape[:2])
            rooms[:, index] = np.where(np.isnan(room), -np.inf, room)
        return rooms


class _Runs:
    """Cuts the tasks of a pallet into runs that one stop serves, as few as can be."""

    def __init__(self, served: _Served) -> None:
        self._served = served
        self._found: dict[int, Stand] = {}
        self._run: list[Task] = []
        self._room = self._anything()
        self._last: float | None = None

    def planned(self, tasks: Sequence[Task]) -> dict[int, Stand]:
        """The stand of every task."""
        for layer in _layers(tasks):
            together = np.min([self._served.single(task) for task in layer], axis=0)
            atoms = [layer] if np.isfinite(together).any() else [[task] for task in layer]
            for atom in atoms:
                self._add(atom)
        self._close()
        return self._found

    def _anything(self) -> Array:
        return np.full(len(self._served.stops), np.inf)

    def _add(self, atom: list[Task]) -> None:
        """Go on with the run if one stop serves it with these tasks as well, else start anew."""
        room = np.min([self._served.single(task) for task in atom], axis=0)
        if not np.isfinite(room).any():
            self._alone(atom[0])
            return
        both = np.minimum(self._room, room)
        if not (both > -np.inf).any():
            self._close()
            both = room
        self._run += atom
        self._room = both

    def _close(self) -> None:
        """Settle the run at the stop with the most joint room; of equals, the nearest."""
        if not self._run:
            return
        room = np.round(self._room, 4)
        stops = np.array(self._served.stops)
        away = np.zeros(len(stops)) if self._last is None else np.abs(stops - self._last)
        best = float(stops[np.lexsort((stops, away, -room))[0]])
        for task in self._run:
            self._found[task.number] = Stand(best, best)
        self._last, self._run, self._room = best, [], self._anything()

    def _alone(self, task: Task) -> None:
        """A task that no single stop serves: one for the pick, another for the placement."""
        stops = np.array(self._served.stops)
        room = self._served.double(task)
        if not np.isfinite(room).any():
            # out of reach from everywhere: it stays with the run, and fails there
            if self._run:
                self._run.append(task)
            else:
                here = float(stops[0]) if self._last is None else self._last
                self._found[task.number] = Stand(here, here)
            return
        self._close()
        last = stops[0] if self._last is None else self._last
        picks, places = np.nonzero(room > -np.inf)
        moved = np.abs(stops[picks] - last) > 1e-9
        travel = np.abs(stops[places] - stops[picks])
        rank = np.lexsort((places, picks, -np.round(room[picks, places], 4), travel, moved))[0]
        pick, place = float(stops[picks[rank]]), float(stops[places[rank]])
        self._found[task.number] = Stand(pick, place)
        self._last = pick


def _layers(tasks: Sequence[Task]) -> list[list[Task]]:
    """Tasks in order, cut where the layer changes."""
    layers: list[list[Task]] = []
    before: int | None = None
    for task in tasks:
        layer = task.placements[0].layer
        if layer != before:
            layers.append([])
        layers[-1].append(task)
        before = layer
    return layers
