"""The set-up sheet: how much of what the arm and the grip bear a group takes."""

from collections.abc import Iterator

from ..checks.finding import Finding, Result, Verdict
from ..palletizing.group import Group
from .sheet import Block, Column, Number

STRAINS = ("load", "hold")
"""The checks that are repeated."""
_WORST: tuple[Verdict, ...] = ("fail", "not checked", "marginal", "pass")


def strain(group: Group, result: Result) -> Iterator[Block]:
    """The tightest finding of the checks on load and on hold; nothing where they found none."""
    remarks: list[str] = []
    numbers: list[Number] = []
    for check in STRAINS:
        found = [
            (finding, judged.placement.id)
            for judged in result.placements
            if judged.placement.group.name == group.name
            for finding in judged.findings
            if finding.check == check
        ]
        if not found:
            continue
        tightest, where = min(found, key=lambda entry: _rank(entry[0]))
        remarks.append(f"{check}, {tightest.verdict}, tightest at {where}: {tightest.message}.")
        if tightest.value is not None and tightest.unit == "%":
            key = f"groups.{group.name}.used.{check}"
            numbers.append(Number(key, f"{check}: used", tightest.value, "%", 1))
    if remarks:
        columns = (Column("of what is allowed", tuple(numbers)),) if numbers else ()
        yield Block(f"Group {group.name}: what arm and grip bear", tuple(remarks), columns)


def _rank(finding: Finding) -> tuple[int, float]:
    """Worst verdict first, then the largest share used."""
    used = finding.value if finding.value is not None and finding.unit == "%" else 0.0
    return _WORST.index(finding.verdict), -used
