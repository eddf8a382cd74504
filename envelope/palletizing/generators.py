"""Patterns by name: column, brick, pinwheel, and the best count for a carton on a deck.

Each lays one group, always the same, on the deck: whole, at right angles to it, centred.
All work on cells, the group's outline plus the gap to its neighbour, in whole micrometres,
so that 3 x 16 in fits 48 in and no rounding decides over a carton.
"""

import math
from collections.abc import Iterator
from typing import Literal

from .group import Group
from .labels import face_labels_out
from .packing import Block, Cell, most_blocks
from .pattern import Pattern, Spot, Vector

Orientation = Literal["lengthwise", "crosswise"]
MOST_GROUPS = 2000  # in a layer; beyond any pallet, and the loops below stay short
_UNIT = 1e-6  # [m]
_QUARTER = math.pi / 2


def column(
    group: Group,
    deck: Vector,
    gap: float = 0.0,
    orientation: Orientation | None = None,
    overhang: float = 0.0,
) -> Pattern:
    """Rows and columns, all groups the same way round.

    Args:
        group: What is laid; its outline is `group.extent()`.
        deck: Length and width of the deck [m].
        gap: Between neighbours [m].
        orientation: "lengthwise" has the group's x along the deck's length, "crosswise"
            across it; None takes whichever lays more (lengthwise when equal).
        overhang: How far the groups may hang over the deck on each side [m].

    Raises:
        ValueError: Not one fits, or over `MOST_GROUPS` do.
    """
    room, cell = _cells(group, deck, gap, overhang)
    ways = [
        _grid(_way(cell, way), room)
        for way in ("lengthwise", "crosswise")
        if orientation in (None, way)
    ]
    return _laid(group, deck, gap, cell, max(ways, key=len))


