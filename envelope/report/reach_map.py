"""Reach drawn: for each height how many turns of the tool are in range, and the joint room."""

from ..surveys.results import ReachMap, ReachSurvey
from .map_drawing import Panel, Tile, sheet
from .survey_text import REACH_ALONE, slides_told

_TURNS, _ROOM = "turns of the tool in reach", "largest joint room over these turns"


def reach_map(survey: ReachSurvey) -> str:
    """Two maps over the plan for each height: turns of the tool, and joint room."""
    most = _most(survey)
    rows = [
        (heading_of(each), (_turns(survey, each), _room(survey, each, most)))
        for each in survey.maps
    ]
    remarks = [
        "Where the group's centre may be with tool and group hanging straight down, seen from "
        "above. White: out of reach.",
        REACH_ALONE,
        *slides_told(survey),
    ]
    return sheet(f"{survey.cell_name}: what the arm reaches", remarks, rows)


def reach_rows(survey: ReachSurvey) -> tuple[tuple[str, tuple[Panel, ...]], ...]:
    """The same maps one by one; turns only where some places are reached with some of them."""
    most = _most(survey)
    if all(count in (0, survey.tried) for m in survey.maps for row in m.turns for count in row):
        return tuple((heading_of(each), (_room(survey, each, most),)) for each in survey.maps)
    return tuple(
        (heading_of(each), (_turns(survey, each), _room(survey, each, most)))
        for each in survey.maps
    )


def _most(survey: ReachSurvey) -> float:
    known = [room for each in survey.maps for row in each.room for room in row if room is not None]
    return max(known, default=1.0)


def heading_of(each: ReachMap) -> str:
    """Which height it is."""
    layers = ", ".join(f"pallet {pallet} layer {layer}" for pallet, layer in each.layers)
    return f"{each.group} with its top at {each.height:.0f} mm: {layers}"


def _turns(survey: ReachSurvey, each: ReachMap) -> Panel:
    tiles = tuple(
        Tile(
            x,
            y,
            float(count),
            f"x={x:g}, y={y:g}: {count} of {survey.tried} turns" if count else "",
            none=not count,
        )
        for y, row in zip(survey.y, each.turns, strict=True)
        for x, count in zip(survey.x, row, strict=True)
    )
    unit = f"of {survey.tried}"
    return _panel(survey, each, (_TURNS, unit), tiles, float(survey.tried))


def _room(survey: ReachSurvey, each: ReachMap, most: float) -> Panel:
    tiles = tuple(
        Tile(
            x,
            y,
            room,
            "" if room is None else f"x={x:g}, y={y:g}: {room:g} deg",
            none=room is None,
        )
        for y, row in zip(survey.y, each.room, strict=True)
        for x, room in zip(survey.x, row, strict=True)
    )
    return _panel(survey, each, (_ROOM, "deg"), tiles, most)


def _panel(
    survey: ReachSurvey,
    each: ReachMap,
    words: tuple[str, str],
    tiles: tuple[Tile, ...],
    high: float,
) -> Panel:
    plan = (*survey.plan, *each.outlines)
    axes = ("x", "y")
    title, unit = words
    return Panel(title, tiles, 0.0, high, unit, axes, plan, survey.base, around=0.05)
