"""Cycles put together: segments one after another, and the clock that runs along."""

from dataclasses import dataclass, replace

import numpy as np

from ..cell.model import Cell
from ..geometry.frames import Array
from .cycle import Segment, SegmentName
from .pace import pace_of
from .timing import joint_phases, line_demand, line_phases, row_times, shifted

FAR = 10.0  # [m]: height to go on segments that do not come to rest


@dataclass(frozen=True, slots=True, eq=False)
class LineTimes:
    """A straight line in time, from 0: see `Segment` and `timing`."""

    demand: float
    phases: Array
    times: Array


class Times:
    """Times of segments; every different straight line is worked out once, for cycles share them.

    Args:
        cell: The cell.
    """

    def __init__(self, cell: Cell) -> None:
        arm, motion = cell.mounted.arm, cell.motion
        self.pace = {loaded: pace_of(arm, motion, loaded=loaded) for loaded in (False, True)}
        self._lines: dict[tuple[object, ...], LineTimes] = {}

    def of_line(self, rows: Array, length: float, *, loaded: bool) -> LineTimes:
        """Times of the line through rows, shape (n, dof), of a length [m]."""
        key = (rows.tobytes(), length, loaded)
        if key not in self._lines:
            pace = self.pace[loaded]
            phases = line_phases(pace, rows, length)
            times = row_times(phases, "linear", len(rows))
            self._lines[key] = LineTimes(line_demand(pace, rows, length), phases, times)
        return self._lines[key]


class Assembly:
    """Collects the segments of a cycle and keeps the clock."""

    def __init__(self, times: Times) -> None:
        self._times = times
        self._clock = 0.0
        self.segments: list[Segment] = []

    @property
    def last(self) -> Array:
        """Joints where the last segment ends."""
        return self.segments[-1].joints[-1]

    def dwell(self, seconds: float) -> None:
        """Stand still."""
        self._clock += seconds

    def joint(self, name: SegmentName, rows: Array, carried: tuple[int, ...], release: int) -> None:
        """Add a joint-interpolated move over rows, shape (n, dof)."""
        phases = joint_phases(self._times.pace[bool(carried)], rows)
        to_go = np.full(len(rows), FAR)
        segment = Segment(name, "joint", rows, to_go, carried, release, to_go)
        self._add(segment, phases, row_times(phases, "joint", len(rows)))

    def line(
        self,
        name: SegmentName,
        rows: Array,
        heights: tuple[float, float],
        carried: tuple[int, ...],
        release: int,
        sideways: float = 0.0,
    ) -> None:
        """Add a straight line between two heights to go, slanted by a way sideways [m]."""
        length = float(np.hypot(heights[1] - heights[0], sideways))
        line = self._times.of_line(rows, length, loaded=bool(carried))
        to_go = np.linspace(*heights, len(rows))
        segment = Segment(name, "linear", rows, to_go, carried, release, to_go, line.demand)
        self._add(segment, line.phases, line.times)

    def _add(self, segment: Segment, phases: Array, times: Array) -> None:
        """A segment and its times, both from 0."""
        timed = replace(segment, times=self._clock + times, phases=shifted(phases, self._clock))
        self.segments.append(timed)
        self._clock = float(timed.times[-1])
