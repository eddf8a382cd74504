"""What the cups can take: how far a carton may stand off before one of them leaves its edge.

Errs: on the safe side; a cup or pad counts as the square around it, skew turns the carton about the
group's centre, and each edge is taken at the worst of its tolerances.

Source: common practice, no source.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..cell.model import Cell
from ..geometry.frames import Array
from ..palletizing.group import Group
from .sealing import sealing
from .waiting import Waiting, Wander, added, infeed_from_group, waiting, wander

Side = Literal["downstream", "upstream", "left", "right"]
SIDES: tuple[Side, ...] = ("downstream", "upstream", "left", "right")
_NORMALS = np.array([[-1.0, 0.0], [1.0, 0.0], [0.0, -1.0], [0.0, 1.0]])


@dataclass(frozen=True, slots=True)
class Room:
    """Room of a carton's outermost cup towards one edge, as the carton waits.

    Attributes:
        number: Of the carton, from 1, counted from the stop.
        room: From the cup's rim to the edge as drawn [m].
        needed: How far that edge may come nearer [m].
    """

    number: int
    side: Side
    room: float
    needed: float

    @property
    def left(self) -> float:
        """Room left in the worst case; negative: a cup comes over the edge [m]."""
        return self.room - self.needed


def rooms(cell: Cell, group: Group, turn: float) -> list[Room]:
    """Of each side, the carton with the least room left; empty where no cup seals.

    Only for cartons that lie `square`.

    Sides are as seen along the travel: cartons come from upstream, left is at lower y.

    Args:
        cell: The cell.
        group: The group that waits.
        turn: Turn of the tool over it [rad].
    """
    off, tightest = wander(cell, group), dict[Side, Room]()
    for number, carton in enumerate(waiting(cell, group), start=1):
        cups = _sealing(cell, group, turn, carton.item)
        if cups is None:
            continue
        for side, normal in zip(SIDES, _NORMALS, strict=True):
            found = Room(number, side, *_edge(cell, group, carton, cups, normal, off))
            if side not in tightest or found.left < tightest[side].left:
                tightest[side] = found
    return list(tightest.values())


def square(cell: Cell, group: Group) -> bool:
    """Whether all cartons of a waiting group lie along or across the travel."""
    at = infeed_from_group(cell, group)
    turned = [(at @ group.group_from_item(k))[:2, :2] for k in range(len(group.items))]
    return all(float(np.abs(matrix).min()) < 1e-6 for matrix in turned)


def _sealing(cell: Cell, group: Group, turn: float, item: int) -> Array | None:
    """Middles and half extents of the cups that lie wholly on a carton, infeed frame, (n, 4)."""
    cups, _ = sealing(cell.tool, group, turn, item)
    if not len(cups.at):
        return None
    top = infeed_from_group(cell, group) @ group.group_from_item(item)
    axes = top[:2, :2]
    at = (cups.at[:, None, :] * axes).sum(axis=2) + top[:2, 3]
    half = (cups.half[:, None, :] * np.abs(axes)).sum(axis=2)
    return np.concatenate([at, half], axis=1)


def _edge(
    cell: Cell, group: Group, carton: Waiting, cups: Array, normal: Array, off: Wander
) -> tuple[float, float]:
    """Room of the cup nearest to an edge, and how far that edge may come nearer [m]."""
    along = abs(normal[0]) > 0.5
    axis = 0 if along else 1
    edge = (carton.low if normal[axis] < 0 else carton.high)[axis]
    room = float(np.min(normal[axis] * (edge - cups[:, axis]) - cups[:, 2 + axis]))
    if along:
        moved = carton.lead if normal[0] < 0 else carton.trail
    else:
        size = cell.tolerances.carton_size / 2
        moved = added(cell.tolerances, [(off.across, 1), (size, 1)])
    middle = infeed_from_group(cell, group)[:2, 3]
    lever = float(np.max(np.abs(cups[:, 1 - axis] - middle[1 - axis]) + cups[:, 3 - axis]))
    return room, moved + lever * math.sin(off.skew)
