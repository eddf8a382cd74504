"""Surveys as text for a terminal or a log."""

from collections.abc import Iterator, Sequence

from ..surveys.results import BaseSurvey, Column, Height, ReachSurvey, StackSurvey, Stop, Tolerance

REACH_ALONE = "Reach alone: nothing is said of what is met on the way there."
_SHOWN = 12  # rows of a table that are worth reading
_LEAST_CLEARANCE = (
    "Least clearance: the smallest of all motions, where the limit is asked for in full. The last "
    "millimetres before rest and what touches as intended are judged by limits of their own; an "
    "overlap that fails counts wherever it is."
)
_NOT_COMPUTED = "not computed in full: more placements fail there than at the best."


def base_text(survey: BaseSurvey) -> str:
    """The best variants, what was not computed, how far the best may be off."""
    lines = [survey.cell_name, "", *_table(_base_rows(survey)), ""]
    lines += _left_out(survey)
    lines += [_tolerance_line(tolerance) for tolerance in survey.tolerances]
    lines += [""] if survey.tolerances else []
    lines.append(base_line(survey))
    return "\n".join(lines) + "\n"


def base_told(survey: BaseSurvey) -> tuple[str, ...]:
    """What a table of all variants does not tell, a paragraph each."""
    told = _paragraphs(_left_out(survey, len(survey.ranked)))
    return (*told, _LEAST_CLEARANCE, *map(_tolerance_line, survey.tolerances))


def base_line(survey: BaseSurvey) -> str:
    """The best variant in one line."""
    best = survey.best
    where = ", ".join(f"{key}={value}" for key, value in best.settings)
    judgement = best.judgement
    if judgement is None:
        return f"BEST: {where}"
    first = f" First: {judgement.trouble}" if judgement.trouble else ""
    count = f"{judgement.failed} of {judgement.placements} placements fail"
    marginal = f", {judgement.marginal} are marginal" if judgement.marginal else ""
    whole = f" The whole cell fails: {judgement.whole}" if judgement.whole else ""
    return f"BEST: {where}: {count}{marginal}.{first}{whole}"


def _base_rows(survey: BaseSurvey) -> Iterator[tuple[str, ...]]:
    keys = [each.key for each in survey.ranges]
    yield (*keys, "fail", "marginal", "joint room", "clearance", "cartons/min")
    for number in survey.ranked[:_SHOWN]:
        variant = survey.variants[number]
        judgement = variant.judgement
        if judgement is None:
            continue
        yield (
            *(value for _, value in variant.settings),
            f"{judgement.failed} of {judgement.placements}",
            "" if judgement.marginal is None else str(judgement.marginal),
            _measure(judgement.room, judgement.room_unit),
            _measure(judgement.clearance, "mm"),
            "" if judgement.rate is None else f"{judgement.rate:.2f}",
        )


def _left_out(survey: BaseSurvey, shown: int = _SHOWN) -> Iterator[str]:
    total, complete = len(survey.variants), len(survey.ranked)
    more = complete - shown
    if more > 0:
        yield f"{more} more variants were judged completely; --results has them all."
    wrong = sum(1 for v in survey.variants if v.judgement and v.judgement.depth == "not a cell")
    if wrong:
        trouble = next(
            v.judgement.trouble
            for v in survey.variants
            if v.judgement and v.judgement.depth == "not a cell"
        )
        yield f"{wrong} of {total} variants are no valid cell: {trouble}"
    stopped = total - complete - wrong
    if stopped:
        yield f"{stopped} of {total} variants: {_NOT_COMPUTED}"
    yield "Cartons/min: sustained where the cell states its line; else cycles alone, without pallet"
    yield "changes and without waiting for cartons. Left out where a motion meets what it must not;"
    yield "joint room is that of the motions that do not."
    yield ""


def _tolerance_line(tolerance: Tolerance) -> str:
    below = _side(tolerance.below, tolerance.fails_below, "-")
    above = _side(tolerance.above, tolerance.fails_above, "+")
    return f"{tolerance.key} may be off by {below} and {above}, the others left as they are."


def _side(good: float, bad: float | None, sign: str) -> str:
    if bad is None and not good:
        return f"{sign}0 (the range ends there)"
    if bad is None:
        return f"{sign}{good:g} at least (the end of the range)"
    return f"{sign}{good:g} (fails at {sign}{bad:g})"


def stack_text(survey: StackSurvey) -> str:
    """For each variant, how many layers pass and what stops the next one."""
    lines = [survey.cell_name, ""]
    for column in survey.columns:
        where = ", ".join(f"{key}={value}" for key, value in column.settings)
        lines += [where] if where else []
        if column.trouble:
            lines += [f"no valid cell: {column.trouble}", ""]
            continue
        lines += [*_table(_stack_rows(column)), *_untried(column), *_stop_lines(column), ""]
    if len(survey.columns) > 1:
        lines += [*_table(_column_rows(survey)), ""]
    lines.append(stack_line(survey))
    return "\n".join(lines) + "\n"


def stack_told(survey: StackSurvey) -> tuple[str, ...]:
    """What a table of all heights does not tell: what was not tried, and all that fails next."""
    told: list[str] = []
    for column in survey.columns:
        where = ", ".join(f"{key}={value}" for key, value in column.settings)
        lines = [f"no valid cell: {column.trouble}"] if column.trouble else []
        lines += [*_untried(column), *_stop_lines(column)]
        told += [where] if where and lines else []
        told += [f"  {line.strip()}" if where else line for line in lines]
    return tuple(told)


