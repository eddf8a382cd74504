"""One picture of the whole cell: where the problems are, and how many."""

from collections.abc import Mapping

import numpy as np

from ..checks.finding import Result, Verdict
from ..geometry.frames import Array
from ..palletizing.group import carton_names
from .camera import UP, View, directions, hidden, hiding
from .colours import BLUISH_GREEN, BY_ROLE, BY_VERDICT, Colour
from .draw import Canvas, lift_of
from .facets import Facets
from .instant import Scenery, Shown, is_building, resting_joints, waiting
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
# Of a carton all sides may be seen but its bottom.
_SIDES = np.array([(0, 0, 1), (1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0)], dtype=float)
_FACING = 0.35  # cosine: a side that is turned away farther is seen as a sliver only
_APART = np.array([86.0, 42.0])  # [px]: names nearer than this cover each other


def overview(
    canvas: Canvas, scenery: Mapping[str, Scenery], result: Result, spots: int, drawn: int | None
) -> Sheet:
    """Draw the cell with all pallets full, cartons in the colour of their verdict.

    Args:
        canvas: What to draw on.
        scenery: Of each pallet, by name; at least one.
        result: The verdicts.
        spots: How many placements fail or are marginal.
        drawn: How many of them have a picture of their own; None where none was asked for.
    """
    shown = _full(scenery, result)
    verdicts: dict[str, Verdict] = {
        name: judged.verdict
        for judged in result.placements
        for name in carton_names(judged.placement)
    }
    building = [entry.facets for entry in shown if is_building(entry.facets)]
    shown = [entry for entry in shown if not is_building(entry.facets)]
    bodies = [entry.facets for entry in shown]
    bad = [e for e in shown if verdicts.get(e.name, "pass") != "pass"]
    view = _view(shown, bad)
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
    canvas.edges([*bodies, *building], view.towards, lift_of(view))
    sheet = Sheet()
    title = result.cell_name
    chip = BLUISH_GREEN if result.verdict == "pass" else BY_VERDICT[result.verdict]
    sheet.header(title, result.verdict, chip, _lines(result, spots, drawn))
    sheet.pane(canvas.shot(view), _PANE)
    _tags(sheet, view, shown, bad)
    seen: list[Verdict] = [v for v in _WORDS if v in verdicts.values()]
    top = SIZE[1] - 40 - 36 * len(seen)
    sheet.key([(BY_VERDICT[v], _WORDS[v]) for v in seen], MARGIN + 20, top, 300)
    return sheet


def _lines(result: Result, spots: int, drawn: int | None) -> list[str]:
    order: tuple[Verdict, ...] = ("fail", "marginal", "not checked", "pass")
    counts = [f"{result.count(v)} {v}" for v in order if result.count(v)]
    total = len(result.placements)
    lines = [f"{total} placement{'s' if total != 1 else ''}: {', '.join(counts)}"]
    if spots and drawn is None:
        lines.append("the arm is drawn where it waits, the pallets full")
    elif spots and drawn is not None and drawn < spots:
        lines.append(f"{drawn} of {spots} problem spots have a picture: the worst of each kind")
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


def _view(shown: list[Shown], bad: list[Shown]) -> View:
    """The view in which the pallets and most of what is bad are seen, and large."""
    views = directions()
    views = views[(views[:, 2] < -0.45) & (views[:, 2] > -0.65)]
    others = [e.facets for e in shown]
    decks = [p + 0.01 * UP for e in shown if e.role == "pallet" for p in e.facets.points]
    sides = [place for e in bad for place in _sides(e.facets)]
    points = np.array([*sides, *decks]).reshape(-1, 3)
    best: tuple[float, View] | None = None
    for towards in views:
        view = fitted(towards, corners(others), _PANE[2:], 1.08)
        lost = hidden(points, towards, others) if len(points) else np.zeros(0, dtype=bool)
        away = _SIDES @ towards > -_FACING
        unseen = (lost[: len(sides)].reshape(-1, len(_SIDES)) | away).all(axis=1)
        share = float(unseen.mean()) if bad else 0.0
        share += float(lost[len(sides) :].mean()) if decks else 0.0
        cost = view.half * (1.0 + 2.0 * share)
        if best is None or cost < best[0] - 1e-9:
            best = cost, view
    if best is None:
        raise ValueError("no direction of view")
    return best[1]


def _sides(carton: Facets) -> Array:
    """The middles of a carton's top and four sides, a little off it, shape (5, 3)."""
    low, high = carton.points.min(axis=0), carton.points.max(axis=0)
    return (low + high) / 2 + _SIDES * ((high - low) / 2 + 1e-3)


def _tags(sheet: Sheet, view: View, shown: list[Shown], bad: list[Shown]) -> None:
    """Names of pallets and of what is bad, as many as do not cover each other."""
    taken: list[Array] = []

    def put(text: str, at: Array) -> None:
        place = at + _PANE[:2]
        if all((np.abs(place - other) > _APART).any() for other in taken):
            sheet.tag(text, place, _PANE)
            taken.append(place)

    for entry in shown:
        if entry.role == "pallet":
            at = view.project(entry.facets.points)
            put(spoken(entry.name), at[at[:, 1].argmax()] + [0.0, 24.0])
    others = [entry.facets for entry in shown]
    named: set[str] = set()
    for entry in bad:
        name = entry.name.removeprefix("carton/").partition(".")[0]
        place = _face_seen(entry.facets, view.towards, others)
        if place is not None and name not in named:
            put(name, view.project(place[None])[0])
            named.add(name)


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
