"""Where two bodies are nearest: known places, and what both have in common."""

import numpy as np
import pytest

from envelope.geometry.bodies import Body, Box, Capsule, Mesh, frozen
from envelope.geometry.frames import pose
from envelope.geometry.solids import Solids
from envelope.scene.facets import facets_of
from envelope.scene.spot import Posed, spot_between


def side(*bodies):
    parts = Solids.of(bodies)
    return [(Posed.of(parts, i, np.eye(4)), facets_of(body)) for i, body in enumerate(bodies)]


def box(size, at):
    return Body("box", Box(frozen(np.array(size) / 2)), frozen(pose(*at)))


def test_two_faces_are_measured_in_the_middle_of_what_faces():
    spot = spot_between(
        side(box((0.4, 0.4, 0.2), (0, 0, 0.5))), side(box((0.4, 0.4, 0.2), (0.3, 0, 0.2)))
    )
    assert spot.distance == pytest.approx(0.1, abs=1e-6)
    assert spot.first == pytest.approx([0.15, 0.0, 0.4], abs=1e-3)
    assert spot.second == pytest.approx([0.15, 0.0, 0.3], abs=1e-3)
    assert spot.overlap is None


def test_an_overlap_is_the_common_box():
    spot = spot_between(
        side(box((0.4, 0.4, 0.4), (0, 0, 0))), side(box((0.4, 0.4, 0.4), (0.37, 0.1, 0)))
    )
    assert spot.distance == pytest.approx(-0.03, abs=1e-6)
    low, high = spot.overlap.points.min(axis=0), spot.overlap.points.max(axis=0)
    assert low == pytest.approx([0.17, -0.1, -0.2], abs=1e-9)
    assert high == pytest.approx([0.2, 0.2, 0.2], abs=1e-9)
    assert np.linalg.norm(spot.first - spot.second) == pytest.approx(0.03, abs=1e-6)


def test_of_compound_bodies_it_is_the_nearest_part():
    near, far = box((0.1, 0.1, 0.1), (0.3, 0, 0)), box((0.1, 0.1, 0.1), (0, 0.9, 0))
    spot = spot_between(side(far, near), side(box((0.1, 0.1, 0.1), (0.5, 0, 0))))
    assert spot.distance == pytest.approx(0.1, abs=1e-6)
    assert spot.first == pytest.approx([0.35, 0, 0], abs=2e-3)


def test_a_mesh_is_met_at_its_triangle_and_has_no_common_body():
    triangle = np.array([[[0, 0, 0], [1, 0, 0], [0, 1, 0]]], dtype=float)
    sheet = Body("sheet", Mesh(frozen(triangle), closed=False))
    ball = Body("ball", Capsule(0.1, 0.0), frozen(pose(0.2, 0.2, 0.3)))
    spot = spot_between(side(ball), side(sheet))
    assert spot.distance == pytest.approx(0.2, abs=1e-5)
    assert spot.middle == pytest.approx([0.2, 0.2, 0.1], abs=5e-3)
    through = spot_between(side(box((0.1, 0.1, 0.1), (0.2, 0.2, 0))), side(sheet))
    assert through.distance < 0
    assert through.overlap is None
