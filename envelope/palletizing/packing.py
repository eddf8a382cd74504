"""The most rectangles of one size, at right angles, in a rectangle.

First blocks within blocks: cut straight through, over and over, once into five around a hole,
by dynamic programming over the only lengths that matter. Where that stays below the upper
bound, a search by integer programming for one more, until it is proved that there is none.

Sources: P. Barnes, "Packing the maximum number of m x n tiles in a large p x q rectangle",
Discrete Mathematics 26 (1979), the bound; J. Terno, G. Scheithauer, "The G4-heuristic for the
pallet loading problem", JORS 47 (1996), raster points; R. Morabito, S. Morales, "A simple and
effective recursive procedure for the manufacturer's pallet loading problem", JORS 49 (1998),
five blocks. All from memory; the counts are tested against published optima.
"""

from dataclasses import dataclass
from functools import lru_cache

from .five_blocks import in_rows, pack_five_blocks
from .lengths import count_bound, normal_lengths, raster_lengths
from .one_more import pack_more

Cell = tuple[int, int]
Block = tuple[int, int, int, int]  # x, y of the lower corner, extent along x, along y

MOST_STATES = 40_000  # rooms of normal lengths beyond which cutting would take seconds
MOST_POINTS = 1500  # raster points beyond which the search would take minutes
MOST_NODES = 500  # of the search tree; none of the published instances needs more


@dataclass(frozen=True, slots=True)
class Packing:
    """Blocks, and the least number that is proved to be out of reach, less one."""

    blocks: list[Block]
    bound: int

    @property
    def proved(self) -> bool:
        """Whether no packing has more."""
        return len(self.blocks) >= self.bound


def most_blocks(room: Cell, cell: Cell) -> Packing:
    """The most cells in a room, all numbers whole; cells may be turned by 90 degrees.

    The answer does not depend on the machine: the search ends by a count of steps, not by
    time. For cartons of usual sizes it is proved to be the most.
    """
    found, bound = _most_blocks(room, cell)
    return Packing(list(found), bound)


@lru_cache(maxsize=256)
def _most_blocks(room: Cell, cell: Cell) -> tuple[tuple[Block, ...], int]:
    states = len(normal_lengths(room[0], cell)) * len(normal_lengths(room[1], cell))
    found = pack_five_blocks(room, cell) if states <= MOST_STATES else in_rows(room, cell)
    bound = count_bound(room, cell)
    points = len(raster_lengths(room[0], cell)) * len(raster_lengths(room[1], cell))
    while len(found) < bound and points <= MOST_POINTS:
        better, final = pack_more(room, cell, bound, MOST_NODES)
        if better is not None:
            found = better
        elif final:
            bound -= 1
        else:
            break
    return tuple(found), bound
