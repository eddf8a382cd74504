"""What cycles ask of arm and tool: worked out for many at once, judged one placement at a time."""

from collections.abc import Sequence
from dataclasses import dataclass

from ..cell.model import Cell
from ..motion.cycle import Cycle
from ..palletizing.group import Group
from .hanging import hangings
from .hold_use import HoldUse, hold_uses
from .load_use import LoadUse, load_uses


@dataclass(frozen=True, slots=True, eq=False)
class Effort:
    """What one cycle asks of the arm's rating and of the grip; hold: None where none is told."""

    load: LoadUse
    hold: HoldUse | None


def efforts_of(cell: Cell, cycles: Sequence[tuple[Group, Cycle]]) -> list[Effort]:
    """The effort of each cycle, given with the group that it carries."""
    states = hangings(cell, cycles)
    loads, holds = load_uses(cell, cycles, states), hold_uses(cell, cycles, states)
    return [Effort(load, hold) for load, hold in zip(loads, holds, strict=True)]
