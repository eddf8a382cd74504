"""Cycles put together: segments one after another, and the clock that runs along."""

from collections.abc import Sequence
from functools import lru_cache
from typing import Literal, NamedTuple

import numpy as np

from ..cell.model import Cell
from ..geometry.bodies import frozen
from ..geometry.frames import Array
from .cycle import Segment, SegmentName
from .pace import pace_of
from .profile import TIME
from .timing import Timed, timed_lines, timed_moves

FAR = 10.0  # [m]: height to go on segments that do not come to rest


class Piece(NamedTuple):
    """A segment that has no times yet; see `Segment`.

    Attributes:
        length: Of a straight line [m]; None for a joint move.
    """

    name: SegmentName
    joints: Array
    to_go: Array
    carried: tuple[int, ...]
    release: int
    length: float | None
    key: "_Key"

    @property
    def kind(self) -> Literal["joint", "linear"]:
        """As that of a segment."""
        return "joint" if self.length is None else "linear"


_Key = tuple[bytes, float | None, bool]  # rows, length and whether loaded: what times depend on


class Assembly:
    """Collects what a cycle is made of: moves, and seconds for which the arm stands still."""

    def __init__(self) -> None:
        self.pieces: list[Piece | float] = []

    def dwell(self, seconds: float) -> None:
        """Stand still."""
        self.pieces.append(seconds)

    def joint(self, name: SegmentName, rows: Array, carried: tuple[int, ...], release: int) -> None:
        """Add a joint-interpolated move over rows, shape (n, dof)."""
        to_go, key = _evenly(FAR, FAR, len(rows)), _key(rows, None, carried)
        self.pieces.append(Piece(name, rows, to_go, carried, release, None, key))

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
        rise = abs(heights[1] - heights[0])
        length = float(np.hypot(rise, sideways)) if sideways else rise
        to_go, key = _evenly(*heights, len(rows)), _key(rows, length, carried)
        self.pieces.append(Piece(name, rows, to_go, carried, release, length, key))


class Times:
    """Times of segments; what is run alike is worked out once, for cycles share their lines.

    Args:
        cell: The cell.
    """

    def __init__(self, cell: Cell) -> None:
        arm, motion = cell.mounted.arm, cell.motion
        self.pace = {loaded: pace_of(arm, motion, loaded=loaded) for loaded in (False, True)}
        self._timed: dict[_Key, Timed] = {}

    def segments(self, assemblies: Sequence[Assembly]) -> list[tuple[Segment, ...]]:
        """The segments of each cycle by the cycle's own clock, all timed in one go."""
        new: dict[_Key, Piece] = {}
        for assembly in assemblies:
            for piece in assembly.pieces:
                if isinstance(piece, Piece) and piece.key not in self._timed:
                    new[piece.key] = piece
        for loaded, pace in self.pace.items():
            lines: dict[_Key, tuple[Array, float]] = {}
            moves: dict[_Key, Array] = {}
            for key, piece in new.items():
                if key[2] is not loaded:
                    continue
                if piece.length is None:
                    moves[key] = piece.joints
                else:
                    lines[key] = (piece.joints, piece.length)
            self._timed |= zip(lines, timed_lines(pace, [*lines.values()]), strict=True)
            self._timed |= zip(moves, timed_moves(pace, [*moves.values()]), strict=True)
        return [tuple(self._by_the_clock(assembly)) for assembly in assemblies]

    def _by_the_clock(self, assembly: Assembly) -> list[Segment]:
        clock, segments = 0.0, list[Segment]()
        for piece in assembly.pieces:
            if not isinstance(piece, Piece):
                clock += piece
                continue
            timed = self._timed[piece.key]
            phases, times = timed.phases.copy(), clock + timed.times
            phases[:, TIME] += clock
            segments.append(
                Segment(
                    piece.name,
                    piece.kind,
                    piece.joints,
                    times,
                    piece.carried,
                    piece.release,
                    piece.to_go,
                    timed.demand,
                    phases,
                )
            )
            clock = float(times[-1])
        return segments


def _key(rows: Array, length: float | None, carried: tuple[int, ...]) -> _Key:
    return rows.tobytes(), length, bool(carried)


@lru_cache(maxsize=4096)
def _evenly(start: float, end: float, count: int) -> Array:
    """Evenly spaced from start to end, shape (count,)."""
    return frozen(np.linspace(start, end, count))
