"""From layers to placements: heights, ids, turns in the order, and approaches."""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

from .group import Placement
from .labels import may_half_turn
from .order import approach_direction, ordered
from .pattern import Pattern, Vector


def build_stack(
    pallet: str,
    deck: Vector,
    layers: Sequence[Pattern],
    towards_arm: Vector,
    given_order: bool | Sequence[bool] = False,
) -> tuple[Placement, ...]:
    """The placements of a pallet, in the order in which they are put down.

    A layer stands on the tallest carton of the layer below. A group put down in parts gives a
    placement for each release, with the same cycle number, x, y, yaw being the group's frame.

    Args:
        pallet: Its name; ids are "pallet/layer/number in the layer".
        deck: Length and width of the deck [m].
        layers: From the deck up.
        towards_arm: Direction from the pallet to the arm's base in the pallet's frame.
        given_order: Take the order as it is, of all layers or layer by layer; else it is
            that of `order.ordered`.

    Raises:
        ValueError: The deck has no area, or there are not as many orders as layers.
    """
    if min(deck) <= 0.0:
        raise ValueError(f"a deck of {deck[0] * 1000:g} x {deck[1] * 1000:g} mm has no area")
    given = (given_order,) * len(layers) if isinstance(given_order, bool) else given_order
    placements: list[Placement] = []
    cycles, height = 0, 0.0
    for layer, (pattern, keep) in enumerate(zip(layers, given, strict=True), start=1):
        below = height
        turns = _turns(pattern if keep else ordered(pattern, towards_arm))
        for number, turn in enumerate(turns, start=1):
            z = below + turn.z
            placements.append(
                replace(
                    turn,
                    id=f"{pallet}/{layer}/{number}",
                    pallet=pallet,
                    layer=layer,
                    order=len(placements) + 1,
                    cycle=cycles + turn.cycle,
                    z=z,
                )
            )
            height = max(height, z)
        cycles += len(pattern)
    return tuple(placements)


@lru_cache(maxsize=128)
def _turns(pattern: Pattern) -> tuple[Placement, ...]:
    """A layer's releases in the order of its spots, as if it were the first on its pallet."""
    turns: list[Placement] = []
    for cycle, spot in enumerate(pattern, start=1):
        half_turn = may_half_turn(spot, pattern)
        for part in spot.parts():
            placement = Placement(
                id="",
                pallet="",
                layer=1,
                order=len(turns) + 1,
                cycle=cycle,
                group=spot.group,
                items=part.items,
                x=part.x,
                y=part.y,
                z=max(spot.group.items[k].carton.size[2] for k in part.items),
                yaw=part.yaw,
                half_turn=half_turn,
            )
            approach = part.approach
            if approach is None:
                approach = approach_direction(placement, turns)
            turns.append(replace(placement, approach=approach))
    return tuple(turns)
