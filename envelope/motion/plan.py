"""From tasks and options to cycles: waypoints, straight lines, joint moves, times."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Literal

import numpy as np

from ..cell.model import Cell, Pallet
from ..geometry.frames import Array, invert
from ..palletizing.group import Placement
from .assembly import Assembly, Times
from .crossings import Crossing, crossings
from .cycle import Cycle, Segment, SegmentName
from .heights import Heights
from .options import Choices, Option, Part, Task, Turns
from .path import Lines, straight
from .postures import AT_LIMIT, Posture, Reach, postures_of, ranked
from .stands import Stands
from .stations import Stations


@dataclass(frozen=True, slots=True)
class Unplanned:
    """Why an option has no motion.

    Attributes:
        segment: The segment that cannot be followed, and the part of the cycle that it is.
        room: Joint room where a joint leaves its range, negative [deg or mm].
        unit: Of the room.
    """

    segment: SegmentName
    part: Part
    message: str
    room: float | None = None
    unit: Literal["deg", "mm"] = "deg"


@dataclass(frozen=True, slots=True, eq=False)
class Ready:
    """Where cycles start and end: above the pick of a task's group.

    Attributes:
        joints: Joints at the pick in the chosen branch and turn, shape (dof,).
    """

    task: Task
    turn: float
    joints: Array


class Planner:
    """Plans the cycles of some tasks of one pallet.

    Args:
        cell: The cell.
        pallet: The pallet that is built.
        tasks: The tasks that will be asked for.
        stands: Where a lift or track may stand.
        postures: Those of each task, where they are known.
    """

    def __init__(
        self,
        cell: Cell,
        pallet: Pallet,
        tasks: Sequence[Task],
        stands: Stands | None = None,
        postures: Sequence[Sequence[Posture]] | None = None,
    ) -> None:
        self.cell, self.pallet, self.stands = cell, pallet, stands or Stands()
        self.arm = cell.mounted.arm
        self.reach = Reach(cell)
        self.stations = Stations(cell, pallet)
        self.up = cell.mounted.up
        if postures is None:
            postures = postures_of(self.reach, self.stations, tasks, self.stands.every)
        self.postures = {task.number: own for task, own in zip(tasks, postures, strict=True)}
        self.heights = Heights(cell, pallet, self.reach)
        self.times = Times(cell)
        self._lines: dict[tuple[object, ...], Array | None] = {}
        self._outside = set[tuple[object, ...]]()  # lines on which a joint leaves its range
        self._lifts: dict[tuple[object, ...], float] = {}
        self._sides: dict[tuple[float, float], Array] = {}
        self._waiting: dict[tuple[object, ...], tuple[Array, Array, Array]] = {}

    def choices(self, task: Task, branches: tuple[int, ...]) -> Choices:
        """The options of a task, in the order of trial.

        Args:
            task: The task.
            branches: The arm's own branches, best first.
        """
        postures = self.postures[task.number]
        every = self.stands.branches(task.number, branches)
        order = ranked(postures, every, self.cell.mounted.joint_margin)
        return Choices(task, order, slides=self.arm.chain.slides_across())

    def _posture(self, task: Task, option: Option) -> Posture:
        turns = Turns(option.pick_turn, option.place_turns)
        return next(p for p in self.postures[task.number] if p.turns == turns)

    # --- cycles ---------------------------------------------------------------------------

    def set_ready(self, ready: "Ready") -> None:
        """Set where cycles start and end: above the pick of a group, in one posture.

        With a lift or track there is one for each of its places; the others stay set.
        """
        stand = _place(self.reach.stand_at(ready.joints))
        # followed with the first lines of cycles: many in one go cost little more than one
        self._waiting["ready", stand] = self._up_line(ready.task, ready.turn, ready.joints, 0.0)

    def _ends(self, task: Task, above: Array) -> tuple[Array, Array]:
        """Joints where a task's cycle starts, and where it ends.

        It starts where the cycle before it ended. Both are above the pick, with a lift or
        track where it stands for that cycle.

        Args:
            task: The task.
            above: Joints above its own pick, for want of a ready posture.
        """
        rows = [
            self._lines.get(("ready", _place(stand.pick)))
            for stand in (self.stands.before(task.number), self.stands.of(task.number))
        ]
        end = above if rows[1] is None else rows[1][-1]
        return end if rows[0] is None else rows[0][-1], end

    def cycles(self, wanted: Sequence[tuple[Task, Option]]) -> list[Cycle | Unplanned]:
        """The cycle of each task with an option, or why there is none."""
        self.stations.places([place for asked in wanted for place in _placed(*asked)])
        keys = [self._keys(task, option) for task, option in wanted]
        self._make(wanted, keys)
        lines = [self._found(task, own) for (task, _), own in zip(wanted, keys, strict=True)]
        ways = [
            _Way(task, option, found, *self._ends(task, found[0][-1]))
            for (task, option), found in zip(wanted, lines, strict=True)
            if not isinstance(found, Unplanned)
        ]
        joined = iter(self._joined(ways))
        return [found if isinstance(found, Unplanned) else next(joined) for found in lines]

    def _make(
        self, wanted: Sequence[tuple[Task, Option]], keys: Sequence[list[tuple[object, ...]]]
    ) -> None:
        """Compute the lines of cycles that are not known yet."""
        from_rest, self._waiting = self._waiting, {}
        from_above: dict[tuple[object, ...], tuple[Array, Array, Array]] = {}
        missing = [
            (*asked, own)
            for asked, own in zip(wanted, keys, strict=True)
            if not all(key in self._lines for key in own)
        ]
        for task, option, own in missing:
            for key, line in zip(own, self._lines_of(task, option), strict=True):
                if key not in self._lines:
                    (from_above if key[0] == "down" else from_rest)[key] = line
        self._follow(from_rest)
        for key, (pose, shift, _) in from_above.items():
            before = self._lines[("in", *key[1:-1])]
            start = np.full(self.arm.dof, np.nan) if before is None else before[-1]
            from_above[key] = (pose, shift, start)
        self._follow(from_above)

    def _up_line(
        self, task: Task, turn: float, start: Array, extra: float
    ) -> tuple[Array, Array, Array]:
        """Straight up from the pick: pose, way, joints at the start."""
        pose = self.stations.pick(task.group, turn)
        return pose, self.up * (self.heights.lift(task) + extra), start

    def _higher(self, task: Task, option: Option) -> float:
        """How much further to lift than the least: towards the height of arrival."""
        if not option.route.level:
            return 0.0
        route = option.route.name
        key = (task.number, option.pick_turn, option.place_turns, option.branch, route)
        if key not in self._lifts:
            place = self.stations.place(task.placements[0], option.pick_turn, option.place_turns[0])
            start = self._posture(task, option).pick[option.branch]
            pick = self.stations.pick(task.group, option.pick_turn)
            self._lifts[key] = self.heights.higher(task, option, pick, place, start)
        return self._lifts[key]

    def _sideways(self, approach: tuple[float, float]) -> Array:
        """Horizontal shift at the start of an approach, in the base frame, shape (3,) [m]."""
        if approach not in self._sides:
            pallet = self.pallet.world_from_pallet[:3, :3]
            world = pallet @ np.array([*approach, 0.0]) * self.cell.motion.approach_slant
            self._sides[approach] = invert(self.cell.mounted.world_from_base)[:3, :3] @ world
        return self._sides[approach]

    def _keys(self, task: Task, option: Option) -> list[tuple[object, ...]]:
        """Names of the lines of a cycle: up from the pick, lift, then in, down, out per release."""
        group, turn, branch = task.group.name, option.pick_turn, option.branch
        keys: list[tuple[object, ...]] = [
            ("up", group, turn, branch, 0.0),
            ("up", group, turn, branch, self._higher(task, option)),
        ]
        for release, approach in enumerate(option.approach):
            place = (task.number, release, turn, option.place_turns[: release + 1], branch)
            keys.append(("in", *place, approach))
            keys.append(("down", *place, approach, self.heights.arrival(task, option, release)))
            keys.append(("out", *place, self.heights.departure(task, option, release)))
        return keys

    def _lines_of(self, task: Task, option: Option) -> list[tuple[Array, Array, Array]]:
        """The lines of a cycle in the order of `_keys`; "down" goes on where "in" ends."""
        posture, branch = self._posture(task, option), option.branch
        turn, start = option.pick_turn, posture.pick[branch]
        lines = [
            self._up_line(task, turn, start, 0.0),
            self._up_line(task, turn, start, self._higher(task, option)),
        ]
        for release, at in enumerate(_placed(task, option)):
            pose = self.stations.place(*at)
            q = posture.place[release, branch]
            low = self.up * self.cell.motion.approach_height
            beside = pose.copy()
            beside[:3, 3] += low + self._sideways(option.approach[release])
            lines.append((pose, beside[:3, 3] - pose[:3, 3], q))
            lines.append((beside, self.up * self.heights.arrival(task, option, release) - low, q))
            lines.append((pose, self.up * self.heights.departure(task, option, release), q))
        return lines

    def _follow(self, lines: dict[tuple[object, ...], tuple[Array, Array, Array]]) -> None:
        """Compute lines, from rest outwards, in one batch, and keep their rows."""
        if not lines:
            return
        poses, shifts, starts = (np.stack(part) for part in zip(*lines.values(), strict=True))
        known = np.isfinite(starts.sum(axis=1))
        rows = straight(
            self.arm,
            self.cell.tool.flange_from_tcp,
            Lines(poses[known], shifts[known], starts[known]),
        )
        found = iter(rows)
        self._lines |= {
            key: next(found) if good else None for key, good in zip(lines, known, strict=True)
        }
        there = {key: rows for key in lines if (rows := self._lines[key]) is not None}
        if there:
            starts = np.cumsum([0, *(len(rows) for rows in there.values())])[:-1]
            room = np.minimum.reduceat(self.reach.margin(np.concatenate([*there.values()])), starts)
            self._outside.update(
                key for key, own in zip(there, room, strict=True) if own < -AT_LIMIT
            )

    def _found(self, task: Task, keys: list[tuple[object, ...]]) -> list[Array] | Unplanned:
        """Rows of a cycle's lines, or what is wrong with the first that cannot be followed."""
        lines: list[Array] = []
        for part, key in zip(_parts_of(task), keys, strict=True):
            name = "approach place" if part == "arrive" else part
            rows = self._lines[key]
            if rows is None:
                return Unplanned(name, part, f"no straight {name} within reach")
            if key in self._outside:
                return self._out_of_range(rows, name, part)
            lines.append(rows)
        return lines

    def _out_of_range(self, rows: Array, name: SegmentName, part: Part) -> Unplanned:
        """Which joint leaves its range on a line, shape (rows, dof), and by how much."""
        which, room = self.reach.tightest(rows)
        joint, turns = self.arm.limit_name(which)
        unit = "deg" if turns else "mm"
        room = float(np.degrees(room)) if turns else room * 1e3
        amount = f"{-room:.1f}" if room <= -0.1 else "less than 0.1"
        message = f"{joint} leaves its usable range by {amount} {unit} on the {name}"
        return Unplanned(name, part, message, room, unit)

    def _joined(self, ways: Sequence["_Way"]) -> list[Cycle | Unplanned]:
        """Lines joined to cycles by moves across, and timed, all in one go."""
        asked = [move for way in ways for move in self._across(way)]
        moves = iter(crossings(self.cell, self.reach, asked))
        built = [
            self._assembled(way, list(islice(moves, len(way.task.placements) + 1))) for way in ways
        ]
        whole = [assembly for assembly in built if isinstance(assembly, Assembly)]
        segments = iter(self.times.segments(whole))
        return [
            assembly if isinstance(assembly, Unplanned) else self._cycle(way, next(segments))
            for way, assembly in zip(ways, built, strict=True)
        ]

    def _across(self, way: "_Way") -> Iterator[Crossing]:
        """The moves between the lines of a cycle: one to each release, and the way back."""
        option, last = way.option, way.lines[1][-1]
        for _, down, outward in way.by_release():
            yield Crossing(option.route, option.branch, last, down[-1])
            last = outward[-1]
        yield Crossing(option.back, option.branch, way.end, last)

    def _assembled(self, way: "_Way", across: list[Array | None]) -> Assembly | Unplanned:
        """A cycle put together of its lines and its moves across."""
        task, option, lines = way.task, way.option, way.lines
        every = tuple(range(len(task.group.items)))
        builder = Assembly()
        if (way.start != lines[0][-1]).any():
            builder.joint("approach pick", np.stack([way.start, lines[0][-1]]), (), 0)
        lift = self.heights.lift(task)
        builder.line("approach pick", lines[0][::-1], (lift, 0.0), (), 0)
        settle = self.cell.motion.settle_time
        builder.dwell(settle + self.cell.motion.grip_time)
        builder.line("lift off", lines[1], (0.0, lift + self._higher(task, option)), every, 0)
        held = every
        for release, (inward, down, outward) in enumerate(way.by_release()):
            move = across[release]
            if move is None:
                return Unplanned("transfer", "transfer", "a point on the way is out of reach")
            builder.joint("transfer", move, held, release)
            low = self.cell.motion.approach_height
            high = self.heights.arrival(task, option, release)
            if high > low:
                builder.line("approach place", down[::-1], (high, low), held, release)
            slant = float(np.hypot(*option.approach[release])) * self.cell.motion.approach_slant
            builder.line("approach place", inward[::-1], (low, 0.0), held, release, slant)
            builder.dwell(settle + self.cell.motion.release_time)
            held = tuple(item for item in held if item not in task.placements[release].items)
            rise = self.heights.departure(task, option, release)
            builder.line("withdraw", outward, (0.0, rise), held, release + 1)
        back = across[-1]
        if back is None:
            return Unplanned("return", "return", "a point on the way is out of reach")
        builder.joint("return", back[::-1], held, len(task.placements))
        return builder

    def _cycle(self, way: "_Way", segments: tuple[Segment, ...]) -> Cycle:
        option = way.option
        return Cycle(
            way.task.number,
            self.pallet.name,
            self.stands.branch_name(self.arm, option.branch),
            option.pick_turn,
            option.place_turns,
            _told(option),
            segments,
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Way:
    """An option whose straight lines can be followed.

    Attributes:
        lines: Their rows in the order of the keys.
        start: Joints where the cycle starts, shape (dof,).
        end: The same where it ends.
    """

    task: Task
    option: Option
    lines: list[Array]
    start: Array
    end: Array

    def by_release(self) -> Iterator[tuple[Array, Array, Array]]:
        """The lines of each release: in, down, out."""
        for first in range(2, len(self.lines), 3):
            yield self.lines[first], self.lines[first + 1], self.lines[first + 2]


def _place(stand: float | None) -> float | None:
    """A place of a lift or track as a key: to 0.1 um, for joints are rounded."""
    return None if stand is None else round(stand, 7)


def _placed(task: Task, option: Option) -> Iterator[tuple[Placement, float, float]]:
    """The placements of a task, with the turns of an option."""
    for placement, turn in zip(task.placements, option.place_turns, strict=True):
        yield placement, option.pick_turn, turn


def _parts_of(task: Task) -> Iterator[Part]:
    """The straight parts of a cycle, in the order of its lines."""
    yield "approach pick"
    yield "lift off"
    for _ in task.placements:
        yield "approach place"
        yield "arrive"
        yield "withdraw"


def _told(option: Option) -> str:
    """The route taken, in words."""
    if option.back.name == option.route.name:
        return option.route.name
    return f"{option.route.name}; back {option.back.name}"
