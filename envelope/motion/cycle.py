"""A cycle: pick one group, put it down in one or more releases, come back."""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from ..geometry.frames import Array

SegmentName = Literal[
    "approach pick", "lift off", "transfer", "approach place", "withdraw", "return"
]


@dataclass(frozen=True, slots=True, eq=False)
class Segment:
    """One stretch of motion, joint-linear between its rows.

    Attributes:
        joints: Shape (rows, dof) [rad or m], rounded as in the results file.
        times: Seconds from the start of the cycle at each row, shape (rows,).
        carried: Indices of the group's cartons that hang on the tool.
        release: How many releases of this cycle came before this segment.
        to_go: Height still to go to rest (or gained since) at each row, shape (rows,) [m].
        demand: On a straight line, the greatest share of a joint's speed that the speed asked
            for would need; above 1 the line is run slower.
        phases: How it is run, shape (n, 6), see `profile`: times on the clock of the cycle,
            places in rows. Empty where nothing moves.
    """

    name: SegmentName
    kind: Literal["joint", "linear"]
    joints: Array
    times: Array
    carried: tuple[int, ...]
    release: int
    to_go: Array
    demand: float = 0.0
    phases: Array = field(default_factory=lambda: np.zeros((0, 6)))


@dataclass(frozen=True, slots=True, eq=False)
class Cycle:
    """The motion that brings the placements of one picked group.

    Attributes:
        number: From 1, over the pallet.
        branch: Name of the arm's branch.
        pick_turn: Turn of the tool over the group [rad].
        place_turns: Half-turn taken by the group at each release [rad].
        route: In words, which route was taken, for the report.
    """

    number: int
    pallet: str
    branch: str
    pick_turn: float
    place_turns: tuple[float, ...]
    route: str
    segments: tuple[Segment, ...]

    @property
    def seconds(self) -> float:
        """Duration [s]."""
        return float(self.segments[-1].times[-1])
