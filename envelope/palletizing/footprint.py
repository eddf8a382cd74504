"""Carton outlines in plan: rectangles at any yaw, clipped against each other exactly.

Polygons are tuples of corners, counter-clockwise, in metres. Plain floats and not
arrays: a layer has tens of cartons and a clip has four corners.
"""

import math
from collections.abc import Sequence

Point = tuple[float, float]
Polygon = tuple[Point, ...]
Quad = tuple[Point, Point, Point, Point]


def rectangle(centre: Point, size: Point, yaw: float) -> Quad:
    """Corners of a rectangle, counter-clockwise, from its centre, size [m] and yaw [rad]."""
    c, s = math.cos(yaw), math.sin(yaw)
    a, b = size[0] / 2, size[1] / 2
    x, y = centre
    return (
        (x - c * a + s * b, y - s * a - c * b),
        (x + c * a + s * b, y + s * a - c * b),
        (x + c * a - s * b, y + s * a + c * b),
        (x - c * a - s * b, y - s * a + c * b),
    )


def bounds(polygons: Sequence[Polygon]) -> tuple[float, float, float, float]:
    """Least x, least y, greatest x, greatest y of all corners."""
    xs = [x for polygon in polygons for x, _ in polygon]
    ys = [y for polygon in polygons for _, y in polygon]
    return min(xs), min(ys), max(xs), max(ys)


def area(polygon: Polygon) -> float:
    """Area [m2], positive when the corners run counter-clockwise."""
    return 0.5 * sum(
        x0 * y1 - x1 * y0
        for (x0, y0), (x1, y1) in zip(polygon, polygon[1:] + polygon[:1], strict=True)
    )


def clip(subject: Polygon, window: Polygon) -> Polygon:
    """Intersection of two convex polygons; empty when they do not overlap.

    Source: I. Sutherland and G. Hodgman, "Reentrant polygon clipping", CACM 17 (1974).
    """
    kept = subject
    for start, end in zip(window, window[1:] + window[:1], strict=True):
        if not kept:
            return ()
        kept = _left_of(kept, start, end)
    return kept


def _left_of(polygon: Polygon, start: Point, end: Point) -> Polygon:
    """The part of a polygon on the left of the line from start to end."""
    ex, ey = end[0] - start[0], end[1] - start[1]
    sides = [ex * (y - start[1]) - ey * (x - start[0]) for x, y in polygon]
    kept: list[Point] = []
    for k, (point, side) in enumerate(zip(polygon, sides, strict=True)):
        before, side_before = polygon[k - 1], sides[k - 1]
        if (side >= 0.0) != (side_before >= 0.0):
            t = side_before / (side_before - side)
            kept.append(
                (before[0] + t * (point[0] - before[0]), before[1] + t * (point[1] - before[1]))
            )
        if side >= 0.0:
            kept.append(point)
    return tuple(kept)


def gap(first: Polygon, second: Polygon) -> float:
    """The largest gap over the directions of both outlines' sides [m].

    Negative when they overlap: then minus the depth, exactly. When they are apart it is never
    more than the distance.
    """
    return max(_gap_beyond_sides(first, second), _gap_beyond_sides(second, first))


def _gap_beyond_sides(first: Polygon, second: Polygon) -> float:
    """The largest gap of the second outline beyond a side of the first."""
    best = -math.inf
    for (x0, y0), (x1, y1) in zip(first, first[1:] + first[:1], strict=True):
        length = math.hypot(x1 - x0, y1 - y0)
        nx, ny = (y1 - y0) / length, (x0 - x1) / length
        best = max(best, min(nx * (x - x0) + ny * (y - y0) for x, y in second))
    return best


def inside_by(point: Point, polygon: Polygon) -> float:
    """How far a point lies inside a convex polygon [m]; negative outside.

    Outside it is the distance to the nearest side's line that the point is beyond, at most
    the distance to the polygon.
    """
    x, y = point
    worst = math.inf
    for (x0, y0), (x1, y1) in zip(polygon, polygon[1:] + polygon[:1], strict=True):
        length = math.hypot(x1 - x0, y1 - y0)
        if length > 0.0:
            worst = min(worst, ((x1 - x0) * (y - y0) - (y1 - y0) * (x - x0)) / length)
    return worst


def hull(points: Sequence[Point]) -> Polygon:
    """Convex hull, counter-clockwise; fewer than three corners when it has no area.

    Source: A. M. Andrew, "Another efficient algorithm for convex hulls in two dimensions",
    Information Processing Letters 9 (1979).
    """
    ordered = sorted(set(points))
    if len(ordered) < 3:
        return tuple(ordered)
    lower, upper = _chain(ordered), _chain(ordered[::-1])
    return tuple(lower[:-1] + upper[:-1])


def _chain(points: Sequence[Point]) -> list[Point]:
    """One half of the hull: only left turns."""
    chain: list[Point] = []
    for x, y in points:
        while len(chain) >= 2:
            (x0, y0), (x1, y1) = chain[-2], chain[-1]
            if (x1 - x0) * (y - y0) - (y1 - y0) * (x - x0) > 0.0:
                break
            chain.pop()
        chain.append((x, y))
    return chain
