"""What stands in the corners of the window, in words."""

from collections.abc import Sequence

from ..checks.finding import Finding, Judged
from .choose import rank
from .mark import distance_text, in_units
from .nearness import Near
from .sheet import wrapped
from .subjects import spoken
from .walk import Pose, Walk

_MM = 1e3
_MOST_FINDINGS = 4
_MOST_NEAR = 5
_WIDE = 430  # [px] of a corner's text
SIZE = 15  # [px]

SHORT_KEYS = "n next problem   space play   c whole cell   h all keys"
KEYS = (
    ("right, left", "next, previous placement"),
    ("n, b", "next, previous problem"),
    ("w", "worst instant of this placement"),
    ("space", "play, pause"),
    (". ,", "a little later, earlier"),
    ("1 2 3", "the switches below"),
    ("c", "the whole cell"),
    ("h", "this list"),
    ("q", "close"),
    ("mouse", "left turns, right or wheel zooms, middle moves"),
)


def title(walk: Walk) -> str:
    """Which placement one is at, and its verdict."""
    judged = walk.judged
    verdict = "being checked ..." if judged is None else judged.verdict
    return f"{walk.placement.id}   {verdict}   {walk.index + 1} of {len(walk.stops)}"


def where_lines(walk: Walk, pose: Pose | None) -> list[str]:
    """Which instant, and what was found there over the whole motion."""
    judged = walk.judged
    lines: list[str] = []
    if pose is not None:
        lines.append(
            f"{pose.segment.name}, {walk.instant:.2f} s of {pose.cycle.seconds:.2f} s, "
            f"route: {pose.cycle.route}"
        )
    elif judged is not None:
        lines.append("no motion was found; the arm is drawn where it waits")
    if judged is not None:
        lines += _findings(judged)
    return _in_width(lines)


def _findings(judged: Judged) -> list[str]:
    """The worst findings, those that are no pass first."""
    bad = sorted((f for f in judged.findings if f.verdict != "pass"), key=rank)
    if not bad:
        return ["all checks pass over the whole motion"]
    lines = [f"{finding.verdict}: {_told(finding)}" for finding in bad[:_MOST_FINDINGS]]
    if len(bad) > _MOST_FINDINGS:
        lines.append(f"and {len(bad) - _MOST_FINDINGS} more findings that are no pass")
    return lines


def _told(finding: Finding) -> str:
    if finding.between is None or finding.unit != "mm":
        return f"{finding.check}, {spoken(finding.message)}"
    who = " and ".join(spoken(name) for name in finding.between)
    limit = "" if finding.limit is None else f", limit {in_units(finding.limit, finding.unit)}"
    when = "" if finding.at is None else f", at {finding.at:.2f} s"
    return f"{finding.check}, {who}, {distance_text(finding)}{limit}{when}"


def near_lines(near: Sequence[Near]) -> list[str]:
    """What touches or nears what at this instant, with the distances."""
    if not near:
        return ["nothing within 100 mm of anything at this instant"]
    lines = ["at this instant:"]
    for entry in near[:_MOST_NEAR]:
        who = f"{spoken(entry.names[0])}, {spoken(entry.names[1])}"
        lines.append(f"{near_text(entry)}   {who}{_asked(entry)}")
    if len(near) > _MOST_NEAR:
        lines.append(f"and {len(near) - _MOST_NEAR} more within 100 mm")
    return _in_width(lines)


def near_text(entry: Near) -> str:
    """A distance [mm] in words, rounded down."""
    if entry.distance == float("-inf"):
        return "INSIDE"
    value = int(entry.distance * _MM * 10.0 // 1.0) / 10.0
    if value < 0.0 and not entry.meant:
        return f"OVERLAP {-value:.1f} mm"
    return "touches" if entry.meant else f"{value:.1f} mm"


def _asked(entry: Near) -> str:
    if entry.limit < 0.0:
        return " (may touch)" if entry.room >= 0.0 else " (may touch, no deeper)"
    word = "asked" if entry.room >= 0.0 else "TOO NEAR, asked"
    return f" ({word} {entry.limit * _MM:.1f} mm)"


def tally(walk: Walk) -> str:
    """How many of each verdict so far."""
    parts = [f"{walk.count(v)} {v}" for v in ("fail", "marginal", "not checked", "pass")]
    text = ", ".join(part for part in parts if not part.startswith("0 "))
    left = len(walk.stops) - walk.known
    return ", ".join(filter(None, (text, f"{left} being checked" if left else "")))


def key_lines() -> list[str]:
    """The keys and what they do."""
    return [f"{keys:<12} {words}" for keys, words in KEYS]


def _in_width(lines: Sequence[str]) -> list[str]:
    return [part for line in lines for part in wrapped(line, SIZE, _WIDE)]
