"""How a group may wait at the pick instead of as drawn: edges of its cartons, and its centre.

Cartons stand against the end stop, one behind the other: what each of them is longer than
drawn, and what stands between them, adds up from the stop on.

Errs: on the safe side. Amounts add up linearly or as root of squares, as the cell tells; a
carton that is turned otherwise than by quarters counts as the box around it.

Source: common practice, no source (tolerances as half-widths, added up as told).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..cell.model import Cell, Tolerances
from ..cell.shapes import bounds
from ..geometry.frames import Array, invert
from ..palletizing.group import Group
from .stations import world_from_picked

_SAME = 1e-4  # [m]: boxes that overlap by less than this stand beside each other


@dataclass(frozen=True, slots=True)
class Waiting:
    """One carton of a group that waits, in the infeed frame [m].

    Attributes:
        item: Which carton of the group.
        low, high: Its edges (x, y) as drawn; low x is the one nearer to the stop.
        ahead: How many cartons of the group stand between it and the stop.
        lead, trail: How far the edge nearer to the stop, and the other, may be off along x.
    """

    item: int
    low: tuple[float, float]
    high: tuple[float, float]
    ahead: int
    lead: float
    trail: float

    @property
    def length(self) -> float:
        """Along the travel."""
        return self.high[0] - self.low[0]

    def apart(self, other: "Waiting") -> float:
        """By how much the edges of the two differ at most [m]."""
        pairs = zip((*self.low, *self.high), (*other.low, *other.high), strict=True)
        return max(abs(a - b) for a, b in pairs)

    def beside(self, other: "Waiting") -> bool:
        """Whether the two stand side by side, each in a lane of its own."""
        return min(self.high[1], other.high[1]) - max(self.low[1], other.low[1]) < _SAME


@dataclass(frozen=True, slots=True)
class Wander:
    """How far a waiting group's centre may be off, each way [m, rad].

    Attributes:
        across_by: What lets it go across: "pick position", or "guides" where that is not stated.
    """

    along: float
    across: float
    skew: float
    across_by: str


Part = tuple[float, int]
"""A tolerance, and how many times it counts."""


def added(tolerances: Tolerances, parts: Sequence[Part]) -> float:
    """Tolerances added up as the cell tells [m]."""
    if tolerances.added == "sum":
        return sum(amount * count for amount, count in parts)
    return math.sqrt(sum(amount * amount * count for amount, count in parts))


def waiting(cell: Cell, group: Group) -> list[Waiting]:
    """The cartons of a group that waits, from the stop on."""
    at = infeed_from_group(cell, group)
    boxes = [_box(at, group, index) for index in range(len(group.items))]
    order = sorted(range(len(boxes)), key=lambda k: (boxes[k][0][0], boxes[k][0][1]))
    tolerances, found = cell.tolerances, list[Waiting]()
    for index in order:
        low, high = boxes[index]
        here = Waiting(index, low, high, 0, 0.0, 0.0)
        before = [w for w in found if not w.beside(here) and w.high[0] < low[0] + _SAME]
        ahead = max((w.ahead + 1 for w in before), default=0)
        lean = (high[1] - low[1]) / 2 * math.sin(tolerances.pick_skew)
        fixed = [(tolerances.pick_position, 1), (lean, 1), (tolerances.group_gap, ahead)]
        lead = added(tolerances, [*fixed, (tolerances.carton_size, ahead)])
        trail = added(tolerances, [*fixed, (tolerances.carton_size, ahead + 1)])
        found.append(Waiting(index, low, high, ahead, lead, trail))
    return found


def wander(cell: Cell, group: Group) -> Wander:
    """How far the group's centre may be off where it is picked.

    Its end at the stop stays, so that the centre moves by half of what the group grows.
    Across, it may go as far as the stated pick position; where none is stated, as far as
    the guides let a narrower carton go.
    """
    tolerances = cell.tolerances
    row = 1 + max(w.ahead for w in waiting(cell, group))
    grown = [(tolerances.carton_size / 2, row), (tolerances.group_gap / 2, row - 1)]
    along = added(tolerances, [(tolerances.pick_position, 1), *grown])
    play = None if tolerances.pick_position > 0.0 else guide_play(cell, group)
    if play is None:
        across, by = tolerances.pick_position, "pick position"
    else:
        across, by = added(tolerances, [(play, 1), (tolerances.carton_size / 2, 1)]), "guides"
    return Wander(along, across, tolerances.pick_skew, by)


def guide_play(cell: Cell, group: Group) -> float | None:
    """Room between the group and the farther guide [m]; None without guides on both sides."""
    infeed_from_world = invert(cell.infeed.world_from_infeed)
    boxes = [_box(infeed_from_group(cell, group), group, k) for k in range(len(group.items))]
    low, high = min(b[0][1] for b in boxes), max(b[1][1] for b in boxes)
    rooms: dict[bool, float] = {}
    for fixture in cell.infeed.fixtures:
        if fixture.kind == "guide":
            near, far = bounds(fixture.body, infeed_from_world)[:, 1]
            left = far < (low + high) / 2
            rooms[left] = float(low - far if left else near - high)
    return max(0.0, *rooms.values()) if len(rooms) == 2 else None


def infeed_from_group(cell: Cell, group: Group) -> Array:
    """Pose of a waiting group's frame in the infeed frame, shape (4, 4)."""
    return invert(cell.infeed.world_from_infeed) @ world_from_picked(cell, group)


Corner = tuple[float, float]


def _box(at: Array, group: Group, index: int) -> tuple[Corner, Corner]:
    """The box around a carton's outline, (x, y) of its lower and its upper corner."""
    pose = at @ group.group_from_item(index)
    reach = np.abs(pose[:2, :2]) @ (np.array(group.items[index].carton.size[:2]) / 2)
    low, high = pose[:2, 3] - reach, pose[:2, 3] + reach
    return (float(low[0]), float(low[1])), (float(high[0]), float(high[1]))
