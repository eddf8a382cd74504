"""Findings and the result they add up to. Values here are as shown: mm, deg, kg, s."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, NamedTuple

from ..motion.cycle import Cycle
from ..palletizing.group import Placement
from .throughput import Rate

Verdict = Literal["pass", "marginal", "fail", "not checked"]
_ORDER: tuple[Verdict, ...] = ("pass", "marginal", "not checked", "fail")


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """The worst of some verdicts; `pass` of none."""
    there = set(verdicts)
    for verdict in reversed(_ORDER):
        if verdict in there:
            return verdict
    return "pass"


class Finding(NamedTuple):
    """One check's answer at one placement.

    Attributes:
        value: Measured; of a proved bracket the lower end. None where there is no number.
        upper: The other end of the bracket, where there is one.
        between: The two bodies, by their scene names ("link/forearm", "carton/A/1/3").
        segment: Name of the segment, if it belongs to one.
        at: Instant in the cycle [s].
        message: In words, with the direction in which to move to gain room.
        worst_case: The value less what the stated tolerances take off it, where there are any.
        allowances: How much each of them takes off, by name, the largest first.
        gain: Unit direction in the world frame in which the first body gains room, if known.
    """

    check: str
    verdict: Verdict
    value: float | None
    limit: float | None
    unit: str
    message: str
    upper: float | None = None
    between: tuple[str, str] | None = None
    segment: str | None = None
    at: float | None = None
    gain: tuple[float, float, float] | None = None
    worst_case: float | None = None
    allowances: tuple[tuple[str, float], ...] = ()


def failing(told: "Finding | Judged") -> bool:
    """Whether a finding or a placement fails or could not be checked."""
    return told.verdict in ("fail", "not checked")


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """One placement with its findings; cycle: None when no motion was found."""

    placement: Placement
    findings: tuple[Finding, ...]
    cycle: Cycle | None

    @property
    def verdict(self) -> Verdict:
        """The worst verdict of its findings."""
        return worst(finding.verdict for finding in self.findings)


@dataclass(frozen=True, slots=True, eq=False)
class Result:
    """What a check of a cell found, placements in order (pallet, then turn).

    Attributes:
        findings: About the cell as a whole.
        rate: How many cartons a minute it brings; None where no line is stated, where only
            some placements were checked, or where one has no motion.
    """

    cell_name: str
    sha256: str
    placements: tuple[Judged, ...]
    notes: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    rate: Rate | None = None

    @property
    def verdict(self) -> Verdict:
        """The worst verdict of its placements and of the cell as a whole."""
        verdicts: list[Verdict] = [judged.verdict for judged in self.placements]
        return worst([*verdicts, *(finding.verdict for finding in self.findings)])

    def count(self, verdict: Verdict) -> int:
        """How many placements have this verdict."""
        return sum(judged.verdict == verdict for judged in self.placements)
