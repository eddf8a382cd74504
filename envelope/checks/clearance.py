"""Findings from watched margins: shared by the approach and the collision check."""

from collections.abc import Iterable

import numpy as np

from ..geometry.frames import Array
from ..geometry.sweep import CAP, floor_under
from .allowances import Allowance, allowances, total
from .answers import Watched
from .case import Case
from .cast import name_carried
from .finding import Finding, Verdict

_MM = 1e3
_CARDINAL = (("+x", "-x"), ("+y", "-y"), ("up", "down"))


def tightest(case: Case, watched: Iterable[Watched], check: str) -> list[Finding]:
    """For each segment and moving body the tightest finding, and all that are no pass."""
    findings: list[Finding] = []
    groups: dict[tuple[int, int, int | None], list[Watched]] = {}
    arm = [actor.role == "arm" for actor in case.cast.actors]
    for entry in watched:
        itself = arm[entry.mover] and entry.other is not None and arm[entry.other]
        partner = entry.other if itself else None
        groups.setdefault((entry.segment, entry.mover, partner), []).append(entry)
    tolerant, ample = case.cell.tolerances.stated, case.cell.clearances.margin
    for entries in groups.values():
        entries.sort(key=_margin)
        for place, entry in enumerate(entries):
            if place and not tolerant and entry.margin[0] >= ample:
                break  # all that follow pass
            allowed = allowances(case, entry) if tolerant and not entry.rule.touching else ()
            worst = _worst_margin(case, entry, allowed)
            verdict = _verdict(case, entry, worst)
            if place == 0 or verdict != "pass":
                findings.append(_told(case, entry, check, verdict, allowed, worst))
    return findings


def _margin(entry: Watched) -> float:
    return entry.margin[0]


def _worst_margin(case: Case, entry: Watched, allowed: tuple[Allowance, ...]) -> float | None:
    """Clearance in the worst case [m], or None where no tolerance bears on it."""
    if not allowed:
        return None
    return entry.margin[0] + entry.limit - total(allowed, case.cell.tolerances)


def _told(
    case: Case,
    entry: Watched,
    check: str,
    verdict: Verdict,
    allowed: tuple[Allowance, ...],
    worst: float | None,
) -> Finding:
    """The finding for one watched margin."""
    name = case.cycle.segments[entry.segment].name if case.cycle else None
    mover = name_carried(case.cast, entry.mover, case.task.placements)
    if entry.other is None:
        return Finding(
            check,
            verdict,
            CAP * _MM,
            entry.rule.full * _MM,
            "mm",
            f"{mover}: more than {CAP * _MM:g} mm from everything ({entry.rule.pair})",
            segment=name,
            at=entry.at,
        )
    lower, upper = entry.margin
    value, above, words = _measured(entry, lower + entry.limit, upper + entry.limit)
    if worst is not None and value is not None:
        words += f"; worst case {worst * _MM:.1f} mm"
    if entry.corner:
        words += " where a corner is rounded"
    if entry.gain is not None and verdict != "pass":
        words += f"; {mover} gains room: {in_words(np.array(entry.gain))}"
    return Finding(
        check,
        verdict,
        value,
        entry.limit * _MM,
        "mm",
        f"{entry.rule.pair}: {words}",
        upper=above,
        between=(mover, case.cast.actors[entry.other].name),
        segment=name,
        at=entry.at,
        gain=entry.gain,
        worst_case=None if worst is None or value is None else worst * _MM,
        allowances=tuple((taken.tolerance, taken.amount * _MM) for taken in allowed),
    )


def _verdict(case: Case, entry: Watched, worst: float | None) -> Verdict:
    """Fail: nearer than asked, or touching in the worst case; that nearer than asked: marginal."""
    if entry.margin[0] < 0.0 or (worst is not None and worst < 0.0):
        return "fail"
    if worst is not None and worst < entry.limit:
        return "marginal"
    if not entry.rule.touching and entry.margin[0] < case.cell.clearances.margin:
        return "marginal"
    return "pass"


def _measured(entry: Watched, lower: float, upper: float) -> tuple[float | None, float | None, str]:
    """Value and upper end in mm, and words for them."""
    if entry.inside:
        return None, None, "inside the other's mesh"
    floor = floor_under(entry.rule.rest)
    if upper < floor:
        return floor * _MM, None, f"overlaps, deeper than {-floor * _MM:g} mm"
    if entry.depthless and upper < 0.0 and entry.margin[1] < 0.0:
        return None, None, "overlaps the other's mesh"
    if entry.margin[0] >= 0.0 and entry.rule.touching and lower <= -entry.rule.rest:
        words = "touches as intended"
    elif upper < 0.0:
        words = "overlaps"
    elif entry.margin[0] < 0.0:
        words = "nearer than asked"
    else:
        words = "clear"
    return lower * _MM, upper * _MM, words


def in_words(direction: Array) -> str:
    """A direction in the world in words: "+x", "-y and up"."""
    length = float(np.sqrt((direction * direction).sum()))
    parts = [
        names[0] if value > 0 else names[1]
        for names, value in zip(_CARDINAL, direction / max(length, 1e-12), strict=True)
        if abs(value) > 0.35
    ]
    return " and ".join(parts) or "no clear direction"
