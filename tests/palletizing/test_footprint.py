"""Rectangles in plan, against shapely."""

import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from envelope.palletizing.footprint import area, clip, gap, hull, inside_by, rectangle

quads = st.builds(
    rectangle,
    st.tuples(st.floats(-0.4, 0.4), st.floats(-0.4, 0.4)),
    st.tuples(st.floats(0.1, 0.6), st.floats(0.1, 0.6)),
    st.floats(-4, 4) | st.sampled_from([0.0, math.pi / 2, math.pi]),
)


@given(a=quads, b=quads)
@settings(max_examples=200, deadline=None)
def test_clip_is_the_intersection(a, b):
    common = clip(a, b)
    exact = shapely.Polygon(a).intersection(shapely.Polygon(b)).area
    assert (area(common) if common else 0.0) == pytest.approx(exact, abs=1e-9)


@given(a=quads, b=quads)
@settings(max_examples=200, deadline=None)
def test_gap_tells_apart_from_overlap_and_never_too_much(a, b):
    distance = shapely.Polygon(a).distance(shapely.Polygon(b))
    if distance > 1e-9:
        assert 0.0 < gap(a, b) <= distance + 1e-9
    else:
        assert gap(a, b) <= 1e-9
    assert gap(a, b) == gap(b, a)


@given(a=quads, b=quads)
@settings(max_examples=100, deadline=None)
def test_depth_is_the_shortest_way_out(a, b):
    depth = -gap(a, b)
    if depth > 1e-6:
        ways = [((x1 - x0), (y1 - y0)) for q in (a, b) for (x0, y0), (x1, y1) in zip(q, q[1:])]  # noqa: B905, RUF007
        outs = []
        for ex, ey in ways:
            nx, ny = ey / math.hypot(ex, ey), -ex / math.hypot(ex, ey)
            for sign in (1, -1):
                moved = [
                    (x + sign * nx * (depth + 1e-9), y + sign * ny * (depth + 1e-9)) for x, y in b
                ]
                outs.append(shapely.Polygon(a).intersection(shapely.Polygon(moved)).area)
        assert min(outs) < 1e-9


@given(polygon=quads, x=st.floats(-1, 1), y=st.floats(-1, 1))
@settings(max_examples=100, deadline=None)
def test_inside_by_is_the_distance_to_the_edge(polygon, x, y):
    shape, point = shapely.Polygon(polygon), shapely.Point(x, y)
    found = inside_by((x, y), polygon)
    if shape.contains(point):
        assert found == pytest.approx(shape.exterior.distance(point), abs=1e-9)
    else:
        assert -shape.distance(point) - 1e-9 <= found <= 1e-9


# On a grid: among points 1e-16 apart the other library loses whole triangles.
ON_A_GRID = st.integers(-1000, 1000).map(lambda number: number / 1000)


@given(st.lists(st.tuples(ON_A_GRID, ON_A_GRID), min_size=3, max_size=12))
@settings(max_examples=100, deadline=None)
def test_hull_is_the_convex_hull(points):
    found = hull(points)
    exact = shapely.MultiPoint(points).convex_hull.area
    assert (area(found) if len(found) > 2 else 0.0) == pytest.approx(exact, abs=1e-9)


def test_hull_of_a_line_has_no_area():
    assert len(hull([(0.0, 0.0), (0.5, 0.5), (1.0, 1.0), (0.5, 0.5)])) < 3
