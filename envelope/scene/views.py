"""Which part of the cell a picture shows, and how large."""

from collections.abc import Sequence

import numpy as np

from ..geometry.frames import Array
from .camera import Subject, View, look_at
from .facets import Facets
from .mark import Mark
from .subjects import Scene

_AROUND = 0.55  # [m]: parts of large bodies farther from the spot than this need not be in view
_LEAST = 0.32  # [m]: half a picture's height is never less
_MOST = 1.5  # [m]
_SPACE = 1.22  # of what must be in view
_DETAIL = 0.30  # of the detail's height is taken up by the measured length
_DETAIL_FROM = 0.012  # [m]: half height of a detail, at least
_SIDEWAYS = 0.3  # sine of the least angle between a view and a length from whose side it is taken
_FROM_BELOW = 0.05  # a view that rises more than this is taken from the other side


def corners(bodies: Sequence[Facets]) -> Array:
    """Points of bodies, shape (n, 3)."""
    return np.concatenate([body.points for body in bodies])


def fitted(towards: Array, points: Array, size: tuple[int, int], space: float = _SPACE) -> View:
    """The view along a direction in which all points are in view."""
    probe = View(towards, np.zeros(3), 1.0, size)
    right, up = probe.axes()
    flat = np.stack([points @ right, points @ up], axis=1)
    low, high = flat.min(axis=0), flat.max(axis=0)
    wide, tall = (high - low) / 2
    middle = (low + high) / 2
    depth = float((points @ towards).mean())
    focus = middle[0] * right + middle[1] * up + depth * towards
    return View(towards, focus, max(tall, wide * size[1] / size[0]) * space, size)


def direction_of(scene: Scene) -> Array:
    """From where to look at a scene."""
    mark = scene.mark
    others = [entry.facets for entry in scene.quiet]
    if mark is None or mark.kind == "shift":
        focus = corners(scene.first) if scene.first else corners(others)
        points = np.array([focus.mean(axis=0)])
        line = None if mark is None else mark.end - mark.start
        points = points if mark is None else np.array([mark.start, mark.end])
    else:
        points, line = _spread(mark), mark.end - mark.start
    if line is not None:
        size = float(np.linalg.norm(line))
        line = line / size if size > 1e-9 else None
    return look_at(Subject(points, line, scene.first, scene.second, others))


def _spread(mark: Mark) -> Array:
    """The ends of a mark, and points a little around its middle."""
    middle = mark.middle
    around = np.array([(x, y, z) for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)]) * 0.01
    return np.concatenate([[mark.start, mark.end], middle + around])


def main_view(scene: Scene, towards: Array, size: tuple[int, int]) -> View:
    """The large view: the bodies picked out, as far as they are near the spot."""
    mark = scene.mark
    picked = [*scene.first, *scene.second]
    if scene.level or scene.wide or (mark is None and scene.swept):
        arm = [e.facets for e in scene.quiet if e.role in ("arm", "tool", "pedestal")]
        ends = [] if mark is None else [mark.end[None]]
        return fitted(towards, np.concatenate([corners([*picked, *arm]), *ends]), size, 1.1)
    if mark is None:
        return _bounded(fitted(towards, corners(picked), size, 1.9), 0.7)
    middle = mark.middle
    points = corners(picked)
    near = middle + np.clip(points - middle, -_AROUND, _AROUND)
    points = np.concatenate([near, [mark.start, mark.end]])
    return _bounded(fitted(towards, points, size), _LEAST)


def _bounded(view: View, least: float) -> View:
    return View(view.towards, view.focus, float(np.clip(view.half, least, _MOST)), view.size)


def detail_view(mark: Mark, towards: Array, size: tuple[int, int]) -> View:
    """A small view of the measured length, enlarged, and from its side: it is seen in full."""
    line = mark.end - mark.start
    length = float(np.linalg.norm(line))
    half = max(length / _DETAIL / 2, _DETAIL_FROM)
    if length > 0.0:
        across = towards - float(towards @ line) / length**2 * line
        size_across = float(np.linalg.norm(across))
        if size_across > _SIDEWAYS:
            towards = across / size_across
            towards = -towards if towards[2] > _FROM_BELOW else towards
    return View(towards, mark.middle, half, size)
