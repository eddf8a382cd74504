"""Where one stands on the walk through a cell: which placement, which instant, what is known."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..cell.model import Cell
from ..checks.finding import Judged, Verdict
from ..checks.occasion import Occasion
from ..geometry.frames import Array
from ..motion.cycle import Cycle, Segment
from ..palletizing.group import Placement
from .choose import Problem, problem_of
from .instant import Moment, Scenery, moment_of, resting_joints, waiting
from .nearness import Near, Nearness
from .subjects import Scene, scene_of


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """An instant of a cycle."""

    cycle: Cycle
    segment: Segment
    moment: Moment


class Walk:
    """The placements of a cell in order, and a place among them.

    Args:
        cell: The cell.
        first: Id of the placement to start at; the first by default.

    Attributes:
        stops: All placements that are put down, pallet after pallet, in their order.
        index: Which of them one is at, from 0.
        instant: How far into its cycle [s].
    """

    def __init__(self, cell: Cell, first: str | None = None) -> None:
        self.cell = cell
        self.stops: tuple[Placement, ...] = tuple(
            placement for pallet in cell.pallets for placement in pallet.placements[pallet.done :]
        )
        ids = [placement.id for placement in self.stops]
        self.index = ids.index(first) if first is not None else 0
        self.instant = 0.0
        self._judged: dict[str, Judged] = {}
        self._scenery: dict[str, Scenery] = {}
        self._nearness = lru_cache(maxsize=16)(self._nearness_of)

    @property
    def placement(self) -> Placement:
        """The placement one is at."""
        return self.stops[self.index]

    @property
    def judged(self) -> Judged | None:
        """What is known of it; None while it is not judged yet."""
        return self._judged.get(self.placement.id)

    @property
    def cycle(self) -> Cycle | None:
        """Its cycle, if there is one."""
        return None if self.judged is None else self.judged.cycle

    @property
    def scenery(self) -> Scenery:
        """The bodies of its pallet's job."""
        name = self.placement.pallet
        if name not in self._scenery:
            pallet = next(p for p in self.cell.pallets if p.name == name)
            self._scenery[name] = Scenery(self.cell, pallet)
        return self._scenery[name]

    def learn(self, judged: Iterable[Judged]) -> bool:
        """Take in verdicts; says whether the placement one is at is among them."""
        before = self.judged
        for entry in judged:
            self._judged[entry.placement.id] = entry
        return self.judged is not before

    def verdict(self, placement: str) -> Verdict | None:
        """The verdict of a placement; None while it is not judged."""
        found = self._judged.get(placement)
        return None if found is None else found.verdict

    def count(self, verdict: Verdict) -> int:
        """How many of the judged placements have this verdict."""
        return sum(entry.verdict == verdict for entry in self._judged.values())

    @property
    def known(self) -> int:
        """How many placements are judged."""
        return len(self._judged)

    @property
    def problem(self) -> Problem | None:
        """The worst finding here, where one fails or is marginal."""
        return None if self.judged is None else problem_of(self.judged)

    def to(self, index: int) -> None:
        """Go to a placement, to the start of its cycle."""
        self.index = min(max(index, 0), len(self.stops) - 1)
        self.instant = 0.0

    def to_problem(self, forward: bool) -> bool:
        """Go to the next (or previous) known problem, at its worst instant; around the end.

        Returns:
            False where there is none.
        """
        count = len(self.stops)
        way = 1 if forward else -1
        for k in range(1, count + 1):
            index = (self.index + way * k) % count
            entry = self._judged.get(self.stops[index].id)
            found = None if entry is None else problem_of(entry)
            if found is not None:
                self.to(index)
                self.to_worst()
                return True
        return False

    def to_worst(self) -> None:
        """Go to the worst instant of the problem here, if it has one."""
        found = self.problem
        if found is not None and found.finding.at is not None:
            self.at(found.finding.at)

    def at(self, instant: float) -> None:
        """Go to an instant of the cycle [s]."""
        self.instant = float(np.clip(instant, 0.0, self.seconds))

    @property
    def seconds(self) -> float:
        """How long the cycle lasts [s]; 0 where there is none."""
        return 0.0 if self.cycle is None else self.cycle.seconds

    def pose(self) -> Pose | None:
        """The arm and all bodies at the instant; None without a cycle."""
        cycle = self.cycle
        if cycle is None:
            return None
        ends = [float(segment.times[-1]) for segment in cycle.segments]
        number = min(int(np.searchsorted(ends, self.instant, side="left")), len(ends) - 1)
        segment = cycle.segments[number]
        task = self.scenery.task(self.placement.id)
        return Pose(cycle, segment, moment_of(task, cycle, segment, self.instant))

    def resting(self) -> Moment:
        """The arm where it waits, the placement not yet down."""
        task = self.scenery.task(self.placement.id)
        known = tuple(self._judged.values())
        return waiting(task, task.first, resting_joints(self.cell, known, self.placement.pallet))

    def scene(self) -> Scene | None:
        """The picture of the problem here."""
        found = self.problem
        if found is None:
            return None
        others = tuple(self._judged.values())
        return scene_of(self.scenery, found.judged, found.finding, others)

    def near(self, pose: Pose, frames: Array) -> list[Near]:
        """What comes near what at an instant, at poses of the links, shape (links, 4, 4)."""
        segment = pose.segment
        to_go = float(np.interp(self.instant, segment.times, segment.to_go))
        number = pose.cycle.segments.index(segment)
        return self._nearness(self.placement.id, number).at(frames, to_go)

    def _nearness_of(self, placement: str, number: int) -> Nearness:
        judged = self._judged[placement]
        if judged.cycle is None:
            raise ValueError(f"{placement} has no motion")
        task = self.scenery.task(placement)
        segment = judged.cycle.segments[number]
        return Nearness(Occasion.of(self.cell, self.scenery.cast, task, judged.cycle, segment))
