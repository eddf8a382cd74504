"""Joints at pick and placements: every branch, in whole turns that stay within range."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..cell.model import Cell
from ..geometry.frames import Array, invert
from .options import Task, Turns, turns_of
from .path import rounded
from .stand import NO_AXIS, Stand
from .stations import Stations

_MARGIN_STEP = float(np.radians(1.0))  # joint margins closer than this rank alike
AT_LIMIT = 1e-9  # [rad or m]: rounding that does not put a joint outside its range


@dataclass(frozen=True, slots=True, eq=False)
class Posture:
    """Joints of one task under one choice of turns, by branch; nan where out of range.

    With a lift or track, the branches follow one another stand by stand (see `stands.Stands`).

    Attributes:
        pick: Shape (branches, dof) [rad or m].
        place: Shape (releases, branches, dof).
        margin: Least room to a usable limit over pick and placements, -inf out of range.
    """

    turns: Turns
    pick: Array
    place: Array
    margin: Array

    def at_stand(self, stand: int, own: int) -> "Posture":
        """The same at one stand alone, with the arm's own branches only.

        Args:
            stand: Number of the stand.
            own: How many branches the arm has.
        """
        mine = slice(stand * own, (stand + 1) * own)
        return Posture(self.turns, self.pick[mine], self.place[:, mine], self.margin[mine])


class Reach:
    """What the arm reaches in its usable range."""

    def __init__(self, cell: Cell) -> None:
        self.arm = cell.mounted.arm
        self.lower = np.array([low for low, _ in cell.mounted.usable])
        self.upper = np.array([high for _, high in cell.mounted.usable])
        self._tcp_from_flange = invert(cell.tool.flange_from_tcp)
        self._scale = cell.mounted.room_scale()
        self._middle = np.minimum(np.maximum(0.0, self.lower), self.upper)

    def margin(self, q: Array) -> Array:
        """Least room to a usable limit of joint rows, shape (n, dof) to (n,) [rad].

        Room of a joint that slides counts as an angle (see `Mounted.room_scale`).
        """
        own, coupled = self._rooms(q)
        least = own.min(axis=1)
        return np.minimum(least, coupled.min(axis=1)) if coupled.shape[1] else least

    def tightest(self, q: Array) -> tuple[int, float]:
        """Which limit leaves least room over joint rows, shape (n, dof), and how much.

        Returns:
            The limit in the order of `Arm.limit_margin`, and its own room [rad or m].
        """
        rooms = np.concatenate(self._rooms(q), axis=1).min(axis=0)
        which = int(rooms.argmin())
        scale = float(self._scale[which]) if which < self.arm.dof else 1.0
        return which, float(rooms[which]) / scale

    def _rooms(self, q: Array) -> tuple[Array, Array]:
        """Room to each usable limit, (n, dof), slides as angles, and to each coupled limit."""
        rooms = np.minimum(q - self.lower, self.upper - q) * self._scale
        if self.arm.axis is not None and self.arm.axis.in_steps:
            rooms[:, 0] = np.where(rooms[:, 0] < -AT_LIMIT, rooms[:, 0], np.inf)
        return rooms, self.arm.coupled_margin(q)

    def answers(self, base_from_tcp: Array, stand: float | Array | None = None) -> Array:
        """Joints for TCP poses, shape (n, 4, 4) to (n, branches, dof); nan where there are none.

        Args:
            base_from_tcp: The poses.
            stand: Where the lift or track stands, at all poses or at each, shape (n,) [m]; None
                for an arm without one, and to try all its stops, one after the other along the
                second axis.
        """
        flange = base_from_tcp @ self._tcp_from_flange
        if stand is not None:
            stand = np.broadcast_to(stand, len(flange))
        return self.arm.inverse(flange, stand).q

    def stand_at(self, q: Array) -> float | None:
        """Where the lift or track stands in a joint row, shape (dof,) [m]; None without one."""
        return None if self.arm.axis is None else float(q[0])

    def within(self, answers: Array, near: Array | None) -> Array:
        """Answers moved by whole turns next to a reference, but within range; else nan.

        Args:
            answers: Shape (n, branches, dof).
            near: Shape (n, branches, dof) or what broadcasts; None for the middle of things.
        """
        reference = self._middle if near is None else near
        with np.errstate(invalid="ignore"):
            q = self.arm.unwrap_near(answers, reference)
            turn = 2.0 * np.pi * np.array(self.arm.chain.turning())
            q = np.where(q > self.upper + AT_LIMIT, q - turn, q)
            q = np.where(q < self.lower - AT_LIMIT, q + turn, q)
            inside = (q >= self.lower - AT_LIMIT) & (q <= self.upper + AT_LIMIT)
        q = np.where(inside.all(axis=-1, keepdims=True), q, np.nan)
        coupled = self.margin(q.reshape(-1, self.arm.dof)).reshape(q.shape[:-1])
        return rounded(self.arm, np.where((coupled >= -AT_LIMIT)[..., None], q, np.nan))


def postures_of(
    reach: Reach,
    stations: Stations,
    tasks: Sequence[Task],
    stands: Sequence[Stand] = (NO_AXIS,),
) -> list[list[Posture]]:
    """For each task, its postures under every choice of turns, all solved in one batch."""
    picks = {
        (task.group.name, turn): stations.pick(task.group, turn)
        for task in tasks
        for turn in task.group.turns
    }
    if not picks:
        return []
    above = np.stack(list(picks.values()))
    at_pick = reach.within(_at_stands(reach, above, [stand.pick for stand in stands]), None)
    pick_of = dict(zip(picks, at_pick, strict=True))
    places = [stand.place for stand in stands]
    found: dict[int, list[Posture]] = {task.number: [] for task in tasks}
    for releases in dict.fromkeys(len(task.placements) for task in tasks):
        choices = [
            (task, turns)
            for task in tasks
            if len(task.placements) == releases
            for turns in turns_of(task)
        ]
        picked = np.stack([pick_of[task.group.name, turns.pick] for task, turns in choices])
        poses = stations.places(
            [
                (placement, turns.pick, place)
                for task, turns in choices
                for placement, place in zip(task.placements, turns.place, strict=True)
            ]
        )
        answers = _at_stands(reach, poses, places)
        answers = answers.reshape(len(choices), releases, *answers.shape[1:])
        joints, margins = _turned(reach, picked, answers)
        for (task, turns), pick, own, margin in zip(choices, picked, joints, margins, strict=True):
            found[task.number].append(Posture(turns, pick, own, margin))
    return [found[task.number] for task in tasks]


def _turned(reach: Reach, pick: Array, answers: Array) -> tuple[Array, Array]:
    """Joints at the placements, each in the whole turns next to those before, and their room.

    Args:
        reach: What the arm reaches.
        pick: Joints at picks, shape (n, branches, dof).
        answers: Joints at the placements that follow, shape (n, releases, branches, dof).

    Returns:
        Joints of the shape of `answers`, and room as `Posture.margin`, shape (n, branches).
    """
    every = [pick]
    for release in range(answers.shape[1]):
        every.append(reach.within(answers[:, release], every[-1]))
    joints = np.stack(every, axis=1)
    margin = reach.margin(joints.reshape(-1, reach.arm.dof)).reshape(joints.shape[:3])
    return joints[:, 1:], np.where(np.isnan(margin), -np.inf, margin).min(axis=1)


def _at_stands(reach: Reach, poses: Array, places: Sequence[float | None]) -> Array:
    """Answers with the external axis at each place in turn, (n, places * branches, dof)."""
    solved = {place: reach.answers(poses, place) for place in dict.fromkeys(places)}
    return np.concatenate([solved[place] for place in places], axis=1)


def ranked_branches(arm_branches: int, postures: Sequence[Sequence[Posture]]) -> tuple[int, ...]:
    """The branches, the one that serves most tasks (then with most room) first."""
    if not postures:
        return tuple(range(arm_branches))
    margins = np.stack([choice.margin for choices in postures for choice in choices])
    counts = [len(choices) for choices in postures]
    best = np.maximum.reduceat(margins, np.cumsum([0, *counts])[:-1])
    served = np.count_nonzero(best > -np.inf, axis=0)
    room = np.where(best > -np.inf, best, np.inf).min(axis=0)
    room = np.round(np.where(np.isfinite(room), room, -1.0), 6)
    return tuple(int(b) for b in np.lexsort((np.arange(arm_branches), -room, -served)))


def ranked(
    choices: Sequence[Posture], branches: tuple[int, ...], wanted: float
) -> list[tuple[int, Turns]]:
    """Branches and turns in range, in the order of trial: branch, then joint room, then turns.

    Room counts up to what is asked for, and in steps.
    """
    rank = {branch: place for place, branch in enumerate(branches)}
    entries = [
        (rank[branch], -round(min(room, wanted) / _MARGIN_STEP), k)
        for k, choice in enumerate(choices)
        for branch, room in enumerate(choice.margin.tolist())
        if room > -math.inf
    ]
    return [(branches[place], choices[k].turns) for place, _, k in sorted(entries)]
