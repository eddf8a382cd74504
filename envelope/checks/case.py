"""What a check is given: one placement, with all that is known of its motion."""

from collections.abc import Sequence
from dataclasses import dataclass

from ..cell.model import Cell, Pallet
from ..motion.cycle import Cycle, Segment
from ..motion.options import Task
from ..palletizing.group import Placement
from .answers import Watched
from .cast import Cast
from .effort import Effort
from .finding import Finding
from .joint_room import Reached


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """One placement to be judged.

    Attributes:
        release: Which release of its task it is, from 0.
        cycle: Its motion; None when there is none.
        unreached: What is out of reach: why there is no motion, or none but a poor one.
        watched: What was watched on the segments that belong to this placement.
        stacked: What the stacking check found for it.
        effort: What the cycle asks of arm and tool.
        reached: What its motion takes of the joints' ranges.
        offset: What the offset check found for the group, picked as it is. Like effort and
            reached, worked out for many at once; anew where it is None.
    """

    cell: Cell
    pallet: Pallet
    cast: Cast
    task: Task
    release: int
    cycle: Cycle | None
    watched: tuple[Watched, ...]
    stacked: tuple[Finding, ...]
    unreached: Finding | None = None
    effort: Effort | None = None
    reached: Reached | None = None
    offset: tuple[Finding, ...] | None = None

    @property
    def placement(self) -> Placement:
        """The placement."""
        return self.task.placements[self.release]

    def segments(self) -> list[Segment]:
        """The segments that belong to this placement."""
        return [] if self.cycle is None else segments_of(self.task, self.release, self.cycle)


def segments_of(task: Task, release: int, cycle: Cycle) -> list[Segment]:
    """The segments of a cycle that belong to one of its releases, from 0."""
    last = len(task.placements) - 1
    return [segment for segment in cycle.segments if belongs_to(segment, last) == release]


def belongs_to(segment: Segment, last: int) -> int:
    """The release, from 0, that a segment of a cycle belongs to."""
    after = segment.name in ("withdraw", "return")
    return min(segment.release - 1 if after else segment.release, last)


def watched_by_release(
    watched: Sequence[Watched], cycle: Cycle, releases: int
) -> list[tuple[Watched, ...]]:
    """What was watched, sorted to the releases that it belongs to."""
    sorted_: list[list[Watched]] = [[] for _ in range(releases)]
    for entry in watched:
        sorted_[belongs_to(cycle.segments[entry.segment], releases - 1)].append(entry)
    return [tuple(entries) for entries in sorted_]
