"""Surveys as a page: maps that tell their values, and a table of all variants."""

from collections.abc import Iterator

from ..surveys.grouped import GroupsSurvey
from ..surveys.results import BaseSurvey, ReachSurvey, StackSurvey, Variant
from .answer_page import Answer, Drawing, Table, Value, as_page
from .groups import groups_line, groups_rows, groups_text
from .groups_picture import groups_picture
from .reach_map import heading_of, reach_map
from .stack_picture import stack_picture
from .survey_map import base_map
from .survey_text import (
    base_line,
    base_text,
    reach_line,
    reach_text,
    stack_line,
    stack_text,
    stopped_by,
)

_OF_ALL = "Everything is said of the cells as modelled; the best is to be checked by itself."


def base_page(survey: BaseSurvey) -> str:
    """Where the arm may stand, or what other values do."""
    judgement = survey.best.judgement
    keys = tuple(each.key for each in survey.ranges)
    headings = (*keys, "fail", "of", "marginal", "joint room", "clearance [mm]", "cartons/min", "")
    return as_page(
        Answer(
            survey.cell_name,
            f"What is best of {len(survey.variants)} variants of this cell",
            judgement is not None and judgement.failed == 0,
            base_line(survey),
            base_text(survey),
            survey.sha256,
            (Drawing("Maps", "Each square is one variant.", base_map(survey)),),
            (Table("All variants", headings, tuple(_variant(v) for v in survey.variants)),),
            (_OF_ALL,),
        )
    )


def _variant(variant: Variant) -> tuple[Value, ...]:
    """A row: what it is set to, and what came of it; empty where it was not looked at."""
    judgement = variant.judgement
    values = tuple(variant.value(key) for key, _ in variant.settings)
    if judgement is not None and judgement.depth == "not a cell":
        return (*values, "", 0, "", "", "", "", f"no valid cell: {judgement.trouble}")
    failed: Value = "" if variant.failed is None else variant.failed
    words = "" if variant.complete else "at least so many fail; not computed in full"
    if judgement is None or not variant.complete:
        return (*values, failed, variant.placements, "", "", "", "", words)
    return (
        *values,
        failed,
        variant.placements,
        _told(judgement.marginal),
        _told(judgement.room),
        _told(judgement.clearance),
        _told(judgement.rate),
        judgement.trouble,
    )


def stack_page(survey: StackSurvey) -> str:
    """How many layers pass, and what stops the next."""
    keys = tuple(each.key for each in survey.ranges)
    headings = (*keys, "layers", "top [mm]", "fail", "of", "joint room", "what stops it")
    return as_page(
        Answer(
            survey.cell_name,
            "How many layers pass",
            survey.columns[survey.best].serves > 0,
            stack_line(survey),
            stack_text(survey),
            survey.sha256,
            (
                Drawing(
                    "Stacks", "Each bar is a stack of so many layers.", stack_picture(survey), False
                ),
            ),
            (Table("All heights", headings, tuple(_heights(survey))),),
            (_OF_ALL,),
        )
    )


def _heights(survey: StackSurvey) -> Iterator[tuple[Value, ...]]:
    for column in survey.columns:
        where = tuple(float(value) for _, value in column.settings)
        for height in column.heights:
            judgement = height.judgement
            yield (
                *where,
                height.layers,
                round(height.top, 1),
                judgement.failed,
                judgement.placements,
                _told(judgement.room),
                "" if height.passes else stopped_by(height),
            )


def reach_page(survey: ReachSurvey) -> str:
    """What the arm reaches at each height."""
    headings = ("height", "places in reach", "of", "with every turn", "largest room [deg]")
    return as_page(
        Answer(
            survey.cell_name,
            "What the arm reaches, tool and group hanging straight down",
            None,
            reach_line(survey),
            reach_text(survey),
            survey.sha256,
            (Drawing("Maps", "Seen from above, at each height.", reach_map(survey)),),
            (Table("All heights", headings, tuple(_levels(survey))),),
            (_OF_ALL,),
        )
    )


def _levels(survey: ReachSurvey) -> Iterator[tuple[Value, ...]]:
    for each in survey.maps:
        counts = [count for row in each.turns for count in row]
        rooms = [room for row in each.room for room in row if room is not None]
        yield (
            heading_of(each),
            sum(count > 0 for count in counts),
            len(counts),
            sum(count == survey.tried for count in counts),
            _told(max(rooms, default=None)),
        )


def groups_page(survey: GroupsSurvey) -> str:
    """What each way of grouping brings."""
    headings, *rows = groups_rows(survey)
    judged = None if survey.best is None else survey.ways[survey.best].judged
    return as_page(
        Answer(
            survey.cell_name,
            "What each way of grouping cartons brings",
            judged is not None and judged.verdict in ("pass", "marginal"),
            groups_line(survey),
            groups_text(survey),
            survey.sha256,
            (Drawing("Side by side", "One row for each way.", groups_picture(survey), False),),
            (Table("All ways", headings, tuple(rows)),),
            (_OF_ALL,),
        )
    )


def _told(value: float | None) -> Value:
    return "" if value is None else round(value, 2)