def brick(
    group: Group,
    deck: Vector,
    gap: float = 0.0,
    orientation: Orientation = "lengthwise",
    overhang: float = 0.0,
) -> Pattern:
    """A block of groups one way round beside a block of groups the other way round.

    The blocks lie along the deck's length, or across it, whichever lays more; turned by 180
    degrees from layer to layer the layers bind.

    Args:
        group: As in `column`.
        deck: Length and width [m].
        gap: Between neighbours [m].
        orientation: Of the first block, the one at the deck's origin.
        overhang: Allowed on each side [m].

    Raises:
        ValueError: The two blocks do not fit together, or over `MOST_GROUPS` groups do.
    """
    room, cell = _cells(group, deck, gap, overhang)
    first = _way(cell, orientation)
    found: list[list[Block]] = []
    for swap in (False, True):
        (p, q), (along, across) = (_flip(first, swap), _flip(room, swap))
        for n in range(1, along // p + 1):
            front = _grid((p, q), (n * p, across))
            back = _grid((q, p), (along - n * p, across))
            if front and back:
                both = front + [(x + n * p, y, a, b) for x, y, a, b in back]
                found.append([_flip_block(block, swap) for block in both])
    if not found:
        raise ValueError(f"two blocks, one turned, {_no_room(cell, room, gap)}")
    return _laid(group, deck, gap, cell, max(found, key=len))


def pinwheel(
    group: Group,
    deck: Vector,
    gap: float = 0.0,
    orientation: Orientation = "lengthwise",
    overhang: float = 0.0,
) -> Pattern:
    """Four blocks around a hole, each turned against the next; the same after half a turn.

    Of all that fit, the one with most groups, then the smallest hole.

    Args:
        group: As in `column`.
        deck: Length and width [m].
        gap: Between neighbours [m].
        orientation: Of the block at the deck's origin.
        overhang: Allowed on each side [m].

    Raises:
        ValueError: No four blocks fit, or over `MOST_GROUPS` groups do.
    """
    room, cell = _cells(group, deck, gap, overhang)
    p, q = _way(cell, orientation)
    best: tuple[tuple[int, int], tuple[int, int, int, int]] | None = None
    for n1, m1, n2, m2 in _wheels(p, q, room):
        hole = abs(n1 * p - n2 * q) * abs(m1 * q - m2 * p)
        score = (n1 * m1 + n2 * m2, -hole)
        if best is None or score > best[0]:
            best = (score, (n1, m1, n2, m2))
    if best is None:
        raise ValueError(f"four blocks around a hole, {_no_room(cell, room, gap)}")
    n1, m1, n2, m2 = best[1]
    a, b, c, d = n1 * p, m1 * q, n2 * q, m2 * p
    along, turned = _grid((p, q), (a, b)), _grid((q, p), (c, d))
    blocks = [
        *along,
        *((x + a, y, u, v) for x, y, u, v in turned),
        *((x + c, y + d, u, v) for x, y, u, v in along),
        *((x, y + b, u, v) for x, y, u, v in turned),
    ]
    return _laid(group, deck, gap, cell, blocks)


def best(group: Group, deck: Vector, gap: float = 0.0, overhang: float = 0.0) -> Pattern:
    """As many groups as the deck takes at right angles, and never fewer than by `column`.

    Args:
        group: As in `column`.
        deck: Length and width [m].
        gap: Between neighbours [m].
        overhang: Allowed on each side [m].

    Raises:
        ValueError: Not one fits, or over `MOST_GROUPS` do.
    """
    room, cell = _cells(group, deck, gap, overhang)
    return _laid(group, deck, gap, cell, most_blocks(room, cell).blocks)


def _wheels(p: int, q: int, room: Cell) -> Iterator[tuple[int, int, int, int]]:
    """Counts of the two kinds of block, along x and y each, that make a wheel that fits.

    The blocks a x b at the origin and c x d beside it fit around a hole when the one that is
    longer is also the one that is lower, for each of the two pairs facing each other.
    """
    for n1 in range(1, room[0] // p + 1):
        for m1 in range(1, room[1] // q + 1):
            for n2 in range(1, (room[0] - n1 * p) // q + 1):
                for m2 in range(1, (room[1] - m1 * q) // p + 1):
                    a, b, c, d = n1 * p, m1 * q, n2 * q, m2 * p
                    if (a <= c or b <= d) and (c <= a or d <= b):
                        yield n1, m1, n2, m2


def _grid(cell: Cell, room: Cell) -> list[Block]:
    """Rows and columns of cells from the origin."""
    p, q = cell
    return [(i * p, j * q, p, q) for i in range(room[0] // p) for j in range(room[1] // q)]


def _way(cell: Cell, orientation: Orientation) -> Cell:
    return _flip(cell, orientation == "crosswise")


def _flip(pair: Cell, swap: bool) -> Cell:
    return (pair[1], pair[0]) if swap else pair


def _flip_block(block: Block, swap: bool) -> Block:
    x, y, a, b = block
    return (y, x, b, a) if swap else block


def _cells(group: Group, deck: Vector, gap: float, overhang: float) -> tuple[Cell, Cell]:
    """Room and the group's cell in whole micrometres, the gap in both: length, width."""
    low, high = group.extent()
    room = tuple(round((side + 2 * overhang + gap) / _UNIT) for side in deck)
    cell = tuple(round(float(b - a + gap) / _UNIT) for a, b in zip(low[:2], high[:2], strict=True))
    if min(cell) <= 0 or room[0] * room[1] > MOST_GROUPS * cell[0] * cell[1]:
        raise ValueError(f"group {group.name!r} is so small that over {MOST_GROUPS} fill the deck")
    return (room[0], room[1]), (cell[0], cell[1])


def _no_room(cell: Cell, room: Cell, gap: float) -> str:
    """Says in millimetres what does not fit on what."""
    sides = [f"{(side * _UNIT - gap) * 1000:g}" for side in (*cell, *room)]
    return "{} x {} mm each, find no room on {} x {} mm".format(*sides)


def _laid(group: Group, deck: Vector, gap: float, cell: Cell, blocks: list[Block]) -> Pattern:
    """Cells as spots, the whole centred on the deck, labels turned out where that can be."""
    if not blocks:
        low, high = group.extent()
        size = (high - low) * 1000
        raise ValueError(
            f"group {group.name!r} ({size[0]:g} x {size[1]:g} mm) does not fit on a deck "
            f"of {deck[0] * 1000:g} x {deck[1] * 1000:g} mm"
        )
    low, high = group.extent()
    ahead, aside = (float(v) for v in (low + high)[:2] / 2)
    shift = [
        (deck[k] + gap - max(b[k] + b[k + 2] for b in blocks) * _UNIT) / 2 - gap / 2 for k in (0, 1)
    ]
    spots: list[Spot] = []
    for x, y, a, b in blocks:
        centre = (shift[0] + (x + a / 2) * _UNIT, shift[1] + (y + b / 2) * _UNIT)
        if (a, b) == cell:
            spots.append(Spot(group, centre[0] - ahead, centre[1] - aside, 0.0))
        else:
            spots.append(Spot(group, centre[0] + aside, centre[1] - ahead, _QUARTER))
    return face_labels_out(tuple(spots))
