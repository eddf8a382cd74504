"""The set-up sheet: what happens to the last cartons of a batch when they are too few."""

from collections.abc import Iterator, Sequence

from ..cell.model import Cell
from ..motion.detectors import Seen
from ..palletizing.group import Group
from ..palletizing.leftovers import whole_counts
from .sheet import Block

_LISTED = 24  # numbers that are listed before the rest is left out


def left_over(cell: Cell, groups: Sequence[Group], told: Seen) -> Block:
    """What a batch leaves over, and what becomes of it."""
    larger = [group for group in groups if len(group.items) > 1]
    if not larger:
        text = "Every group is one carton: no carton is left over when a batch ends."
        return Block("The last cartons of a batch", (text,))
    remarks = [remark for group in larger for remark in _waits(groups, group, told)]
    remarks += _counts(cell)
    return Block("The last cartons of a batch", tuple(remarks))


def _waits(groups: Sequence[Group], group: Group, told: Seen) -> Iterator[str]:
    """What happens where fewer cartons come than the group needs."""
    count = len(group.items)
    few = "one carton is" if count == 2 else f"1 to {count - 1} cartons are"
    yield (
        f"When {group.name} is due and only {few} left, it is not released: not all its detectors "
        "are on. The cartons wait at the stop, and the arm waits with them. Let the controller "
        "raise an alarm after a time, and never pick them with the tool set for "
        f"{group.name}: a field without a carton draws air."
    )
    smaller = [
        other.name
        for other in groups
        if len(other.items) < count and told.stands_within(other, group)
    ]
    if smaller:
        yield (
            f"They may go on as {' or '.join(smaller)} only at placements that the order has for "
            f"it, once it is due: no other way was checked. Until then they wait for the next "
            f"batch, or are taken off by hand (arm at a protected stop)."
        )
    else:
        yield (
            "No group of this cell takes them: they wait for the next batch, or are taken off by "
            "hand (arm at a protected stop)."
        )


def _counts(cell: Cell) -> Iterator[str]:
    for pallet in cell.pallets:
        counts = whole_counts(pallet.placements, pallet.done)
        if not counts:
            continue
        listed = ", ".join(str(count) for count in counts[:_LISTED])
        more = f" ... up to {counts[-1]}" if len(counts) > _LISTED else ""
        yield (
            f"Pallet {pallet.name} takes {counts[-1]} cartons: a batch of whole pallets leaves "
            f"none over. One that ends within a pallet leaves none over after {listed}{more} "
            "cartons on it."
        )
