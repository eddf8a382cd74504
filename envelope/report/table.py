"""A result as a table for spreadsheets: one row a placement.

First comes the finding that decides the placement's verdict, then the worst
finding of each check. All findings are in the results file.
"""

import csv
import io
import math

from ..checks.finding import Finding, Judged, Result
from .deciding import deciding, worst_first
from .numbers import limit_of, measured, written

_DECIMALS = 3
_LEADING = (
    "placement",
    "pallet",
    "layer",
    "order",
    "group",
    "x [mm]",
    "y [mm]",
    "z [mm]",
    "yaw [deg]",
    "verdict",
    "deciding check",
    "value",
    "upper",
    "limit",
    "unit",
    "first body",
    "second body",
    "segment",
    "at [s]",
    "cycle",
    "cycle [s]",
    "message",
)


def as_csv(result: Result) -> str:
    """The table as comma-separated values, with a line of headings."""
    checks = _checks(result)
    text = io.StringIO()
    writer = csv.writer(text)
    headings = list(_LEADING)
    for check in checks:
        headings += [f"{check} verdict", f"{check} value", f"{check} limit", f"{check} unit"]
    writer.writerow(headings)
    for judged in result.placements:
        row = _leading(judged)
        for check in checks:
            row += _of_check(judged, check)
        writer.writerow([_harmless(value) for value in row])
    return text.getvalue()


def _checks(result: Result) -> list[str]:
    """Names of the checks that spoke, in the order in which they first did."""
    names = (finding.check for judged in result.placements for finding in judged.findings)
    return list(dict.fromkeys(names))


def _leading(judged: Judged) -> list[str]:
    placement, finding, cycle = judged.placement, deciding(judged), judged.cycle
    lengths = (placement.x, placement.y, placement.z)
    row = [placement.id, placement.pallet, str(placement.layer), str(placement.order)]
    row += [placement.group.name, *(written(length * 1000.0, _DECIMALS) for length in lengths)]
    row += [written(math.degrees(placement.yaw), _DECIMALS), judged.verdict]
    if finding is None:
        row += [""] * 9
    else:
        first, second = finding.between or ("", "")
        row += [finding.check, *_against_limit(finding), finding.unit, first, second]
        row += [finding.segment or "", written(finding.at, _DECIMALS)]
    row += ["", ""] if cycle is None else [str(cycle.number), written(cycle.seconds, _DECIMALS)]
    return [*row, "" if finding is None else finding.message]


def _of_check(judged: Judged, check: str) -> list[str]:
    findings = [finding for finding in judged.findings if finding.check == check]
    if not findings:
        return ["", "", "", ""]
    worst = worst_first(findings)[0]
    value, _, limit = _against_limit(worst)
    return [worst.verdict, value, limit, worst.unit]


def _against_limit(finding: Finding) -> tuple[str, str, str]:
    """Value, upper end and limit."""
    value, upper = measured(finding, _DECIMALS)
    limit = limit_of(finding, _DECIMALS)
    return written(value, _DECIMALS), written(upper, _DECIMALS), written(limit, _DECIMALS)


def _harmless(value: str) -> str:
    """Text that a spreadsheet would take for a formula gets a leading apostrophe."""
    if value[:1] in ("=", "+", "-", "@", "\t", "\r") and not _is_number(value):
        return "'" + value
    return value


def _is_number(value: str) -> bool:
    try:
        float(value)
    except ValueError:
        return False
    return True
