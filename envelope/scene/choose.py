"""Which findings get a picture of their own: the worst of each kind first."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from ..checks.finding import Finding, Judged, Result

MOST = 12  # pictures of problem spots: more than that nobody looks at
_CHECKS = ("reach", "collision", "approach", "stacking", "offset")  # what is told first


@dataclass(frozen=True, slots=True)
class Problem:
    """A placement and the finding that is pictured for it."""

    judged: Judged
    finding: Finding


def problems(result: Result) -> list[Problem]:
    """Every placement that fails, or is marginal, with its worst finding; in order."""
    found = [problem_of(judged) for judged in result.placements]
    return [problem for problem in found if problem is not None]


def problem_of(judged: Judged) -> Problem | None:
    """The worst finding of a placement that fails or is marginal; None where none is."""
    bad = [finding for finding in judged.findings if finding.verdict in ("fail", "marginal")]
    return Problem(judged, min(bad, key=rank)) if bad else None


def tightest_of(judged: Judged) -> Problem:
    """The finding with the least room on a placement's motion, where nothing is wrong."""
    near = [f for f in judged.findings if f.between is not None and f.at is not None]
    apart = [f for f in near if f.limit is not None and f.limit > 0.0]  # no intended contact
    return Problem(judged, min(apart or near or list(judged.findings), key=rank))


def chosen(found: list[Problem], most: int = MOST) -> list[Problem]:
    """As many as told: the worst of each kind, then the second worst of each, and so on."""
    kinds: dict[tuple[str, ...], list[Problem]] = {}
    for problem in sorted(found, key=lambda p: rank(p.finding)):
        kinds.setdefault(_kind(problem.finding), []).append(problem)
    picked = [problem for round_ in _rounds(list(kinds.values())) for problem in round_][:most]
    place = {id(problem): k for k, problem in enumerate(found)}
    return sorted(picked, key=lambda problem: place[id(problem)])


def file_names(picked: list[Problem]) -> list[str]:
    """A file name for the picture of each, no two the same, whatever pallets are called."""
    given: dict[str, str] = {"overview": ""}
    for problem in picked:
        plain = re.sub(r"[^\w.]+", "-", f"{problem.judged.placement.id}-{problem.finding.check}")
        name, number = plain, 2
        while name.casefold() in given:
            name, number = f"{plain}-{number}", number + 1
        given[name.casefold()] = f"{name}.png"
    return list(given.values())[1:]


def _rounds(kinds: list[list[Problem]]) -> Iterator[list[Problem]]:
    for turn in range(max((len(kind) for kind in kinds), default=0)):
        yield [kind[turn] for kind in kinds if turn < len(kind)]


def rank(finding: Finding) -> tuple[int, int, float, float]:
    """Worst first: failing, touching, by how much; of equals the earliest in the cycle."""
    room = float("-inf")
    if finding.value is not None and finding.limit is not None:
        room = finding.value - finding.limit
        if finding.verdict == "fail":  # whichever side of the limit is the wrong one
            room = -abs(room)
        elif finding.unit.startswith("%") and finding.check in ("reach", "load", "hold"):
            room = -room
    check = _CHECKS.index(finding.check) if finding.check in _CHECKS else len(_CHECKS)
    at = finding.at if finding.at is not None else 0.0
    return (finding.verdict != "fail", check, room, at)


def _kind(finding: Finding) -> tuple[str, ...]:
    """What makes two findings the same kind of problem: all but numbers of cartons."""
    names = [re.sub(r"[/ ][\d./]*\d\b.*", "", name) for name in finding.between or ()]
    names = [re.sub(r"^(carton/).*", r"\1", name) for name in names]
    return (finding.verdict, finding.check, finding.segment or "", finding.unit, *names)
