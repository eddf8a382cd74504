"""Collision: bodies that touch where they must not, or come nearer than asked."""

from .answers import Watched
from .case import Case
from .clearance import tightest
from .finding import Finding


def check(case: Case) -> list[Finding]:
    """Findings for everything but the way in and out, and for touching anywhere."""
    own = [entry for entry in case.watched if entry.rule.check == "collision"]
    contact = -case.cell.clearances.contact
    touching = [
        _as_contact(entry, contact)
        for entry in case.watched
        if entry.rule.check == "approach"
        and entry.rule.full == entry.rule.rest  # tapering pairs are watched for it by themselves
        and _touches(entry, contact)
    ]
    return tightest(case, own, "collision") + tightest(case, touching, "collision")


def _touches(entry: Watched, contact: float) -> bool:
    """Whether it really overlaps by more than contact allows (no matter what was asked)."""
    allowed = min(contact, entry.rule.rest)
    return entry.other is not None and entry.margin[1] + entry.limit < allowed


def _as_contact(entry: Watched, contact: float) -> Watched:
    """The same against the limit for touching alone."""
    allowed = min(contact, entry.rule.rest)
    lower, upper = (margin + entry.limit - allowed for margin in entry.margin)
    return entry._replace(margin=(lower, upper), limit=allowed)
