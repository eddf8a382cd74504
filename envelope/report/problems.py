"""Placements that are not a clear pass, gathered by what is wrong with them.

The same trouble often meets a whole layer. Gathered under one heading it is read
once, while every placement keeps its line with its own numbers.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from textwrap import wrap

import numpy as np

from ..checks.clearance import in_words
from ..checks.finding import Finding, Judged, Result
from ..geometry.sweep import CAP, FLOOR
from .deciding import RANK, deciding, room, worst_first
from .numbers import limit_of, measured, written

_DECIMALS = 2
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
_CAP, _FLOOR = CAP * 1000.0, FLOOR * 1000.0  # [mm]: distances are not followed beyond these


@dataclass(frozen=True, slots=True)
class Alike:
    """Placements that the same check stops in the same way, the worst first."""

    members: tuple[tuple[Judged, Finding], ...]

    @property
    def worst(self) -> tuple[Judged, Finding]:
        """The placement with the least room, and the finding that says so."""
        return self.members[0]


def problem_lines(result: Result, width: int) -> Iterator[str]:
    """Text lines, no wider than width: a heading for each kind of problem, then placements."""
    for alike in gathered(result):
        judged, finding = alike.worst
        number = len(alike.members)
        count = "" if number == 1 else f", {number} placements"
        yield f"{judged.verdict}: {finding.check}{count}"
        for member, (judged, finding) in enumerate(alike.members):
            text = facts(finding)
            if finding.value is None and finding.between is None:
                text = ": ".join(filter(None, (text, finding.message)))
            elif member == 0:
                text = f"{text}. {finding.message}"
            elif finding.gain is not None:
                text += f"; more room: {in_words(np.array(finding.gain))}"
            also = _others(judged, finding)
            yield from _hanging(judged.placement.id, text + also, width)
        yield ""


def facts(finding: Finding) -> str:
    """Where, when, how much against which limit, and between which bodies."""
    parts = [_instant(finding), against_limit(finding)]
    if finding.between is not None:
        parts.append(f"{finding.between[0]} and {finding.between[1]}")
    return ", ".join(filter(None, parts))


def against_limit(finding: Finding) -> str:
    """The measured value, as a bracket where it is proved, and the limit."""
    value, upper = measured(finding, _DECIMALS)
    unit = f" {finding.unit}" if finding.unit else ""
    if value is None:
        text = "" if upper is None else f"at most {written(upper, _DECIMALS)}{unit}"
    elif upper is None:
        text = _open_ended(finding, value) or f"{written(value, _DECIMALS)}{unit}"
    else:
        text = f"{written(value, _DECIMALS)} to {written(upper, _DECIMALS)}{unit}"
    limit = limit_of(finding, _DECIMALS)
    if not text or limit is None:
        return text
    return f"{text} (limit {written(limit, _DECIMALS)}{unit})"


def _open_ended(finding: Finding, value: float) -> str | None:
    """Words for a distance that was followed only so far."""
    if finding.segment is None or finding.unit != "mm" or _FLOOR < value < _CAP:
        return None
    word = "more" if value > 0.0 else "deeper"
    return f"{word} than {written(abs(value), _DECIMALS)} mm"


def _instant(finding: Finding) -> str:
    at = "" if finding.at is None else f"at {written(finding.at, _DECIMALS)} s"
    return " ".join(filter(None, (finding.segment, at)))


def gathered(result: Result) -> list[Alike]:
    """All placements that are not a clear pass, each once, the worst verdicts first."""
    groups: dict[tuple[str, ...], list[tuple[Judged, Finding]]] = {}
    for judged in result.placements:
        finding = deciding(judged)
        if finding is not None and judged.verdict != "pass":
            groups.setdefault(_kind(finding), []).append((judged, finding))
    alike = [Alike(_from_worst(members)) for members in groups.values()]
    return sorted(alike, key=lambda kind: RANK[kind.worst[1].verdict])


def _kind(finding: Finding) -> tuple[str, ...]:
    """What makes two problems alike: all but the numbers."""
    bodies = finding.between or (finding.message, "")
    words = (_NUMBER.sub("#", body) for body in bodies)
    return (finding.verdict, finding.check, finding.segment or "", *words)


def _from_worst(members: list[tuple[Judged, Finding]]) -> tuple[tuple[Judged, Finding], ...]:
    worst = min(members, key=lambda member: room(member[1]))
    return (worst, *(member for member in members if member is not worst))


def _others(judged: Judged, told: Finding) -> str:
    """The other checks that this placement does not clearly pass, by name."""
    others = [f for f in worst_first(judged.findings) if f.verdict not in ("pass", "not checked")]
    named = dict.fromkeys(f"{f.check} {f.verdict}" for f in others if f.check != told.check)
    return f" [also: {', '.join(named)}]" if named else ""


def _hanging(label: str, text: str, width: int) -> list[str]:
    start = f"  {label}  "
    return wrap(
        text,
        width,
        initial_indent=start,
        subsequent_indent=" " * len(start),
        break_long_words=False,
        break_on_hyphens=False,
    )
