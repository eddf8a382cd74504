"""Where to look from: parallel projection, chosen so that the spot is in view and not hidden."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from ..geometry.frames import Array
from .facets import Facets, Mask, crosses

_TURNS = 24  # directions around
_RISES = (18.0, 32.0, 48.0)  # [deg] above the horizon
_BEST_RISE = 30.0  # [deg]: what people are used to look at
_FIRST_TURN = 217.5  # [deg]: which of two equally good views is taken
UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """A parallel projection.

    Attributes:
        towards: Unit direction of view, shape (3,).
        focus: The point in the middle of the picture, shape (3,) [m].
        half: Half of the picture's height [m].
        size: Width and height [px].
    """

    towards: Array
    focus: Array
    half: float
    size: tuple[int, int]

    def axes(self) -> tuple[Array, Array]:
        """Unit vectors to the right and up in the picture."""
        right = np.cross(self.towards, UP)
        size = float(np.linalg.norm(right))
        # seen from above, x is to the right
        right = right / size if size > 1e-6 else np.array([1.0, 0.0, 0.0])
        return right, np.cross(right, self.towards)

    def project(self, points: Array) -> Array:
        """Points, shape (..., 3) [m], in the picture, shape (..., 2) [px], y down."""
        right, up = self.axes()
        scale = self.size[1] / 2 / self.half
        away = points - self.focus
        across = self.size[0] / 2 + scale * (away @ right)
        return np.stack([across, self.size[1] / 2 - scale * (away @ up)], axis=-1)

    def pixels(self, length: float) -> float:
        """How many pixels a length [m] across the view takes up."""
        return length * self.size[1] / 2 / self.half


def directions() -> Array:
    """All directions of view that are tried, shape (n, 3), in a fixed order."""
    found: list[Array] = []
    for rise in np.radians(_RISES):
        for turn in np.radians(_FIRST_TURN) + np.arange(_TURNS) * 2.0 * np.pi / _TURNS:
            flat = np.cos(rise)
            found.append(-np.array([flat * np.cos(turn), flat * np.sin(turn), np.sin(rise)]))
    return np.array(found)


@dataclass(frozen=True, slots=True, eq=False)
class Subject:
    """What a picture is about.

    Attributes:
        points: Places that must be seen, shape (n, 3) [m].
        line: Direction that should lie across the view, or None.
        first, second: The bodies picked out; they may not hide each other's place.
        others: Everything else.
    """

    points: Array
    line: Array | None
    first: Sequence[Facets]
    second: Sequence[Facets]
    others: Sequence[Facets]


def look_at(subject: Subject) -> Array:
    """The direction of view in which the subject is seen best. The first of equals."""
    views = directions()
    clear = 1.0 - _hidden(subject.points, views, subject.others).mean(axis=1)
    own = [*subject.first, *subject.second]
    plain = 1.0 - _hidden(subject.points, views, own).mean(axis=1)
    score = 3.0 * clear + 1.5 * plain
    for bodies in (subject.first, subject.second):
        score += _shares_seen(bodies, views, subject.others)
    if subject.line is not None:
        score += 1.2 * np.linalg.norm(np.cross(views, subject.line), axis=1)
    score += 0.3 * np.abs(views[:, 0] * views[:, 1])  # along a wall of the cell all looks flat
    rise = np.degrees(np.arcsin(-views[:, 2]))
    score -= 0.01 * np.abs(rise - _BEST_RISE)
    return views[int((score * 1e9).astype(np.int64).argmax())]


def hiding(points: Array, towards: Array, others: Iterable[Facets]) -> list[bool]:
    """For each of the others, whether it hides any of the points, seen along a direction."""
    back = np.repeat(-towards[None], len(points), axis=0)
    return [bool(crosses(body, points, back).any()) for body in others]


def hidden(points: Array, towards: Array, bodies: Sequence[Facets]) -> Mask:
    """Which points, shape (n, 3) [m], bodies hide, seen along a direction."""
    return _hidden(points, towards[None], bodies)[0]


def _shares_seen(bodies: Sequence[Facets], views: Array, others: Sequence[Facets]) -> Array:
    """Share of the bodies' corners that nothing else hides, for each view, shape (n,)."""
    if not bodies:
        return np.zeros(len(views))
    corners = np.concatenate([body.points for body in bodies])
    step = max(len(corners) // 12, 1)
    return 1.0 - _hidden(corners[::step], views, others).mean(axis=1)


def _hidden(points: Array, views: Array, bodies: Iterable[Facets]) -> Mask:
    """Whether points are hidden by bodies, for each view, shape (views, points)."""
    origin = np.tile(points, (len(views), 1))
    back = np.repeat(-views, len(points), axis=0)
    hidden = np.zeros(len(origin), dtype=bool)
    for body in bodies:
        centre = (body.points.min(axis=0) + body.points.max(axis=0)) / 2
        radius = float(np.linalg.norm(body.points - centre, axis=1).max())
        away = centre - origin
        along = (away * back).sum(axis=1)
        near = (away * away).sum(axis=1) - along * np.maximum(along, 0.0) <= radius**2
        rows = np.flatnonzero(near & ~hidden)
        if len(rows):
            hidden[rows] |= crosses(body, origin[rows], back[rows])
    return hidden.reshape(len(views), len(points))
