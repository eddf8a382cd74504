"""What the findings of a placement claim about pairs of bodies, so that it can be doubted."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ..geometry.bodies import Mesh
from .finding import Finding
from .occasion import Occasion
from .rules import Rule

_MM = 1e3
_DEEP = 1e-4  # [m]: overlaps deeper than this are there for another engine as well


@dataclass(frozen=True, slots=True)
class Overlap:
    """An overlap that a finding tells of: at an instant, between two bodies."""

    finding: Finding
    at: float
    names: tuple[str, str]
    depth: float


Key = tuple[int, Rule, int | None]
"""Moving actor, rule, and the other actor where links are told apart one by one."""


class Claims:
    """The clearances that are claimed over one segment.

    Args:
        occasion: The segment.
        findings: Those on approach and collision that belong to it.
        alone: Whether no finding can belong to another segment of the same name instead.

    Attributes:
        unknown: Findings that name bodies which take no part.
    """

    def __init__(
        self, occasion: Occasion, findings: Iterable[Finding], *, alone: bool = True
    ) -> None:
        self._occasion, self._alone = occasion, alone
        self._told: dict[Key, float] = {}
        self.overlaps: list[Overlap] = []
        self.unknown: list[Finding] = []
        self._count: dict[str, int] = {}
        for name in occasion.names.values():
            self._count[name] = self._count.get(name, 0) + 1
        for finding in findings:
            if finding.between is not None:
                self._take(finding, finding.between)

    def lower(self, mover: int, other: int) -> float:
        """Clearance that two bodies are claimed to keep [m]; minus infinity where none is.

        What no finding tells of is claimed to keep the least that its rule asks for.
        """
        rule = self._occasion.rule(mover, other)
        kept = self._occasion.least_limit(rule)
        told = self._told.get(self._key(mover, other, rule))
        if told is None:
            return kept
        sure = self._alone and self._count[self._occasion.names[mover]] == 1
        return told if sure else min(told, kept)

    def _key(self, mover: int, other: int, rule: Rule) -> Key:
        actors = self._occasion.cast.actors
        among_links = actors[mover].role == "arm" and actors[other].link != 0
        return mover, rule, other if among_links else None

    def _take(self, finding: Finding, between: tuple[str, str]) -> None:
        occasion = self._occasion
        movers, others = (occasion.called(name) for name in between)
        if not movers or not others:
            self.unknown.append(finding)
            return
        for mover in movers:
            for other in others:
                rule = occasion.rule(mover, other)
                key = self._key(mover, other, rule)
                claimed = self._claimed(finding, rule)
                self._told[key] = min(claimed, self._told.get(key, np.inf))
        self._note_overlap(finding, between, [*movers, *others])

    def _claimed(self, finding: Finding, rule: Rule) -> float:
        """Clearance at every instant of the segment that a finding claims [m].

        Its value holds where its limit does; where the limit is lower, less may be kept.
        """
        if finding.value is None or finding.limit is None or _is_floor(finding):
            return -np.inf
        return (finding.value - finding.limit) / _MM + self._occasion.least_limit(rule)

    def _note_overlap(self, finding: Finding, between: tuple[str, str], actors: list[int]) -> None:
        """Remember overlaps of convex bodies at an instant on the segment itself."""
        bodies = self._occasion.cast.bodies
        if finding.at is None or any(isinstance(bodies[i].shape, Mesh) for i in actors):
            return
        upper = finding.value if _is_floor(finding) else finding.upper
        if upper is None or upper > -_DEEP * _MM or self._is_at_a_corner(finding.at):
            return
        self.overlaps.append(Overlap(finding, finding.at, between, -upper / _MM))

    def _is_at_a_corner(self, instant: float) -> bool:
        """Whether it may be told of the way round a rounded corner, which is on no row."""
        if not self._occasion.cell.motion.blend_radius:
            return False
        return bool((np.abs(self._occasion.segment.times - instant) < 1e-9).any())


def _is_floor(finding: Finding) -> bool:
    """Whether an overlap is told as deeper than its value: such a bracket has one end only."""
    return finding.upper is None and finding.value is not None and finding.value <= 0.0
