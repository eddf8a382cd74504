"""What a survey of ways of grouping finds, as frozen data: mm, %, cartons/min."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Measured:
    """A number that decides, with where it was found; value None: why there is none is in text.

    Attributes:
        value: The number.
        where: The placement it belongs to.
        text: What it is about: two bodies, or the check's own words.
    """

    value: float | None
    where: str = ""
    text: str = ""


@dataclass(frozen=True, slots=True)
class FailingPlacement:
    """A placement that fails or could not be checked, and its first such finding.

    Attributes:
        checks: All checks that it fails, or that could not be made.
    """

    placement: str
    group: str
    check: str
    message: str
    checks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WayJudged:
    """What the check of one way of grouping found.

    Attributes:
        placements, marginal: How many there are, and how many of them are marginal.
        failing: All that fail or could not be checked.
        cycles: Of each pallet.
        cartons: In all.
        rate: Cartons a minute; sustained where a line is stated, else of cycles alone.
        rate_verdict: On the line's rate and the queue; empty where no line is stated.
        load, hold: The largest share used of what is allowed [%].
        clearance: The smallest where it is asked for in full, or the deepest overlap [mm].
        verdict: Of everything.
    """

    placements: int
    marginal: int
    failing: tuple[FailingPlacement, ...]
    cycles: tuple[tuple[str, int], ...]
    cartons: int
    rate: Measured
    rate_verdict: str
    load: Measured
    hold: Measured
    clearance: Measured
    verdict: str

    @property
    def fits(self) -> bool:
        """Whether every placement was checked, and none fails."""
        return self.placements > 0 and not self.failing


@dataclass(frozen=True, slots=True)
class WayFound:
    """One way of grouping, and what came of it.

    Attributes:
        trouble: Why it is not checked.
        same_as: The way, listed before, that comes to the same cell file.
        proved: Whether no other choice of these groups takes fewer cycles.
        judged: None where it was not checked.
    """

    name: str
    groups: tuple[str, ...]
    in_parts: bool
    trouble: str
    same_as: str
    proved: bool
    judged: WayJudged | None


@dataclass(frozen=True, slots=True)
class GroupsSurvey:
    """Ways of grouping, side by side.

    Attributes:
        sha256: Of the cell as it stands.
        asked: The line's rate [cartons/min]; None where the cell states no line.
        best: Index of the best way; None where none fits.
    """

    cell_name: str
    sha256: str
    asked: float | None
    ways: tuple[WayFound, ...]
    best: int | None
