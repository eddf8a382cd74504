"""Surveys as a page: maps that tell their values, and a table of all variants."""

from collections.abc import Iterator, Sequence

from ..surveys.results import BaseSurvey, Height, ReachSurvey, StackSurvey, Variant
from .answer_page import Answer, Drawing, Figure, Gauge, Row, Table, Value, as_page
from .map_drawing import Panel, single
from .reach_map import heading_of, reach_rows
from .stack_picture import stack_columns
from .survey_map import base_remarks, base_rows, room_unit
from .survey_text import (
    base_line,
    base_told,
    reach_told,
    stack_line,
    stack_told,
    stopped_by,
)

OF_ALL = "Everything is said of the cells as modelled; the best is to be checked by itself."


def base_page(survey: BaseSurvey) -> str:
    """Where the arm may stand, or what other values do."""
    judgement = survey.best.judgement
    good = judgement is not None and judgement.failed == 0
    _, _, line = base_line(survey).partition(": ")
    keys = tuple(each.key for each in survey.ranges)
    room = f"joint room [{room_unit(survey)}]"
    headings = (*keys, "fail", "of", "marginal", room, "clearance [mm]", "cartons/min", "remarks")
    others = sorted(set(range(len(survey.variants))) - set(survey.ranked))
    rows = tuple(_variant(survey.variants[number]) for number in (*survey.ranked, *others))
    table = Table("All variants", headings, rows)
    return as_page(
        Answer(
            survey.cell_name,
            f"What is best of {len(survey.variants)} variants of this cell",
            good,
            f"{'BEST' if good else 'BEST, BUT IT FAILS'}: {line}",
            survey.sha256,
            (Drawing("Maps", " ".join(base_remarks(survey)), _rows(base_rows(survey))),),
            (table,),
            base_told(survey),
            (OF_ALL,),
        )
    )


def _rows(rows: Sequence[tuple[str, Sequence[Panel]]]) -> tuple[Row, ...]:
    """Maps of one heading side by side; single maps side by side with their headings below."""
    if len(rows) > 1 and all(len(panels) == 1 for _, panels in rows):
        return (Row("", tuple(Figure(single(panels[0]), heading) for heading, panels in rows)),)
    return tuple(
        Row(heading, tuple(Figure(single(panel)) for panel in panels)) for heading, panels in rows
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
    units = {h.judgement.room_unit for c in survey.columns for h in c.heights if h.judgement.room}
    room = f"joint room [{' or '.join(sorted(units)) or 'deg'}]"
    headings = (*keys, "layers", "top [mm]", "fail", "of", room, "what stops it")
    columns = Row("", (Figure(stack_columns(survey)),))
    words = "Each bar is a stack of so many layers, with the height of its top over the floor."
    wide = len(survey.columns) > 1
    return as_page(
        Answer(
            survey.cell_name,
            "How many layers pass",
            survey.columns[survey.best].serves > 0,
            stack_line(survey),
            survey.sha256,
            (Drawing("Stacks", words, (columns,), values=False, wide=wide),),
            (Table("All heights", headings, tuple(_heights(survey))),),
            stack_told(survey),
            (OF_ALL,),
        )
    )


def _heights(survey: StackSurvey) -> Iterator[tuple[Value, ...]]:
    for column in survey.columns:
        where = tuple(float(value) for _, value in column.settings)
        for height in column.heights:
            judgement = height.judgement
            if not height.is_cell:
                blank = ("", "", "", "")
                yield (*where, height.layers, *blank, f"no valid cell: {judgement.trouble}")
                continue
            yield (
                *where,
                height.layers,
                round(height.top, 1),
                _failed(height),
                judgement.placements,
                _told(judgement.room),
                "" if height.passes else stopped_by(height),
            )


def _failed(height: Height) -> Value:
    """How many fail; not all were counted where the check was stopped at the first."""
    failed = height.judgement.failed
    if height.judgement.depth != "stopped":
        return failed
    return Gauge(f"{failed} or more", failed)


def reach_page(survey: ReachSurvey) -> str:
    """What the arm reaches at each height."""
    headings = ("height", "in reach [m2]", "with every turn [m2]", "largest joint room [deg]")
    least = min(survey.maps, key=lambda each: each.area(survey.step))
    rows = reach_rows(survey)
    words = (
        "Where the group's centre may be with tool and group hanging straight down, seen from "
        "above, with the cartons of that layer. White: out of reach."
    )
    if all(len(panels) == 1 for _, panels in rows):
        words += f" All that is in reach is so with each of {survey.tried} turns of the tool."
    return as_page(
        Answer(
            survey.cell_name,
            "What the arm reaches, tool and group hanging straight down",
            None,
            f"LEAST IN REACH: {least.area(survey.step):.2f} m2 of the plan, {heading_of(least)}.",
            survey.sha256,
            (Drawing("Maps", words, _rows(rows)),),
            (Table("All heights", headings, tuple(_levels(survey))),),
            reach_told(survey),
            (OF_ALL,),
        )
    )


def _levels(survey: ReachSurvey) -> Iterator[tuple[Value, ...]]:
    for each in survey.maps:
        rooms = [room for row in each.room for room in row if room is not None]
        yield (
            heading_of(each),
            round(each.area(survey.step), 2),
            round(each.area(survey.step, survey.tried), 2),
            _told(max(rooms, default=None)),
        )


def _told(value: float | None) -> Value:
    return "" if value is None else round(value, 2)
