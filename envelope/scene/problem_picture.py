"""The picture of one problem spot: the spot itself, where in the cell, and enlarged."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..checks.clearance import in_words
from ..geometry.frames import Array, pose
from . import compose
from .camera import View, hiding
from .choose import Problem
from .colours import (
    BLUISH_GREEN,
    BY_ROLE,
    BY_VERDICT,
    EDGE,
    FIRST,
    OVERLAP,
    PAPER,
    REACHED,
    SECOND,
    SWEPT,
    Colour,
)
from .draw import Canvas, Image, lift_of, visible
from .facets import Facets
from .instant import is_building
from .mark import Mark, distance_text, in_units
from .sheet import DETAIL, MAIN, WHERE, Sheet
from .subjects import SWEPT_ROOM, Scene, spoken
from .views import corners, detail_view, direction_of, fitted, main_view

_GHOST = 0.16  # of what stands between the eye and the spot is left
_SWEPT, _LEVEL, _OVERLAP = 0.30, 0.38, 0.75  # shares of a tint
_BEHIND = 0.004  # [m]: faces that the swept room shares with a body are drawn as the body's
_INSET = 0.45  # of what hides the spot is left where the whole cell is seen
_MUCH = 0.15 * WHERE[2] * WHERE[3]  # [px2]: a frame larger than this does not tell the spot
_SPOT = 15.0  # [px]: the ring around it
_SMALL = 1.2  # [m]: a picked body of this size is freed of what hides its middle
_SAME_WAY = 0.97  # cosine of 14 deg: a turn that need not be told
_DETAIL_BELOW = 42.0  # [px]: a length shorter than this is shown enlarged as well


def problem_picture(canvas: Canvas, scene: Scene, problem: Problem) -> Sheet:
    """Draw a scene and say what is wrong in it."""
    towards = direction_of(scene)
    view = main_view(scene, towards, MAIN[2:])
    stage = _Stage(canvas, scene, view)
    sheet = Sheet()
    finding = problem.finding
    sheet.header(
        f"{problem.judged.placement.id}   {finding.check}",
        finding.verdict,
        BLUISH_GREEN if finding.verdict == "pass" else BY_VERDICT[finding.verdict],
        [_measured(scene, problem), _when(problem)],
    )
    sheet.pane(stage.main(view), MAIN)
    everything = corners(_cell(scene))
    whole = fitted(towards, everything, WHERE[2:], 1.12)
    sheet.pane(stage.plain(whole), WHERE, "where in the cell")
    _where(sheet, scene.mark, view, whole)
    third = True
    if scene.level or (scene.mark is not None and scene.mark.kind == "shift"):
        _plan(sheet, stage, scene, everything)
    elif scene.mark is not None and scene.second and _small(scene.mark, view):
        _detail(sheet, canvas, scene, scene.mark, view)
    else:
        third = False
    if scene.mark is not None:
        _marked(sheet, scene.mark, view)
    under = DETAIL if third else WHERE
    sheet.key(_key(scene), WHERE[0], under[1] + under[3] + 20, WHERE[2])
    return sheet


def _cell(scene: Scene) -> list[Facets]:
    """All bodies of a scene but for the building around them."""
    bodies = [*(e.facets for e in scene.quiet), *scene.first, *scene.second]
    return [body for body in bodies if not is_building(body)] or bodies


def _small(mark: Mark, view: View) -> bool:
    ends = view.project(np.array([mark.start, mark.end]))
    return mark.kind == "length" and float(np.linalg.norm(ends[1] - ends[0])) < _DETAIL_BELOW


def _marked(sheet: Sheet, mark: Mark, view: View) -> None:
    """The mark in the large view, with its label."""
    start, end = view.project(np.array([mark.start, mark.end])) + MAIN[:2]
    if mark.kind == "length":
        sheet.length(start, end, mark.text, MAIN)
    elif mark.kind == "shift":
        sheet.shift(start, end, mark.text, MAIN)
    else:
        sheet.place((start + end) / 2, mark.text, MAIN)


def _detail(sheet: Sheet, canvas: Canvas, scene: Scene, mark: Mark, view: View) -> None:
    """The measured length once more, enlarged, from its side; it takes over the canvas."""
    near = detail_view(mark, view.towards, DETAIL[2:])
    larger = near.pixels(1.0) / view.pixels(1.0)
    side = "" if float(near.towards @ view.towards) > _SAME_WAY else ", from the side"
    sheet.pane(_Stage(canvas, scene, near).close(near), DETAIL, f"{larger:.0f} times larger{side}")
    ends = near.project(mark.points) + DETAIL[:2]
    sheet.plain_length(ends[0], ends[1])


def _where(sheet: Sheet, mark: Mark | None, view: View, whole: View) -> None:
    """What the large view shows of the cell, and the spot where that is much of it."""
    frame = _frame(view, whole)
    sheet.frame(frame + WHERE[:2], WHERE)
    if mark is not None and float(np.abs(np.diff(frame, axis=0)).prod()) > _MUCH:
        sheet.ring(whole.project(mark.points).mean(axis=0) + WHERE[:2], _SPOT)


def _plan(sheet: Sheet, stage: "_Stage", scene: Scene, everything: Array) -> None:
    """The cell from above, with a shift that is asked for."""
    plan = fitted(np.array([0.0, 0.0, -1.0]), everything, DETAIL[2:], 1.04)
    sheet.pane(stage.main(plan), DETAIL, "from above")
    if scene.mark is not None:
        ends = plan.project(np.array([scene.mark.start, scene.mark.end])) + DETAIL[:2]
        sheet.plain_shift(ends[0], ends[1])


def _frame(view: View, whole: View) -> Array:
    """The corners of one view in another of the same direction [px]."""
    right, up = view.axes()
    wide = view.half * view.size[0] / view.size[1]
    ends = [view.focus + s * (wide * right + view.half * up) for s in (-1.0, 1.0)]
    return whole.project(np.array(ends))


def _measured(scene: Scene, problem: Problem) -> str:
    """First line of the caption: who, how much, against what."""
    finding = problem.finding
    who = " and ".join(name for name in scene.names if name)
    if finding.check not in ("approach", "collision") or finding.between is None:
        return spoken(finding.message)
    if finding.limit is None or finding.limit == 0.0:
        return f"{who}: {distance_text(finding)}; they must not touch"
    if finding.limit < 0.0:
        deep = in_units(-finding.limit, finding.unit)
        return f"{who}: {distance_text(finding)}; may touch, and overlap by {deep} at most"
    asked = in_units(finding.limit, finding.unit)
    return f"{who}: {distance_text(finding)}; asked: at least {asked}"


def _when(problem: Problem) -> str:
    """Second line of the caption: value and limit, segment, instant, and how to gain room."""
    finding, cycle = problem.finding, problem.judged.cycle
    pair = finding.check in ("approach", "collision") and finding.between is not None
    parts: list[str] = []
    if finding.check == "reach" and finding.gain is not None and finding.value is not None:
        parts.append(f"{in_units(abs(finding.value), finding.unit)} out of reach, limit 0 mm")
    elif not pair and finding.value is not None and finding.limit is not None:
        value, limit = in_units(finding.value, finding.unit), in_units(finding.limit, finding.unit)
        parts.append(f"measured {value}, limit {limit}")
    if finding.worst_case is not None and finding.allowances:
        parts.append(f"worst case {in_units(finding.worst_case, finding.unit)}")
    if finding.segment is not None:
        parts.append(f"during {finding.segment}")
    if finding.at is not None and cycle is not None:
        parts.append(f"{finding.at:.2f} s into cycle {cycle.number} of {cycle.seconds:.2f} s")
    if cycle is None:
        parts.append("no motion was found; the arm is drawn where it waits")
    elif finding.check == "stacking":
        parts.append("the stack is drawn as it is once this placement is down")
    if pair and finding.gain is not None and finding.between is not None:
        way = in_words(np.array(finding.gain))
        parts.append(f"{spoken(finding.between[0])} gains room: {way}")
    return "   ·   ".join(parts)


def _key(scene: Scene) -> list[tuple[Colour, str]]:
    """What the colours stand for."""
    entries: list[tuple[Colour, str]] = [(FIRST, scene.names[0]), (SECOND, scene.names[1])]
    if scene.overlap is not None:
        entries.append((OVERLAP, "in both of them"))
    if scene.swept:
        entries.append((SWEPT, scene.swept_is))
    if scene.level:
        entries.append((REACHED, "what the tool reaches at this height"))
    elif scene.wide and scene.mark is not None and scene.mark.kind == "shift":
        entries.append((PAPER, "at this height the tool reaches no place"))
    return [(colour, name) for colour, name in entries if name]


@dataclass(frozen=True, slots=True)
class _Layer:
    """What can be shown and hidden together."""

    actors: tuple[Any, ...]

    def show(self, on: bool) -> None:
        visible(self.actors, on)


class _Stage:
    """A scene on a canvas in layers: what stays, what hides the spot, what is laid over."""

    def __init__(self, canvas: Canvas, scene: Scene, view: View) -> None:
        self._canvas, self._scene = canvas, scene
        canvas.clear()
        lift = lift_of(view)
        ghosts = _ghosts(scene, view)
        building = [e.facets for e in scene.quiet if is_building(e.facets)]
        canvas.edges(building, view.towards, lift)
        pairs = list(zip(scene.quiet, ghosts, strict=True))
        stays = [e for e, ghost in pairs if not ghost and not is_building(e.facets)]
        hides = [e for e, ghost in pairs if ghost and not is_building(e.facets)]
        everything = corners(_cell(scene))
        margin = np.array([0.5, 0.5, 0.0])
        floor = canvas.floor(everything.min(axis=0) - margin, everything.max(axis=0) + margin)
        self._floor = _Layer(tuple(floor))

        def put(group: list[tuple[Facets, Colour]]) -> _Layer:
            actors: list[Any] = []
            for colour in dict.fromkeys(colour for _, colour in group):
                actors += canvas.faces([f for f, own in group if own == colour], colour)
            edges = canvas.edges([f for f, _ in group], view.towards, lift)
            return _Layer((*actors, *edges))

        picked = [(f, FIRST) for f in scene.first] + [(f, SECOND) for f in scene.second]
        around = [entry for entry in picked if is_building(entry[0])]
        picked = [entry for entry in picked if not is_building(entry[0])]
        self._stays = put([(e.facets, BY_ROLE[e.role]) for e in stays] + picked)
        self._hides = put([(e.facets, BY_ROLE[e.role]) for e in hides] + around)
        behind = pose(*(_BEHIND * view.towards))
        swept = [body.moved(behind) for body in scene.swept]
        self._swept = _Layer(tuple(canvas.faces(swept, SWEPT)))
        level = [body.moved(pose(*(-_BEHIND * view.towards))) for body in scene.level]
        self._level = _Layer(tuple(canvas.faces(level, REACHED, lit=False)))
        self._only(self._stays)

    def plain(self, view: View) -> Image:
        """The bodies, all of them, nothing laid over; what hides the spot is faint."""
        self._only(self._stays, self._hides)
        whole = self._canvas.shot(view)
        if not self._hides.actors:
            return whole
        self._only(self._stays)
        return compose.mixed(self._canvas.shot(view), whole, _INSET)

    def close(self, view: View) -> Image:
        """The bodies but for those that hide the spot, and what is in both."""
        self._only(self._stays)
        self._floor.show(False)
        return self._with_overlap(self._canvas.shot(view), view)

    def main(self, view: View) -> Image:
        """All layers."""
        self._only(self._stays)
        base = self._canvas.shot(view)
        picture = base
        if self._hides.actors:
            self._only(self._stays, self._hides)
            picture = compose.mixed(picture, self._canvas.shot(view), _GHOST)
        layers = (self._swept, SWEPT, _SWEPT), (self._level, REACHED, _LEVEL)
        for layer, colour, share in layers:
            if layer.actors:
                self._only(self._stays, layer)
                over = self._canvas.shot(view)
                area = compose.differs(base, over)
                if self._scene.swept_is == SWEPT_ROOM:  # it lies around what is picked out
                    area &= ~compose.vivid(base)
                mixed = compose.mixed(picture, over, share)
                picture = np.where(area[..., None], mixed, picture)
                picture = compose.outlined(picture, area, colour)
        return self._with_overlap(picture, view)

    def _with_overlap(self, picture: Image, view: View) -> Image:
        if self._scene.overlap is None:
            return picture
        area = compose.shadow(view.project(self._scene.overlap.points), view.size)
        return compose.outlined(compose.tinted(picture, area, OVERLAP, _OVERLAP), area, EDGE)

    def _only(self, *layers: _Layer) -> None:
        every = self._stays, self._hides, self._swept, self._level
        for layer in every:
            layer.show(layer in layers)
        self._floor.show(True)


def _ghosts(scene: Scene, view: View) -> list[bool]:
    """Which of the quiet bodies stand between the eye and the spot, or a carton picked out."""
    bodies = [entry.facets for entry in scene.quiet]
    if scene.mark is not None and scene.mark.kind != "shift":
        points = scene.mark.points
    elif scene.first:
        points = np.array([corners([body]).mean(axis=0) for body in scene.first])
    else:
        return [False] * len(bodies)
    right, up = view.axes()
    around = [points + 0.02 * (a * right + b * up) for a, b in ((0, 0), (1, 0), (-1, 0), (0, 1))]
    near = [_facing(f, view) for f in (*scene.first, *scene.second) if _extent(f) < _SMALL]
    return hiding(np.concatenate([*around, *near]), view.towards, bodies)


def _facing(body: Facets, view: View) -> Array:
    """The middle of a body, brought out to the eye, shape (1, 3) [m]."""
    low, high = body.points.min(axis=0), body.points.max(axis=0)
    middle, half = (low + high) / 2, (high - low) / 2
    out = float((half / np.maximum(np.abs(view.towards), 1e-9)).min())
    return (middle - (out + 1e-3) * view.towards)[None]


def _extent(body: Facets) -> float:
    return float(np.ptp(body.points, axis=0).max())
