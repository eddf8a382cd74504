"""Cycles cut into pieces: along their segments, and around their rounded corners."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..arm.travel import Travel
from ..cell.model import Cell
from ..geometry.frames import Array
from ..geometry.queries import Mask
from ..geometry.stage import Index, Pieces
from ..motion.assembly import FAR
from ..motion.cycle import Cycle, Segment
from ..motion.options import Task

_PIECE_BEND = 0.04  # [m]: joint moves are cut until the tool bends no more than this on a piece
_TOOL_REACH = 0.6  # [m]: assumed for that count only; it bears on speed, not on truth
_LOOKS = 64  # points of a joint move at which the distance from its corner is looked at


@dataclass(frozen=True, slots=True, eq=False)
class Planned:
    """A task with its cycle."""

    task: Task
    cycle: Cycle


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """Motion to be watched.

    Attributes:
        segments: For each stretch: index of the cycle, index of the segment, the segment.
        motion: Which motion each stretch is, shape (segments,): many cycles share their picks.
        pieces: Every different motion once.
        rows: Row of the segment at both ends of each piece, fractions included, (pieces, 2).
    """

    segments: tuple[tuple[int, int, Segment], ...]
    motion: Index
    pieces: Pieces
    rows: Array


def along(travel: Travel, planned: Sequence[Planned]) -> Stretches:
    """Every segment, in joint-linear pieces; joint moves finely enough to be told apart."""
    segments = [
        (p, s, segment)
        for p, plan in enumerate(planned)
        for s, segment in enumerate(plan.cycle.segments)
    ]
    distinct, motion = _distinct([segment for _, _, segment in segments])
    joints = np.concatenate([segment.joints for segment in distinct])
    to_go = np.concatenate([segment.to_go for segment in distinct])
    count = np.array([len(segment.joints) for segment in distinct])
    joined = np.array([segment.kind == "joint" for segment in distinct])
    row, share, start = _cut(travel, joints, count, joined)
    begin = np.repeat(np.cumsum(count) - count, np.diff(start))
    at = begin + np.minimum(row, np.repeat(count, np.diff(start)) - 2)
    beyond = share + (begin + row - at)  # from 0 to 1 between two rows
    q = joints[at] + beyond[:, None] * (joints[at + 1] - joints[at])
    height = np.where(beyond < 1.0, to_go[at] + beyond * (to_go[at + 1] - to_go[at]), to_go[at + 1])
    inner = np.ones(len(q), bool)
    inner[start[1:] - 1] = False  # a piece begins at all points of a segment but the last
    first = np.flatnonzero(inner)
    pieces = Pieces(
        start - np.arange(len(start)),
        q[first],
        q[first + 1],
        np.stack([height[first], height[first + 1]], axis=1),
    )
    rows = np.stack([(row + share)[first], (row + share)[first + 1]], axis=1)
    return Stretches(tuple(segments), motion, pieces, rows)


def _distinct(segments: Sequence[Segment]) -> tuple[list[Segment], Index]:
    """A segment for each different motion, and which of them each segment is."""
    numbers: dict[tuple[object, ...], int] = {}
    distinct: list[Segment] = []
    motion: list[int] = []
    for segment in segments:
        key = (segment.kind, segment.joints.tobytes(), segment.to_go.tobytes())
        if key not in numbers:
            numbers[key] = len(distinct)
            distinct.append(segment)
        motion.append(numbers[key])
    return distinct, np.array(motion, dtype=np.intp)


def _starts(parts: Sequence[Array]) -> Index:
    return np.concatenate([[0], np.cumsum([len(part) for part in parts])]).astype(np.intp)


def _cut(travel: Travel, joints: Array, count: Index, joined: Mask) -> tuple[Index, Array, Index]:
    """Where segments are cut: at every row, and joint moves between rows as well.

    Args:
        travel: What bends the tool's way.
        joints: Rows of all segments, one after another.
        count: How many rows each segment has.
        joined: Which segments are joint moves.

    Returns:
        For each point of a segment its row and the share of the way to the next, (n,) both;
        where the points of each segment begin, and how many there are in all.
    """
    last = np.cumsum(count) - 1
    between = np.ones(len(joints), bool)
    between[last] = False
    bend = travel.bend(np.diff(joints, axis=0, append=joints[-1:]), 0, travel.tip)
    size = bend.fixed + bend.spin**2 * _TOOL_REACH
    cuts = np.ceil(np.sqrt(size / _PIECE_BEND)).clip(1, 64).astype(np.intp)
    cuts[~(between & np.repeat(joined, count))] = 1
    ahead = np.cumsum(cuts) - cuts
    row = np.arange(len(joints)) - np.repeat(last + 1 - count, count)
    part = np.arange(int(cuts.sum())) - np.repeat(ahead, cuts)
    start = np.append(ahead[last + 1 - count], len(part))
    return np.repeat(row, cuts), part / np.repeat(cuts, cuts), start


@dataclass(frozen=True, slots=True, eq=False)
class _Leg:
    """One stretch between two corners: rows of joints, shape (n, dof), of one segment."""

    number: int
    segment: Segment
    first_row: int
    rows: Array

    def last_row(self) -> int:
        return self.first_row + len(self.rows) - 1


def around_corners(cell: Cell, planned: Sequence[Planned]) -> Stretches | None:
    """Every corner that may be rounded, as triangles of joints that hold all ways round it.

    A corner may be cut from anywhere within the blend radius of it, but no farther than half
    way along a leg. Rest (pick, placements, the start) is no corner.

    Errs: ways round a corner that leave the joints' straight connections are not covered; a
    controller that rounds in space keeps within the radius, but not exactly within these.
    """
    if not cell.motion.blend_radius:
        return None
    segments: list[tuple[int, int, Segment]] = []
    triangles: list[Array] = []
    rows: list[float] = []
    for p, plan in enumerate(planned):
        for before, after in pairwise(_legs(plan.cycle.segments)):
            if _stops(before, after):
                continue
            into = _near(cell, before.rows[::-1])[::-1]
            away = _near(cell, after.rows)
            leg, row = (
                (after, after.first_row)
                if after.segment.kind == "joint"
                else (before, before.last_row())
            )
            segments.append((p, leg.number, leg.segment))
            triangles.append(_fan(into, away))
            rows.append(float(row))
    if not triangles:
        return None
    corners = np.concatenate(triangles)
    counts = [len(part) for part in triangles]
    pieces = Pieces(
        _starts(triangles),
        corners[:, 0],
        corners[:, 1],
        np.full((len(corners), 2), FAR),
        corners[:, 2],
    )
    at = np.repeat(np.array([rows, rows]).T, counts, axis=0)
    return Stretches(tuple(segments), np.arange(len(segments)), pieces, at)


def _legs(segments: Sequence[Segment]) -> Iterator[_Leg]:
    """Straight lines whole, joint moves from point to point."""
    for number, segment in enumerate(segments):
        if segment.kind == "linear":
            yield _Leg(number, segment, 0, segment.joints)
        else:
            for row in range(len(segment.joints) - 1):
                yield _Leg(number, segment, row, segment.joints[row : row + 2])


def _stops(before: _Leg, after: _Leg) -> bool:
    """Whether the arm comes to rest between two legs."""
    if before.segment is after.segment:
        return False
    return min(float(before.segment.to_go[-1]), float(after.segment.to_go[0])) <= 0.0


def _near(cell: Cell, rows: Array) -> Array:
    """The rows of a leg that starts at a corner, up to where the TCP leaves the radius."""
    if len(rows) == 2:
        rows = rows[0] + np.linspace(0.0, 1.0, _LOOKS + 1)[:, None] * (rows[1] - rows[0])
    rows = rows[: len(rows) // 2 + 1]
    flange = cell.mounted.arm.chain.flange_poses(rows)
    tcp = (flange @ cell.tool.flange_from_tcp)[:, :3, 3]
    distance = np.sqrt(((tcp - tcp[0]) ** 2).sum(axis=1))
    outside = np.flatnonzero(distance >= cell.motion.blend_radius)
    return rows[: int(outside[0]) + 1 if len(outside) else len(rows)]


def _fan(into: Array, away: Array) -> Array:
    """Triangles that fill the corner between two ways that meet in it, shape (n, 3, dof)."""
    first = [np.stack([a, b, away[-1]]) for a, b in pairwise(into)]
    second = [np.stack([a, b, into[0]]) for a, b in pairwise(away)]
    return np.stack([*first, *second])
