"""Which placements of a cell were asked for."""

from collections.abc import Collection, Sequence

import click

from ..cell.errors import nearest
from ..cell.model import Cell
from ..palletizing.group import Placement


def select(
    cell: Cell, ids: Sequence[str], pallets: Sequence[str], layers: Sequence[int]
) -> Collection[str] | None:
    """Ids of the placements that match everything asked for; None where nothing was asked.

    Raises:
        click.UsageError: If a name is not in the cell, or nothing is left to be checked.
    """
    open_ones = _open(cell)
    if not open_ones:
        raise click.UsageError("nothing to check: every placement of the cell is already down")
    _known("placement", ids, [placement.id for placement in open_ones])
    _known("pallet", pallets, [pallet.name for pallet in cell.pallets])
    _known("layer", [str(n) for n in layers], _layers(open_ones))
    if not (ids or pallets or layers):
        return None
    chosen = [
        placement.id
        for placement in open_ones
        if (not ids or placement.id in ids)
        and (not pallets or placement.pallet in pallets)
        and (not layers or placement.layer in layers)
    ]
    if not chosen:
        raise click.UsageError("no placement is in all of the placements, pallets, layers named")
    return chosen


def ids_to_check(cell: Cell) -> list[str]:
    """Ids of all placements that are not there at the start."""
    return [placement.id for placement in _open(cell)]


def _open(cell: Cell) -> list[Placement]:
    return [placement for pallet in cell.pallets for placement in pallet.placements[pallet.done :]]


def _layers(placements: Sequence[Placement]) -> list[str]:
    return [str(layer) for layer in sorted({placement.layer for placement in placements})]


def _known(what: str, asked: Sequence[str], known: Sequence[str]) -> None:
    for name in asked:
        if name not in known:
            raise click.UsageError(f'no {what} "{name}" is to be checked: {nearest(name, known)}')
