"""Approach: room on the way in and out, for the tool and what it carries."""

from .case import Case
from .clearance import tightest
from .finding import Finding


def check(case: Case) -> list[Finding]:
    """Findings for tool and group near cartons, pallet, guides and belt, going in and out."""
    own = [entry for entry in case.watched if entry.rule.check == "approach"]
    return tightest(case, own, "approach")
