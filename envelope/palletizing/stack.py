"""From layers to placements: heights, ids, turns in the order, and approaches."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from .group import Placement
from .labels import may_half_turn
from .order import approach_direction, ordered
from .pattern import Pattern, Release, Spot, Vector


@dataclass(slots=True)
class _Progress:
    """What has been stacked so far."""

    pallet: str
    placements: list[Placement] = field(default_factory=list[Placement])
    cycles: int = 0
    height: float = 0.0


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
    progress = _Progress(pallet)
    given = (given_order,) * len(layers) if isinstance(given_order, bool) else given_order
    for number, (pattern, keep) in enumerate(zip(layers, given, strict=True), start=1):
        _add_layer(progress, number, pattern if keep else ordered(pattern, towards_arm))
    return tuple(progress.placements)


def _add_layer(progress: _Progress, layer: int, pattern: Pattern) -> None:
    """Put down one layer, in the order of the pattern."""
    below, first = progress.height, len(progress.placements)
    for spot in pattern:
        progress.cycles += 1
        half_turn = may_half_turn(spot, pattern)
        for part in spot.parts():
            tallest = max(spot.group.items[i].carton.size[2] for i in part.items)
            bare = _placement(progress, layer, len(progress.placements) - first + 1, spot, part)
            placed = replace(
                bare,
                z=below + tallest,
                half_turn=half_turn,
                approach=part.approach
                if part.approach is not None
                else approach_direction(bare, progress.placements[first:]),
            )
            progress.placements.append(placed)
            progress.height = max(progress.height, placed.z)


def _placement(
    progress: _Progress, layer: int, number: int, spot: Spot, part: Release
) -> Placement:
    """A placement as far as spot and release tell."""
    return Placement(
        id=f"{progress.pallet}/{layer}/{number}",
        pallet=progress.pallet,
        layer=layer,
        order=len(progress.placements) + 1,
        cycle=progress.cycles,
        group=spot.group,
        items=part.items,
        x=part.x,
        y=part.y,
        z=0.0,
        yaw=part.yaw,
    )
