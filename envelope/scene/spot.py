"""Where two bodies are nearest, or deepest in each other."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..geometry.distance import separation
from ..geometry.frames import Array
from ..geometry.solids import TRIANGLE, Index, Solids
from .facets import Facets, FlatError, hull

_LAYER = 1e-3  # [m]: faces this near to the nearest point count as nearest with it
_MOST = 400  # parts of a mesh that are looked at: the nearest by their boxes


@dataclass(frozen=True, slots=True, eq=False)
class Spot:
    """The place of a finding between two bodies.

    Attributes:
        first, second: Points on the bodies, shape (3,) [m]. Apart, the way from first to second
            is `distance` along `direction`; overlapping, they are the ends of what is in both
            bodies along `direction`, through its middle.
        direction: Unit vector from the first body to the second.
        distance: Positive apart, negative overlapping [m].
        overlap: What is in both bodies, where they overlap.
    """

    first: Array
    second: Array
    direction: Array
    distance: float
    overlap: Facets | None = None

    @property
    def middle(self) -> Array:
        """Half-way between the points."""
        return (self.first + self.second) / 2


@dataclass(frozen=True, slots=True, eq=False)
class Posed:
    """A body as proved distances see it: its parts at poses in the world."""

    parts: Solids
    rows: Index
    rotation: Array
    position: Array

    @staticmethod
    def of(parts: Solids, actor: int, frame: Array) -> "Posed":
        """The parts of one actor of a cast, its link at a pose world_from_link."""
        rows = np.flatnonzero(parts.owner == actor)
        rotation = frame[:3, :3] @ parts.rotation[rows]
        position = parts.position[rows] @ frame[:3, :3].T + frame[:3, 3]
        return Posed(parts, rows, rotation, position)

    def box(self) -> tuple[Array, Array]:
        """Boxes around the parts, shape (n, 3) each [m]."""
        centre = self.position + np.einsum(
            "nij,nj->ni", self.rotation, self.parts.box_centre[self.rows]
        )
        half = np.einsum("nij,nj->ni", np.abs(self.rotation), self.parts.box_half[self.rows])
        return centre - half, centre + half


def spot_between(
    first: Sequence[tuple[Posed, Facets]], second: Sequence[tuple[Posed, Facets]]
) -> Spot:
    """The nearest place of two compound bodies (each at least one body)."""
    best: tuple[float, Array, Facets, Facets] | None = None
    solid = True
    for a, a_facets in first:
        for b, b_facets in second:
            distance, direction, i, j = _nearest_parts(a, b)
            if best is None or distance < best[0]:
                parts = _part(a, a_facets, i), _part(b, b_facets, j)
                best = (distance, direction, *parts)
                solid = a_facets.convex and b_facets.convex
    if best is None:
        raise ValueError("a body has no parts")
    spot = _spot(*best)
    return spot if solid else replace(spot, overlap=None)  # of a mesh only triangles are known


def _nearest_parts(a: Posed, b: Posed) -> tuple[float, Array, int, int]:
    """Distance, direction and rows of the nearest parts of two bodies."""
    low_a, high_a = a.box()
    low_b, high_b = b.box()
    away = np.maximum(low_a[:, None] - high_b[None], low_b[None] - high_a[:, None])
    gap = np.linalg.norm(np.maximum(away, 0.0), axis=2)
    order = np.argsort(gap, axis=None, kind="stable")[:_MOST]
    i, j = np.unravel_index(order, gap.shape)
    found = separation(
        a.parts,
        a.rows[i],
        a.rotation[i],
        a.position[i],
        b.parts,
        b.rows[j],
        b.rotation[j],
        b.position[j],
        cap=10.0,
        floor=-10.0,
    )
    k = int(found.lower.argmin())
    return float(found.lower[k]), found.direction[k], int(i[k]), int(j[k])


def _part(posed: Posed, facets: Facets, row: int) -> Facets:
    """One convex part as facets: the body itself, or a triangle of a mesh made a thin plate."""
    part = int(posed.rows[row])
    if posed.parts.kind[part] != TRIANGLE:
        return facets
    corners = posed.parts.triangles[posed.parts.row[part]].T
    corners = corners @ posed.rotation[row].T + posed.position[row]
    normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
    normal = normal * (_LAYER / 20.0 / max(float(np.linalg.norm(normal)), 1e-12))
    return hull(np.concatenate([corners + normal, corners - normal]))


def _spot(distance: float, direction: Array, a: Facets, b: Facets) -> Spot:
    """The spot of two convex bodies whose signed distance and direction are known.

    Apart, the second is pushed into the first by a thin layer: the middle of what they then
    have in common is the middle of all nearest points, which for two faces is no corner.
    """
    ends = float((a.points @ direction).max()), float((b.points @ direction).min())
    push = max(ends[1] - ends[0] + _LAYER, 0.0)
    common = _common(a.planes(), b.planes() + [0.0, 0.0, 0.0, 1.0] * _pushed(b, direction, push))
    if common is None:
        ahead, behind = (a.points @ direction).argmax(), (b.points @ direction).argmin()
        middle = (a.points[ahead] + b.points[behind]) / 2
    else:
        low, high = common.points.min(axis=0), common.points.max(axis=0)
        middle = (low + high) / 2
        if push == 0.0:
            first, second = _chord(common, middle, direction)
            return Spot(first, second, direction, distance, common)
    along = float(middle @ direction)
    first, second = (middle + (end - along) * direction for end in ends)
    return Spot(first, second, direction, distance)


def _chord(body: Facets, middle: Array, direction: Array) -> tuple[Array, Array]:
    """Where a line through a convex body leaves it, ahead first: overlapping bodies' points."""
    planes = body.planes()
    room = -(planes[:, :3] @ middle + planes[:, 3])
    rate = planes[:, :3] @ direction
    ahead = float((room[rate > 1e-9] / rate[rate > 1e-9]).min(initial=1.0))
    behind = float((room[rate < -1e-9] / -rate[rate < -1e-9]).min(initial=1.0))
    return middle + ahead * direction, middle - behind * direction


def _pushed(body: Facets, direction: Array, push: float) -> Array:
    """By how much each plane's offset grows when a body moves against a direction."""
    return (body.planes()[:, :3] @ direction)[:, None] * push


def _common(a: Array, b: Array) -> Facets | None:
    """What two convex bodies, as planes of shape (n, 4), have in common; None if nothing."""
    # Slow to import, and a window opens without a problem to look at.
    from scipy.optimize import linprog  # pyright: ignore[reportUnknownVariableType]
    from scipy.spatial import HalfspaceIntersection, QhullError

    planes = np.unique(np.round(np.concatenate([a, b]), 10), axis=0)
    centre: Any = linprog(
        [0.0, 0.0, 0.0, -1.0],
        A_ub=np.column_stack([planes[:, :3], np.ones(len(planes))]),
        b_ub=-planes[:, 3],
        bounds=[(None, None)] * 3 + [(0.0, None)],
    )
    if centre.status != 0 or centre.x[3] < 1e-7:
        return None
    try:
        return hull(HalfspaceIntersection(planes, centre.x[:3]).intersections)
    except (QhullError, FlatError):  # too thin to have an inside in floats
        return None
