"""What was tried to cure a cell, as text for a terminal or a log."""

import textwrap
from collections.abc import Iterator, Sequence

from ..surveys.remedy import RemedySurvey, Rung, Tried
from ..surveys.remedy_changes import Ladder

_WIDE = 100
_UNDER = "      "
_CAUTION = (
    "Each change was tried alone and checked whole, with every check: none of its placements "
    "fails. What else it changes (guards, the line, the floor) is not known here."
)


def remedy_text(survey: RemedySurvey) -> str:
    """The smallest changes that cure, and what was tried in vain."""
    lines = [survey.cell_name, ""]
    if not survey.trouble:
        return "\n".join([*lines, remedy_line(survey)]) + "\n"
    lines += [_state(survey), f"First: {survey.trouble}", ""]
    cures = survey.cures
    if cures:
        lines += ["Changes that make everything pass, what costs least first:", ""]
        lines += _columns([_cure_row(survey, ladder, tried) for ladder, tried in cures])
        lines += ["", *textwrap.wrap(_CAUTION, _WIDE), ""]
    vain = [rung for rung in survey.rungs if rung.cure is None]
    if vain:
        lines += ["Tried without a cure, and what still fails at the end of it:", ""]
        rows = list(_columns([_vain_row(rung) for rung in vain]))
        for rung, row in zip(vain, rows, strict=True):
            lines += [row, *_still(rung)]
        lines += [""]
    lines.append(remedy_line(survey))
    return "\n".join(lines) + "\n"


def remedy_line(survey: RemedySurvey) -> str:
    """The smallest change in one line."""
    if not survey.trouble:
        return f"NOTHING TO CURE: none of {survey.placements} placements fails."
    if not survey.cures:
        return "NO CURE FOUND: no single change within these ranges makes everything pass."
    ladder, tried = survey.cures[0]
    many = "placement is" if tried.marginal == 1 else "placements are"
    marginal = f", {tried.marginal} {many} then marginal" if tried.marginal else ""
    return (
        f"SMALLEST CHANGE: {ladder.key} from {ladder.before} to {tried.step.value}"
        f"{_unit(ladder)}{marginal}. Try it with: --set {_setting(ladder, tried)}"
    )


def _state(survey: RemedySurvey) -> str:
    if survey.failed:
        return f"Of {survey.placements} placements {survey.failed} fail."
    return f"None of {survey.placements} placements fails, but the cell as a whole does."


def _unit(ladder: Ladder) -> str:
    return " mm" if ladder.unit == "mm" else ""


def _setting(ladder: Ladder, tried: Tried) -> str:
    text = f"{ladder.key}={tried.step.value}"
    return f'"{text}"' if " " in text else text


def _cure_row(survey: RemedySurvey, ladder: Ladder, tried: Tried) -> tuple[str, ...]:
    change = f"{ladder.before} -> {tried.step.value}{_unit(ladder)}"
    much = f"{tried.step.size:g} mm" if ladder.unit == "mm" else ""
    more = [f"{tried.marginal} marginal"] if tried.marginal else []
    if tried.cartons != survey.cartons:
        more.append(f"{tried.cartons} cartons instead of {survey.cartons}")
    return f"--set {_setting(ladder, tried)}", change, much, ", ".join(more)


def _vain_row(rung: Rung) -> tuple[str, ...]:
    ladder = rung.ladder
    if ladder.unit == "mm":
        span = f"{ladder.steps[0].value} to {ladder.steps[-1].value} mm"
    else:
        span = ", ".join(step.value for step in ladder.steps)
    return ladder.key, span


def _still(rung: Rung) -> list[str]:
    """Why the last step that was tried does not cure."""
    last = rung.tried[-1]
    words = f"at {last.step.value}: {last.trouble}"
    return textwrap.wrap(words, _WIDE, initial_indent=_UNDER, subsequent_indent=_UNDER)


def _columns(rows: Sequence[tuple[str, ...]]) -> Iterator[str]:
    """Rows with their columns aligned."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    for row in rows:
        cells = (text.ljust(width) for text, width in zip(row, widths, strict=True))
        yield ("  " + "   ".join(cells)).rstrip()