def stack_line(survey: StackSurvey) -> str:
    """The most layers in one line."""
    column = survey.columns[survey.best]
    where = ", ".join(f"{key}={value}" for key, value in column.settings)
    where = f" with {where}" if where else ""
    stop = column.stopped_at
    count = f"{column.serves} layer{'' if column.serves == 1 else 's'}"
    text = f"BEST: {count} pass{'es' if column.serves == 1 else ''}{where}"
    if stop is None:
        return f"{text}; no more were asked for."
    more = "does" if stop.layers == 1 else "do"
    return f"{text}; {stop.layers} {more} not: {stopped_by(stop).removesuffix('.')}."


def stopped_by(height: Height) -> str:
    """What fails first at a height, and by how much."""
    if not height.stops:
        return height.judgement.trouble or height.judgement.whole
    stop = height.stops[0]
    return f"{stop.check} at {stop.placement}, {_amount(stop)}"


def _amount(stop: Stop) -> str:
    """By how much a placement fails, in words."""
    between = f"{stop.between[0]} and {stop.between[1]}, " if stop.between[0] else ""
    if stop.value is None or stop.limit is None:
        return f"{between}{stop.message}"
    beyond = abs(stop.value - stop.limit)
    on = f" on {stop.segment}" if stop.segment else ""
    return f"{between}{beyond:.0f} {stop.unit} beyond the limit{on}: {stop.message}"


def _stack_rows(column: Column) -> Iterator[tuple[str, ...]]:
    yield ("layers", "top", "placements", "joint room")
    for height in column.heights:
        judgement = height.judgement
        if not height.is_cell:
            yield (str(height.layers), "", f"no valid cell: {judgement.trouble}", "")
            continue
        yield (
            str(height.layers),
            f"{height.top:.0f} mm",
            _failing(height),
            _measure(judgement.room, judgement.room_unit),
        )


def _failing(height: Height) -> str:
    """How many placements fail, in words."""
    if height.passes:
        return "none fails"
    if height.judgement.failed == 0:
        return "none fails, but the whole cell does"
    more = " or more" if height.judgement.depth == "stopped" else ""
    return f"{height.judgement.failed}{more} fail"


def _untried(column: Column) -> Iterator[str]:
    if column.untried:
        first, last = column.untried[0], column.untried[-1]
        which = f"{first}" if first == last else f"{first} to {last}"
        yield f"{which} layers were not tried: fewer fail already."


def _stop_lines(column: Column) -> Iterator[str]:
    stop = column.stopped_at
    for each in stop.stops if stop is not None else ():
        yield f"  {each.placement}  {each.check}: {_amount(each)}"


def _column_rows(survey: StackSurvey) -> Iterator[tuple[str, ...]]:
    yield (*(each.key for each in survey.ranges), "layers that pass", "what stops the next")
    for column in survey.columns:
        stop = column.stopped_at
        yield (
            *(value for _, value in column.settings),
            str(column.serves),
            column.trouble or ("" if stop is None else stopped_by(stop)),
        )


def reach_text(survey: ReachSurvey) -> str:
    """For each height, how much of the floor is in reach."""
    lines = [survey.cell_name, "", *_table(_reach_rows(survey)), ""]
    return "\n".join([*lines, *reach_told(survey), "", reach_line(survey)]) + "\n"


def reach_told(survey: ReachSurvey) -> tuple[str, ...]:
    """What the numbers are of."""
    return (
        f"In reach: hanging straight down, with at least one of {survey.tried} turns of the tool "
        f"(any: with all of them), on a grid of {survey.step:g} mm.",
        REACH_ALONE,
        *slides_told(survey),
    )


def slides_told(survey: ReachSurvey) -> tuple[str, ...]:
    """How room of a joint that slides is told, where one does."""
    if survey.slide_worth is None:
        return ()
    return (f"Joint room of a slide counts as an angle: 1 mm as {survey.slide_worth:g} deg.",)


def reach_line(survey: ReachSurvey) -> str:
    """The height at which least is in reach, in one line."""
    least = min(survey.maps, key=lambda each: each.area(survey.step))
    area = least.area(survey.step)
    return f"LEAST: {area:.2f} m2 in reach with the top of {least.group} at {least.height:.0f} mm."


def _reach_rows(survey: ReachSurvey) -> Iterator[tuple[str, ...]]:
    yield ("group", "top", "in reach", "with any turn", "most room", "pallet/layer")
    for each in survey.maps:
        rooms = [room for row in each.room for room in row if room is not None]
        yield (
            each.group,
            f"{each.height:.0f} mm",
            f"{each.area(survey.step):.2f} m2",
            f"{each.area(survey.step, survey.tried):.2f} m2",
            _measure(max(rooms, default=None), "deg"),
            ", ".join(f"{pallet}/{layer}" for pallet, layer in each.layers),
        )


def _paragraphs(lines: Iterator[str]) -> list[str]:
    """Lines as paragraphs: one that starts with a small letter goes on with the one before."""
    found: list[str] = []
    for line in filter(None, lines):
        if found and line[0].islower():
            found[-1] += f" {line}"
        else:
            found.append(line)
    return found


def _measure(value: float | None, unit: str) -> str:
    return "" if value is None else f"{value:.1f} {unit}"


def _table(rows: Iterator[tuple[str, ...]]) -> list[str]:
    """Rows as aligned lines; the last column runs on."""
    table: Sequence[tuple[str, ...]] = list(rows)
    widths = [max(len(row[k]) for row in table) for k in range(len(table[0]))]
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in table
    ]
