"""Two results of one cell side by side: which placements lost margin, and by how much."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from textwrap import wrap

from ..cell.taught import Filled
from ..checks.finding import Finding, Result, worst
from .taught import Taught

_LEAST = {"mm": 0.1, "deg": 0.01}  # smaller losses are not told
_NAMED = 12  # placements that are named before the rest is left out
_SHOWN = {"mm": (1e3, 2), "deg": (57.29577951308232, 3)}
Key = tuple[str, str, str | None, str | None]


@dataclass(frozen=True, slots=True)
class Loss:
    """What one check lost at one placement.

    Attributes:
        amount: How much smaller the margin is; None where that has no number.
        left: The margin to the limit that is left; negative beyond it.
    """

    check: str
    unit: str
    amount: float | None
    left: float | None
    message: str


def as_text(taught: Taught, planned: Result, now: Result, width: int = 100) -> str:
    """What was filled in, and every placement that lost margin, before a blank line."""
    lines = [line for long in _lines(taught, planned, now) for line in _wrapped(long, width)]
    return "".join(line + "\n" for line in [*lines, ""])


def _wrapped(line: str, width: int) -> list[str]:
    printable = "".join(letter if letter.isprintable() else "?" for letter in line)
    inner = " " * (len(printable) - len(printable.lstrip()) + 2)
    return wrap(printable, width, subsequent_indent=inner, break_on_hyphens=False)


def _lines(taught: Taught, planned: Result, now: Result) -> Iterator[str]:
    changed = taught.changed
    yield (
        f"As taught: {len(taught.filled)} numbers are filled in, {len(changed)} of them differ "
        "from the plan."
    )
    for entry in changed:
        yield f"  {_change(entry, taught)}"
    for remark in taught.remarks:
        yield f"Note: {remark}"
    lost = list(_placements(planned, now))
    cell = losses(planned.findings, now.findings)
    if not changed:
        yield "Nothing differs from the plan, and so no placement lost margin."
    elif not lost:
        yield "No placement lost margin."
    else:
        yield (
            f"{len(lost)} of {len(now.placements)} placements lost margin (clearances are known "
            "to within 1 mm; what is less than 0.1 mm or 0.01 deg is not told):"
        )
        yield from lost
    other = list(_other_ways(planned, now))
    if other:
        yield (
            f"Another way than on the sheet is taken to {', '.join(other[:_NAMED])}"
            f"{' and more' if len(other) > _NAMED else ''}: print a new sheet of the cell as it is."
        )
    if changed and cell:
        yield "The cell as a whole lost margin:"
        yield from (f"  {_told(loss)}" for loss in cell)


def _change(entry: Filled, taught: Taught) -> str:
    scale, decimals = _SHOWN.get(entry.unit, (1.0, 3))
    was, is_ = entry.planned * scale, entry.taught * scale
    unused = "  (not used by the check)" if entry.key in taught.unused else ""
    return (
        f"{entry.key}: {was:.{decimals}f} -> {is_:.{decimals}f} {entry.unit} "
        f"({is_ - was:+.{decimals}f}){unused}"
    )


def _other_ways(planned: Result, now: Result) -> Iterator[str]:
    """Placements whose motion is of another branch, turn or route than before."""
    before = {judged.placement.id: judged.cycle for judged in planned.placements}
    for judged in now.placements:
        old, new = before[judged.placement.id], judged.cycle
        if old is None or new is None:
            continue
        ways = [(c.branch, c.pick_turn, c.place_turns, c.route) for c in (old, new)]
        if ways[0] != ways[1]:
            yield judged.placement.id


def _placements(planned: Result, now: Result) -> Iterator[str]:
    before = {judged.placement.id: judged for judged in planned.placements}
    for judged in now.placements:
        old = before[judged.placement.id]
        found = losses(old.findings, judged.findings)
        worse = worst([old.verdict, judged.verdict]) != old.verdict
        if not (found or worse):
            continue
        verdict = f"{old.verdict} -> {judged.verdict}" if worse else judged.verdict
        told = "; ".join(_told(loss) for loss in found)
        yield f"  {judged.placement.id}: {verdict}" + (f"; {told}" if told else "")


def _told(loss: Loss) -> str:
    said = loss.message.split("; taken:")[0]
    if loss.amount is None or loss.left is None:
        return f"{loss.check}: {said}"
    left = f"{loss.left:.2f} left" if loss.left >= 0.0 else f"{-loss.left:.2f} beyond the limit"
    return f"{loss.check} lost {loss.amount:.2f} {loss.unit}, {left}: {said}"


def losses(old: Sequence[Finding], new: Sequence[Finding]) -> list[Loss]:
    """For each check and unit, how much was lost and what is left where it is tightest."""
    before, after = _by_key(old), _by_key(new)
    found: dict[tuple[str, str], Loss] = {}
    for key, finding in after.items():
        loss = _loss(before.get(key), finding)
        if loss is not None:
            place = (finding.check, finding.unit)
            found[place] = _both(found[place], loss) if place in found else loss
    return list(found.values())


def _both(one: Loss, other: Loss) -> Loss:
    """The lesser margin with its words, and the larger loss; without a number comes first."""
    tightest = min((one, other), key=lambda loss: -math.inf if loss.left is None else loss.left)
    amounts = [loss.amount for loss in (one, other) if loss.amount is not None]
    return replace(tightest, amount=max(amounts, default=None))


def _by_key(findings: Sequence[Finding]) -> dict[Key, Finding]:
    """The finding with the least margin of each check, unit, segment and moving body.

    Under no segment and no body: the least of all, for a way that runs otherwise than before.
    """
    found: dict[Key, Finding] = {}
    for finding in findings:
        mover = finding.between[0] if finding.between else None
        for segment, body in ((finding.segment, mover), (None, None)):
            key = (finding.check, finding.unit, segment, body)
            if key not in found or _rank(finding) < _rank(found[key]):
                found[key] = finding
    return found


def _rank(finding: Finding) -> float:
    """The margin; of one without a number, less than any."""
    margin = _margin(finding)
    return -math.inf if margin is None else margin


def _loss(old: Finding | None, new: Finding) -> Loss | None:
    left = _margin(new)
    if old is None:  # nothing to compare with
        told = new.verdict != "pass"
        return Loss(new.check, new.unit, None, left, new.message) if told else None
    was = _margin(old)
    if was is None:
        return None
    if left is None:
        told = new.verdict != "pass"
        return Loss(new.check, new.unit, None, None, new.message) if told else None
    if was - left < _LEAST.get(new.unit, 1e-3):
        return None
    if old.upper is not None and new.upper is not None and new.upper >= old.upper:
        return None  # the bracket grew wider, the clearance did not shrink
    return Loss(new.check, new.unit, was - left, left, new.message)


def _margin(finding: Finding) -> float | None:
    """How far a finding stays inside its limit, negative beyond it; None without a number."""
    if finding.value is None or finding.limit is None:
        return None
    room = finding.value - finding.limit
    return room if _more_is_better(finding, finding.value >= finding.limit) else -room


def _more_is_better(finding: Finding, above: bool) -> bool:
    """Whether larger values are the better ones.

    Distances and room of joints are such whatever the verdict: tolerances may fail a clearance
    that is nominally kept. Elsewhere the verdict tells on which side of the limit it is good.
    """
    if finding.unit.startswith("%"):
        return finding.check == "stacking"  # share carried; else a share used of what is allowed
    if finding.check in ("approach", "collision", "reach"):
        return True
    if finding.check == "rate":
        return finding.unit == "cartons/min"  # else what a queue needs of the room it has
    return above == (finding.verdict in ("pass", "marginal"))
