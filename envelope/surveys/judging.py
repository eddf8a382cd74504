"""One variant of a cell judged: in full, or for its verdicts alone."""

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

from ..cell.errors import CellError
from ..cell.model import Cell
from ..cell.variants import CellFile
from ..checks.finding import Judged, failing
from ..checks.rate import check_rate, sustained_rate
from ..verify import check, verdicts
from .asked_clearance import asked_in_full

Depth = Literal["not a cell", "stopped", "verdicts", "values"]


@dataclass(frozen=True, slots=True)
class Request:
    """What is asked of one variant.

    Attributes:
        settings: What is set on top of the cell file.
        values: Whether clearances are measured, and what is marginal told.
        stop_after: Without values: stop as soon as more placements than this fail.
    """

    settings: tuple[str, ...]
    values: bool = False
    stop_after: int | None = None

    @property
    def name(self) -> str:
        """Its name in the survey file."""
        asked = "values" if self.values else f"verdicts, stop after {self.stop_after}"
        return "; ".join((asked, *self.settings))


@dataclass(frozen=True, slots=True)
class Judgement:
    """What came of it. Lengths in mm, angles in deg.

    Attributes:
        depth: How closely it was looked at; "stopped": not all placements were judged, because
            enough had failed.
        placements: How many the variant has.
        judged, failed, marginal: How many of them were judged, failed (or could not be
            checked), are marginal (None without values).
        room, room_unit: Least joint room of the motions that meet nothing; of others one of
            several is told, and which one depends on how closely they are looked at.
        clearance: Least clearance where one is asked for, or the deepest overlap where bodies
            may only touch; None without values.
        rate: Cartons a minute, sustained if the cell states its line, else while cycles follow
            one another; None unless all have a motion that meets nothing.
        trouble: The first placement that fails and why; or why it is not a cell.
        whole: Why the cell as a whole fails (its rate, say) though placements may pass; "" where
            it does not, where it was stopped, and where a motion meets something.
    """

    depth: Depth
    placements: int = 0
    judged: int = 0
    failed: int = 0
    marginal: int | None = None
    room: float | None = None
    room_unit: str = "deg"
    clearance: float | None = None
    rate: float | None = None
    trouble: str = ""
    whole: str = ""

    @property
    def failures(self) -> tuple[int, bool]:
        """How many placements fail, and whether the cell as a whole does: less is better."""
        return self.failed, bool(self.whole)


def judge_variant(file: CellFile, request: Request) -> Judgement:
    """Judge one variant; this runs in workers."""
    try:
        cell = file.cell(request.settings)
    except CellError as error:
        return Judgement("not a cell", trouble=_one_line(error))
    return judge_cell(cell, request)


def judge_cell(cell: Cell, request: Request) -> Judgement:
    """Judge a variant that is a cell."""
    if request.values:
        return summed(cell, check(cell).placements, values=True)
    judged: list[Judged] = []
    for some in verdicts(cell, stop_after=request.stop_after):
        judged += some
    return summed(cell, judged, values=False)


def to_json(judgement: Judgement) -> Any:
    """As plain data for the survey file."""
    return asdict(judgement)


def from_json(data: Any) -> Judgement:
    """Back from plain data. Raises TypeError."""
    return Judgement(**data)


def trouble_of(judged: Judged) -> str:
    """A placement that fails, and why, in words."""
    worst = [f for f in judged.findings if failing(f)]
    if not worst:
        return ""
    first = worst[0]
    between = f" ({first.between[0]} to {first.between[1]})" if first.between else ""
    return f"{judged.placement.id} {first.check}: {first.message}{between}"


def summed(cell: Cell, judged: Sequence[Judged], *, values: bool) -> Judgement:
    """What placements that were judged add up to."""
    placements = sum(len(pallet.placements) - pallet.done for pallet in cell.pallets)
    failed = [entry for entry in judged if failing(entry)]
    first = min(failed, key=lambda e: (e.placement.pallet, e.placement.order), default=None)
    room, unit = _room(cell, judged)
    if len(judged) < placements:
        depth: Depth = "stopped"
    else:
        depth = "values" if values else "verdicts"
    whole = depth != "stopped"
    moved = all(_unhindered(entry) for entry in judged)
    return Judgement(
        depth,
        placements,
        len(judged),
        len(failed),
        sum(entry.verdict == "marginal" for entry in judged) if values else None,
        room if whole else None,
        unit,
        _clearance(cell, judged) if values else None,
        _rate(cell, judged) if whole and moved else None,
        "" if first is None else trouble_of(first),
        _whole(cell, judged) if whole and moved else "",
    )


def _whole(cell: Cell, judged: Sequence[Judged]) -> str:
    """What fails of the cell as a whole, in words; all its placements are judged."""
    if cell.line is None:
        return ""
    pallets = [pallet.name for pallet in cell.pallets]
    ordered = sorted(judged, key=lambda e: (pallets.index(e.placement.pallet), e.placement.order))
    _, findings = check_rate(cell, ordered)
    failed = (f for f in findings if failing(f))
    return next((f"{f.check}: {f.message}" for f in failed), "")


def room_as_angle(judgement: Judgement, slide_worth: float) -> float:
    """Joint room that can be compared with that of others [deg]; -inf where there is none.

    Args:
        judgement: Of a variant.
        slide_worth: What 1 mm of a slide counts as [deg].
    """
    if judgement.room is None:
        return -math.inf
    return _as_angle(judgement.room, judgement.room_unit, slide_worth)


def _as_angle(room: float, unit: str, slide_worth: float) -> float:
    return room * (slide_worth if unit == "mm" else 1.0)


def _unhindered(judged: Judged) -> bool:
    """Whether the motion to a placement, if there is one, meets nothing that it must not."""
    met = (f for f in judged.findings if f.check in ("approach", "collision"))
    return not any(failing(finding) for finding in met)


def _room(cell: Cell, judged: Sequence[Judged]) -> tuple[float | None, str]:
    """Least joint room of the motions that meet nothing.

    Slides count as `Mounted.room_scale` compares them. The first finding on reach is about the
    motion that was taken; others may be about ways that there are not.
    """
    rooms = [
        next((finding for finding in entry.findings if finding.check == "reach"), None)
        for entry in judged
        if entry.cycle is not None and _unhindered(entry)
    ]
    worth = cell.mounted.slide_worth()
    found = [
        (_as_angle(f.value, f.unit, worth), f.value, f.unit)
        for f in rooms
        if f is not None and f.value is not None
    ]
    if not found:
        return None, "deg"
    _, value, unit = min(found)
    return round(value, 6), unit


def _clearance(cell: Cell, judged: Sequence[Judged]) -> float | None:
    """Least clearance where it is asked for in full; an overlap that fails counts as well."""
    findings = (f for entry in judged for f in asked_in_full(cell, entry.findings))
    found = [f.value for f in findings if f.value is not None]
    return round(min(found), 4) if found else None


def _rate(cell: Cell, judged: Sequence[Judged]) -> float | None:
    found = sustained_rate(cell, judged)
    return None if found is None else round(found, 4)


def _one_line(error: CellError) -> str:
    return error.problems[0].found if error.problems else str(error)
