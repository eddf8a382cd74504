"""Which of a placement's findings decides its verdict, and in which order to tell them."""

import math
from collections.abc import Iterable

from ..checks.finding import Finding, Judged, Verdict

RANK: dict[Verdict, int] = {"fail": 0, "not checked": 1, "marginal": 2, "pass": 3}


def worst_first(findings: Iterable[Finding]) -> list[Finding]:
    """Findings ordered by verdict, then as the checks gave them, then by how bad they are."""
    listed = list(findings)
    turn = {name: place for place, name in enumerate(dict.fromkeys(f.check for f in listed))}
    return sorted(listed, key=lambda f: (RANK[f.verdict], turn[f.check], room(f)))


def deciding(judged: Judged) -> Finding | None:
    """The finding that decides a placement's verdict; None if there is no finding."""
    ordered = worst_first(judged.findings)
    return ordered[0] if ordered else None


def room(finding: Finding) -> float:
    """Distance from the limit: the farther beyond it, or the nearer inside it, the worse."""
    if finding.value is None or finding.limit is None:
        return math.inf
    distance = abs(finding.value - finding.limit)
    return -distance if finding.verdict == "fail" else distance
