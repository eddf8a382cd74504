"""Joint room along motions, and how near they pass to the first joint's axis: many at once."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..cell.model import Cell
from ..geometry.frames import Array
from ..motion.cycle import Segment
from .finding import Finding

NEAR_AXIS = 0.050  # [m]: a flange nearer to the first joint's axis than this swings wildly


@dataclass(frozen=True, slots=True)
class Reached:
    """What the motion to one placement takes of the joints' ranges.

    Attributes:
        room: The finding on the least joint room.
        axis: The finding where straight lines pass close by the first joint's axis.
    """

    room: Finding
    axis: Finding | None = None


def reached_of(
    cell: Cell, motions: Sequence[Sequence[Segment]], *, closely: bool = True
) -> list[Reached]:
    """What motions take of the joints' ranges, all in one batch.

    Args:
        cell: The cell.
        motions: Segments that belong together, of each motion at least one straight line.
        closely: Look for the first joint's axis as well, which never decides on a failure.
    """
    if not motions:
        return []
    rooms = _rooms(cell, motions)
    if not closely:
        return [Reached(room) for room in rooms]
    lines = [[segment for segment in each if segment.kind == "linear"] for each in motions]
    return [Reached(*both) for both in zip(rooms, _axes(cell, lines), strict=True)]


def _rooms(cell: Cell, motions: Sequence[Sequence[Segment]]) -> list[Finding]:
    """Least room of any joint to its usable range; joint moves are extreme at their rows."""
    arm, rows = cell.mounted.arm, _Rows(motions)
    usable = np.array(cell.mounted.usable)
    coupled = arm.limit_margin(rows.joints)[:, arm.dof :]
    own = np.minimum(rows.joints - usable[:, 0], usable[:, 1] - rows.joints)
    margins = np.concatenate([own, coupled], axis=1)
    wanted = np.concatenate(
        [cell.mounted.wanted_room(), np.full(coupled.shape[1], cell.mounted.joint_margin)]
    )
    scaled = _as_angles(cell, margins)
    findings: list[Finding] = []
    for row in rows.least(scaled.min(axis=1)):
        which = int(scaled[row].argmin())
        room = float(margins[row, which])
        name, turns = arm.limit_name(which)
        findings.append(
            Finding(
                "reach",
                "fail" if room < -1e-9 else "marginal" if room < wanted[which] else "pass",
                float(np.degrees(room)) if turns else room * 1e3,
                0.0,
                "deg" if turns else "mm",
                f"{name} has the least room to its usable range",
                segment=rows.segment(row).name,
                at=float(rows.times[row]),
            )
        )
    return findings


class _Rows:
    """The rows of the segments of some motions, one after another."""

    def __init__(self, motions: Sequence[Sequence[Segment]]) -> None:
        self._segments = [segment for each in motions for segment in each]
        counts = [len(segment.times) for segment in self._segments]
        self.joints = np.concatenate([segment.joints for segment in self._segments])
        self.times = np.concatenate([segment.times for segment in self._segments])
        self._of = np.repeat(np.arange(len(counts)), counts)
        ends = np.concatenate([[0], np.cumsum(counts)])
        self._ends = ends[np.cumsum([0, *(len(each) for each in motions)])].tolist()

    def least(self, values: Array) -> list[int]:
        """Number of the row with the least of some values, shape (rows,), for each motion."""
        return [a + int(values[a:b].argmin()) for a, b in pairwise(self._ends)]

    def segment(self, row: int) -> Segment:
        """The segment that a row belongs to."""
        return self._segments[int(self._of[row])]


def _as_angles(cell: Cell, margins: Array) -> Array:
    """Rooms that can be compared with one another: slides count as angles."""
    scale = cell.mounted.room_scale()
    scaled = margins.copy()
    scaled[:, : len(scale)] *= scale
    if cell.mounted.arm.axis is not None and cell.mounted.arm.axis.in_steps:
        scaled[:, 0] = np.where(margins[:, 0] < -1e-9, -np.inf, np.inf)
    return scaled


def _axes(cell: Cell, lines: Sequence[Sequence[Segment]]) -> list[Finding | None]:
    """Straight lines that pass close by the axis of the first joint: the closest of each motion."""
    chain = cell.mounted.arm.chain
    axis = chain.path(chain.flange_link)
    turning = [link for link in axis if not chain.links[link - 1].prismatic]
    if len(turning) < 2:
        return [None for _ in lines]  # a head that turns on the spot swings nothing
    rows = _Rows(lines)
    links = chain.frames_on_the_way(np.ascontiguousarray(rows.joints.T))
    flange = chain.flange_on(links[chain.flange_link]).position
    away = flange - links[turning[0]].position
    distance = np.hypot(away[0], away[1])
    findings: list[Finding | None] = []
    for row in rows.least(distance):
        near = distance[row] < NEAR_AXIS
        findings.append(_near_axis(rows, row, float(distance[row])) if near else None)
    return findings


def _near_axis(rows: _Rows, row: int, distance: float) -> Finding:
    return Finding(
        "reach",
        "marginal",
        distance * 1e3,
        NEAR_AXIS * 1e3,
        "mm",
        "the flange passes close by the first joint's axis",
        segment=rows.segment(row).name,
        at=float(rows.times[row]),
    )
