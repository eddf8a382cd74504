"""What is left over when a batch ends within a pallet: cartons that no cycle can take."""

from collections.abc import Sequence

from .group import Placement


def whole_counts(placements: Sequence[Placement], done: int = 0) -> list[int]:
    """Numbers of cartons on the pallet at which a batch may end with none left over.

    Each cycle takes a group as a whole; a batch that ends between two of these numbers leaves
    cartons at the stop that are too few for the group that is due.

    Args:
        placements: Of one pallet, in order.
        done: How many of them are down at the start.
    """
    counts, total = list[int](), sum(len(p.items) for p in placements[:done])
    last: int | None = None
    for placement in placements[done:]:
        if placement.cycle == last and counts:
            counts[-1] += len(placement.items)
        else:
            counts.append(total + len(placement.items))
        total, last = counts[-1], placement.cycle
    return counts
