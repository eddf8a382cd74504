"""Surveys drawn: maps over the floor with what stands there, as one SVG."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from ..surveys.plan import Outline
from ..surveys.results import BaseSurvey, Variant
from .map_drawing import Panel, Tile, sheet


def base_map(survey: BaseSurvey) -> str:
    """For each height (and other ranged value) maps of what passes, of room, clearance, rate."""
    across, up, _ = _axes(survey)
    title = f"{survey.cell_name}: {_question(across, up)}"
    return sheet(title, base_remarks(survey), base_rows(survey))


def base_rows(survey: BaseSurvey) -> list[tuple[str, list[Panel]]]:
    """The maps one by one, those of one height (and other ranged value) together."""
    across, up, others = _axes(survey)
    slices = sorted({_others(variant, others) for variant in survey.variants}, key=_natural)
    plan = survey.plan if (across, up) == ("arm.at.x", "arm.at.y") else ()
    quantities = (replace(q, unit=room_unit(survey)) if q.name == _ROOM else q for q in _QUANTITIES)
    shown = [q for q in quantities if any(q.of(v) is not None for v in survey.variants)]
    rows: list[tuple[str, list[Panel]]] = []
    for values in slices:
        there = [v for v in survey.variants if _others(v, others) == values]
        heading = ", ".join(f"{key} = {value}" for key, value in values)
        panels = [_base_panel(survey, there, each, (across, up), plan) for each in shown]
        rows.append((heading, panels))
    return rows


def _question(across: str, up: str) -> str:
    if (across, up) == ("arm.at.x", "arm.at.y"):
        return "where the arm may stand, seen from above"
    return f"what {across} and {up} do" if up else f"what {across} does"


def base_remarks(survey: BaseSurvey) -> list[str]:
    """What its squares are, which is best, and how many were left out."""
    where = ", ".join(f"{key}={value}" for key, value in survey.best.settings)
    remarks = [f"Each square is one variant that was tried. Best: {where}."]
    left_out = sum(1 for variant in survey.variants if not variant.complete)
    if left_out:
        remarks.append(
            f"Grey or white: {left_out} of {len(survey.variants)} variants were not computed in "
            "full, because more placements fail there than at the best, or they are no valid cell."
        )
    return remarks


def room_unit(survey: BaseSurvey) -> str:
    """The unit of the joint rooms of all variants: mm where a slide has the least."""
    judged = [v.judgement for v in survey.variants if v.judgement is not None]
    units = {each.room_unit for each in judged if each.room is not None}
    return " or ".join(sorted(units)) or "deg"


_ROOM = "least joint room"
_LEAST_SPAN = 1.0  # of a colour scale: what differs by less looks alike


@dataclass(frozen=True, slots=True)
class _Quantity:
    """What a map shows of a variant."""

    name: str
    unit: str
    of: Callable[[Variant], float | None]


def _passing(variant: Variant) -> float | None:
    failed = variant.failed
    if not variant.complete or failed is None or not variant.placements:
        return None
    return 100.0 * (variant.placements - failed) / variant.placements


_QUANTITIES = (
    _Quantity("placements that do not fail", "%", _passing),
    _Quantity(_ROOM, "deg", lambda v: v.judgement.room if v.judgement else None),
    _Quantity("least clearance", "mm", lambda v: v.judgement.clearance if v.judgement else None),
    _Quantity("cartons/min", "/min", lambda v: v.judgement.rate if v.judgement else None),
)


def _axes(survey: BaseSurvey) -> tuple[str, str, tuple[str, ...]]:
    """The keys drawn across and up, and the others: the last two ranges of several values."""
    keys = [each.key for each in survey.ranges if len(each.values) > 1]
    keys = keys or [survey.ranges[-1].key]
    across = "arm.at.x" if "arm.at.x" in keys else keys[-1]
    rest = [key for key in keys if key != across]
    up = "arm.at.y" if "arm.at.y" in rest else (rest[-1] if rest else "")
    others = tuple(each.key for each in survey.ranges if each.key not in (across, up))
    return across, up, others


def _others(variant: Variant, keys: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    return tuple((key, value) for key, value in variant.settings if key in keys)


def _natural(values: tuple[tuple[str, str], ...]) -> tuple[float, ...]:
    return tuple(float(value) for _, value in values)


def _base_panel(
    survey: BaseSurvey,
    there: Sequence[Variant],
    quantity: _Quantity,
    axes: tuple[str, str],
    plan: tuple[Outline, ...],
) -> Panel:
    every = [quantity.of(variant) for variant in survey.variants]
    known = [value for value in every if value is not None]
    low, high = (
        (0.0, 100.0)
        if quantity.unit == "%"
        else (min(known), max(max(known), min(known) + _LEAST_SPAN))
    )
    tiles = tuple(
        Tile(
            variant.value(axes[0]),
            variant.value(axes[1]) if axes[1] else 0.0,
            quantity.of(variant),
            told_of(variant),
            none=variant.judgement is not None and variant.judgement.depth == "not a cell",
            best=variant is survey.best,
        )
        for variant in there
    )
    return Panel(quantity.name, tiles, low, high, quantity.unit, axes, plan)


def told_of(variant: Variant) -> str:
    """All that is known of a variant, in a few lines."""
    lines = [", ".join(f"{key}={value}" for key, value in variant.settings)]
    judgement = variant.judgement
    if judgement is not None and judgement.depth == "not a cell":
        return "\n".join([*lines, f"no valid cell: {judgement.trouble}"])
    if not variant.complete:
        lines.append(
            f"not computed in full: at least {variant.failed} of {variant.placements} fail"
        )
    elif judgement is not None:
        lines.append(f"{judgement.failed} of {judgement.placements} fail")
        lines += (
            [f"least joint room {judgement.room:.1f} {judgement.room_unit}"]
            if judgement.room is not None
            else []
        )
        lines += (
            [f"least clearance {judgement.clearance:.1f} mm"]
            if judgement.clearance is not None
            else []
        )
        lines += [f"{judgement.rate:.2f} cartons/min"] if judgement.rate is not None else []
    if judgement is not None:
        lines += [words for words in (judgement.trouble, judgement.whole) if words]
    return "\n".join(lines)
