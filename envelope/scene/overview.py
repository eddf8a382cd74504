"""One picture of the whole cell: where the problems are, and how many."""

from collections.abc import Mapping

import numpy as np

from ..checks.finding import Result, Verdict
from ..geometry.frames import Array
from ..palletizing.group import carton_names
from .camera import View, directions, hiding
from .colours import BY_ROLE, BY_VERDICT, Colour
from .draw import Canvas, lift_of
from .facets import Facets
from .instant import Scenery, Shown, resting_joints, waiting
from .sheet import MARGIN, SIZE, Sheet
from .subjects import spoken
from .views import corners, fitted

_PANE = (20, 160, 1560, 820)
_WORDS: dict[Verdict, str] = {
    "pass": "passes",
    "marginal": "marginal",
    "not checked": "not checked",
    "fail": "fails",
}
_TAGS = 14  # more names than this in one picture cover the cell


def overview(
    canvas: Canvas, scenery: Mapping[str, Scenery], result: Result, spots: int, drawn: int
) -> Sheet:
    """Draw the cell with all pallets full, cartons in the colour of their verdict.

    Args:
        canvas: What to draw on.
        scenery: Of each pallet, by name; at least one.
        result: The verdicts.
        spots: How many placements fail or are marginal.
        drawn: How many of them have a picture of their own.
    """
    shown = _full(scenery, result)
    verdicts: dict[str, Verdict] = {
        name: judged.verdict
        for judged in result.placements
        for name in carton_names(judged.placement)
    }
    bodies = [entry.facets for entry in shown]
    bad = [e for e in shown if verdicts.get(e.name, "pass") != "pass"]
    view = fitted(_direction(shown, bad), corners(bodies), _PANE[2:], 1.08)
    canvas.clear()
    points = corners(bodies)
    margin = np.array([0.5, 0.5, 0.0])
    canvas.floor(points.min(axis=0) - margin, points.max(axis=0) + margin)
    coloured: dict[Colour, list[Facets]] = {}
    for entry in shown:
        known = verdicts.get(entry.name)
        colour = BY_ROLE[entry.role] if known is None else BY_VERDICT[known]
        coloured.setdefault(colour, []).append(entry.facets)
    for colour, group in coloured.items():
        canvas.faces(group, colour)
    canvas.edges(bodies, view.towards, lift_of(view))
    sheet = Sheet()
    title = result.cell_name
    sheet.header(title, result.verdict, BY_VERDICT[result.verdict], _lines(result, spots, drawn))
    sheet.pane(canvas.shot(view), _PANE)
    _tags(sheet, view, shown, bad, verdicts)
    seen = [v for v in _WORDS if v in verdicts.values()]
    sheet.key([(BY_VERDICT[v], _WORDS[v]) for v in seen], MARGIN + 20, SIZE[1] - 40 - 36 * len(seen), 300)
    return sheet


def _lines(result: Result, spots: int, drawn: int) -> list[str]:
    counts = [
        f"{result.count(verdict)} {word}"
        for verdict, word in (
            ("fail", "fail"),
            ("marginal", "marginal"),
            ("not checked", "not checked"),
            ("pass", "pass"),
        )
        if result.count(verdict)
    ]
    total = len(result.placements)
    lines = [f"{total} placement{'s' if total != 1 else ''}: {', '.join(counts)}"]
    if spots and drawn < spots:
        lines.append(f"{drawn} of {spots} problem spots have their own picture: the worst of each kind")
    elif spots:
        lines.append("every problem spot has its own picture")
    else:
        lines.append("no problem spots; the arm is drawn where it waits, the pallets full")
    return lines


def _full(scenery: Mapping[str, Scenery], result: Result) -> list[Shown]:
    """The cell with every pallet full and the arm where it waits."""
    place = next((s for s in scenery.values() if s.tasks), None)
    if place is None:
        return []
    joints = resting_joints(place.cell, result.placements)
    event = len(place.pallet.placements)
    return place.at(waiting(place.tasks[0], event, joints))


def _direction(shown: list[Shown], bad: list[Shown]) -> Array:
    """The direction in which most of what is bad is seen, and little hides it."""
    views = directions()
    views = views[(views[:, 2] < -0.45) & (views[:, 2] > -0.65)]
    targets = bad or [e for e in shown if e.role in ("arm", "placed")]
    others = [e.facets for e in shown]
    points = np.array([e.facets.points.max(axis=0) + [-0.02, -0.02, 0.01] for e in targets])
    hidden = [sum(hiding(points, towards, others)) for towards in views]
    return views[int(np.argmin(hidden))]


def _tags(
    sheet: Sheet, view: View, shown: list[Shown], bad: list[Shown], verdicts: Mapping[str, Verdict]
) -> None:
    """Names of pallets and of what is bad."""
    for entry in shown:
        if entry.role == "pallet":
            foot = entry.facets.points.copy()
            at = view.project(foot)
            corner = at[at[:, 1].argmax()] + _PANE[:2]
            sheet.tag(spoken(entry.name), corner + [0.0, 24.0], _PANE)
    others = [entry.facets for entry in shown]
    tagged = 0
    for entry in bad:
        place = _face_seen(entry.facets, view.towards, others)
        if place is not None and tagged < _TAGS:
            at = view.project(place[None])[0] + _PANE[:2]
            sheet.tag(entry.name.removeprefix("carton/"), at, _PANE)
            tagged += 1


def _face_seen(carton: Facets, towards: Array, others: list[Facets]) -> Array | None:
    """The middle of a carton's side that nothing hides, the top first; None if all are hidden."""
    low, high = carton.points.min(axis=0), carton.points.max(axis=0)
    middle, half = (low + high) / 2, (high - low) / 2
    for axis in (2, 0, 1):
        way = np.zeros(3)
        way[axis] = -np.sign(towards[axis])
        place = middle + way * (half + 1e-3)
        if not any(hiding(place[None], towards, others)):
            return place
    return None
