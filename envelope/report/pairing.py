"""How the layers of a cell are best taken in groups, as text."""

from collections.abc import Iterator, Sequence
from itertools import groupby
from textwrap import wrap

from ..surveys.pairing import LayerTaken, Pairing, Place, Refusal

_TOLD = 3  # places of one group refused by one check that are told in full


def pairing_text(pairing: Pairing, width: int = 100) -> str:
    """The layers, what was refused and why, and the answer as the last line."""
    lines = [pairing.cell_name, "", *_layers(pairing.layers), ""]
    for name, reason in pairing.lacking:
        lines += _hanging(f"{name}: not carried: {reason}", width)
    lines += _refused(pairing, width)
    lines += _unsaid(pairing)
    lines.append(pairing_line(pairing))
    return "".join(f"{line}\n" for line in lines)


def pairing_line(pairing: Pairing) -> str:
    """The answer in one line."""
    cartons = sum(layer.cartons for layer in pairing.layers)
    cycles = sum(layer.cycles for layer in pairing.layers)
    before = sum(layer.before for layer in pairing.layers)
    if pairing.stuck:
        return f"FAIL: some cartons fail in every way tried. {_told(pairing.stuck[0])}"
    if not pairing.passes:
        first = next((f for f in pairing.result.findings if f.verdict != "pass"), None)
        why = f" {first.check}: {first.message}" if first else ""
        return f"FAIL: {cartons} cartons in {cycles} cycles do not pass.{why}"
    marginal = pairing.result.count("marginal")
    are = "placement is" if marginal == 1 else "placements are"
    near = f"; {marginal} {are} marginal" if marginal else ""
    text = f"{cartons} cartons in {cycles} cycles, {before} before"
    best = "" if all(layer.proved for layer in pairing.layers) else " (not proved to be the fewest)"
    word = "PASS" if pairing.result.verdict == "pass" else "MARGINAL"
    return f"{word}: {text}{best}{near}."


def _layers(layers: Sequence[LayerTaken]) -> Iterator[str]:
    """A table; layers in a row that are taken alike share a line."""
    rows = [("pallet", "layers", "cartons", "cycles", "before", "groups")]
    for _, alike in groupby(layers, key=lambda t: (t.pallet, t.cartons, t.before, t.counts)):
        taken = list(alike)
        first, last = taken[0], taken[-1]
        which = f"{first.layer}" if first is last else f"{first.layer} to {last.layer}"
        groups = ", ".join(f"{number} {name}" for name, number in first.counts)
        counts = (str(first.cartons), str(first.cycles), str(first.before))
        rows.append((first.pallet, which, *counts, groups))
    yield from aligned(rows)


def aligned(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Rows as lines, their columns one under the other."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    for row in rows:
        cells = (text.ljust(size) for text, size in zip(row, widths, strict=True))
        yield "  ".join(cells).rstrip()


def _refused(pairing: Pairing, width: int) -> Iterator[str]:
    """What was refused, by group and check."""
    for what, refusals in (
        ("Refused", pairing.refused),
        ("Fails in every way tried", pairing.stuck),
    ):
        order = sorted(refusals, key=lambda r: (r.place.group, r.check))
        for (group, check), some in groupby(order, key=lambda r: (r.place.group, r.check)):
            listed = list(some)
            plural = "" if len(listed) == 1 else "s"
            yield f"{what}: {group}, by {check}, at {len(listed)} place{plural}"
            for refusal in listed[:_TOLD]:
                yield from _hanging(f"  {_where(refusal.place)}: {refusal.message}", width)
            if len(listed) > _TOLD:
                yield f"  and {len(listed) - _TOLD} more"
        if refusals:
            yield ""


def _unsaid(pairing: Pairing) -> Iterator[str]:
    if not pairing.refused and not pairing.stuck:
        yield "No group was refused."
        yield ""


def _told(refusal: Refusal) -> str:
    place = refusal.place
    return f"{place.group} {_where(place)}, {refusal.check}: {refusal.message}"


def _where(place: Place) -> str:
    turn = f", turned {place.yaw:g}" if place.yaw else ""
    parts = f", in {place.parts} parts" if place.parts > 1 else ""
    return f"{place.pallet}/{place.layer} at x {place.x:g}, y {place.y:g}{turn}{parts}"


def _hanging(line: str, width: int) -> list[str]:
    return wrap(line, width, subsequent_indent="      ", break_on_hyphens=False)
