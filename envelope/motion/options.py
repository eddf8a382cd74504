"""What may be varied to bring a group to its placement, and in which order it is tried."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product, tee
from typing import Literal

import numpy as np

from ..cell.model import Pallet
from ..palletizing.group import Group, Placement
from .cycle import Segment, SegmentName

HALF_TURN = float(np.pi)


@dataclass(frozen=True, slots=True)
class Route:
    """How the group is carried across.

    Attributes:
        name: In words, for the report.
        raised: Extra height at both ends of the crossing [m].
        over: Arrive above all that stands on the pallet, rather than beside it.
        level: Lift as high as the arrival before crossing.
        via: Points on the way: none, over the middle, drawn in towards the arm, or level from
            straight above one end to straight above the other.
    """

    name: str
    raised: float = 0.0
    over: bool = True
    level: bool = True
    via: Literal["none", "over", "drawn in", "level"] = "none"


ROUTES = (
    Route("direct"),
    Route("direct, 100 mm higher", raised=0.1),
    Route("direct from a low lift", level=False),
    Route("over the middle", via="over"),
    Route("drawn in towards the arm", via="drawn in"),
    Route("arriving low", over=False),
    Route("arriving low, drawn in towards the arm", over=False, via="drawn in"),
    Route("arriving low, over the middle", over=False, via="over"),
    Route("arriving low from a low lift", over=False, level=False),
    Route("direct, 250 mm higher", raised=0.25),
    Route("over the middle, 200 mm higher", raised=0.2, via="over"),
)
RETURNS = (
    Route("direct"),
    Route("over the middle", via="over"),
    Route("drawn in towards the arm", via="drawn in"),
    Route("over the middle, 200 mm higher", raised=0.2, via="over"),
)
# Slides go straight where turning joints swing: what lies between is crossed high, or not at all.
ROUTES_OF_SLIDES = (
    Route("direct"),
    Route("level across", via="level"),
    Route("direct, 100 mm higher", raised=0.1),
    Route("level across, 100 mm higher", raised=0.1, via="level"),
    Route("arriving low, level across", over=False, via="level"),
    Route("arriving low", over=False),
    Route("level across, 250 mm higher", raised=0.25, via="level"),
    Route("level across, 500 mm higher", raised=0.5, via="level"),
)
RETURNS_OF_SLIDES = (
    Route("direct"),
    Route("level across", via="level"),
    Route("level across, 200 mm higher", raised=0.2, via="level"),
    Route("level across, 500 mm higher", raised=0.5, via="level"),
)
Part = SegmentName | Literal["arrive"]
"""A segment by name; "arrive" is the straight way down to where the approach starts."""

COMPASS = tuple(
    (round(float(np.cos(a)), 12), round(float(np.sin(a)), 12))
    for a in np.radians(np.arange(0.0, 360.0, 45.0))
)


@dataclass(frozen=True, slots=True)
class Task:
    """One cycle to be planned: the placements that it brings, in the order of release.

    Attributes:
        first: Index of the first of them in the pallet's order.
    """

    number: int
    placements: tuple[Placement, ...]
    first: int

    @property
    def group(self) -> Group:
        """The group picked."""
        return self.placements[0].group


@dataclass(frozen=True, slots=True)
class Option:
    """One way to do a task.

    Attributes:
        branch: Index of the arm's branch.
        pick_turn: Turn of the tool over the group at the pick [rad].
        place_turns: Half-turn taken by the group at each release [rad].
        approach: Directions from which the group comes in at each release.
        route: How the group is carried across.
        back: How the empty tool comes back; `raised` is how much further it is withdrawn.
    """

    branch: int
    pick_turn: float
    place_turns: tuple[float, ...]
    approach: tuple[tuple[float, float], ...]
    route: Route
    back: Route


def tasks_of(pallet: Pallet) -> tuple[Task, ...]:
    """The cycles still to be made on a pallet, in order."""
    tasks: dict[int, list[Placement]] = {}
    first: dict[int, int] = {}
    for index, placement in enumerate(pallet.placements):
        if index >= pallet.done:
            tasks.setdefault(placement.cycle, []).append(placement)
            first.setdefault(placement.cycle, index)
    return tuple(Task(n, tuple(found), first[n]) for n, found in tasks.items())


@dataclass(frozen=True, slots=True)
class Turns:
    """How the tool is turned over the group, and the group at each release [rad]."""

    pick: float
    place: tuple[float, ...]


def turns_of(task: Task) -> list[Turns]:
    """All turns of a task, the plainest first."""
    place = [(0.0, HALF_TURN) if placement.half_turn else (0.0,) for placement in task.placements]
    return [Turns(pick, turns) for pick in task.group.turns for turns in product(*place)]


def approaches_of(task: Task) -> list[tuple[tuple[float, float], ...]]:
    """Approach directions that are tried, the placement's own first, then around the compass."""
    own = tuple(placement.approach or (0.0, 0.0) for placement in task.placements)
    others = [(0.0, 0.0), *COMPASS]
    varied = [
        (*own[:k], other, *own[k + 1 :])
        for k in range(len(own))
        for other in others
        if other != own[k]
    ]
    return [own, *varied]


class Choices:
    """The options of one task, one after the other; what failed rules out its like.

    Args:
        task: The task.
        postures: Branches and turns in range, in the order of trial.
        slides: Whether slides alone carry the group across.
    """

    def __init__(
        self, task: Task, postures: Sequence[tuple[int, Turns]], *, slides: bool = False
    ) -> None:
        routes = ROUTES_OF_SLIDES if slides else ROUTES
        returns = RETURNS_OF_SLIDES if slides else RETURNS
        self._left: Iterator[Option] = (
            Option(branch, turns.pick, turns.place, approach, route, back)
            for branch, turns in postures
            for approach in approaches_of(task)
            for route in routes
            for back in returns
        )
        self._failed: set[tuple[object, ...]] = set()

    def next(self) -> Option | None:
        """The next option that shares no part with what failed; None when there is none."""
        for option in self._left:
            if not self._failed or self._failed.isdisjoint(_parts(option).values()):
                return option
        return None

    def rule_out(self, option: Option, part: Part) -> None:
        """Note that a part of an option failed."""
        self._failed.add(_parts(option)[part])

    def ahead(self, option: Option, part: Part, count: int) -> list[Option]:
        """The options that come next if this part fails of an option, and then of each of them."""
        self._left, left = tee(self._left)
        supposed = self._failed | {_parts(option)[part]}
        found: list[Option] = []
        for another in left:
            if len(found) == count:
                break
            parts = _parts(another)
            if supposed.isdisjoint(parts.values()):
                found.append(another)
                supposed.add(parts[part])
        return found


def part_of(segment: Segment) -> Part:
    """The part of a cycle that a segment is."""
    if segment.name == "approach pick" and segment.kind == "joint":
        return "transfer"
    if segment.name == "approach place" and segment.to_go[-1] > 0.0:
        return "arrive"
    return segment.name


def _parts(option: Option) -> dict[Part, tuple[object, ...]]:
    """For each part of a cycle, what of an option decides on it."""
    pick = (option.branch, option.pick_turn)
    place = (*pick, option.place_turns)
    return {
        "approach pick": ("pick", *pick),
        "lift off": ("lift", *pick, option.route),
        "transfer": ("across", *place, option.route),
        "return": ("back", *place, option.back),
        "arrive": ("down", *place, option.approach, option.route.over, option.route.raised),
        "approach place": ("in", *place, option.approach),
        "withdraw": ("out", *place, option.back.raised),
    }
