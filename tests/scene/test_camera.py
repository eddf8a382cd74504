"""The direction of view: what is hidden is known, and avoided."""

import numpy as np
import pytest

from envelope.geometry.bodies import Body, Box, Capsule, Cylinder, Mesh, frozen
from envelope.geometry.frames import pose
from envelope.scene.camera import Subject, View, directions, hiding, look_at
from envelope.scene.facets import crosses, facets_of
from envelope.scene.views import corners, fitted


def box(size, at):
    return facets_of(Body("box", Box(frozen(np.array(size) / 2)), frozen(pose(*at))))


def test_rays_agree_with_the_triangles_of_the_same_body():
    random = np.random.default_rng(5)
    shapes = Box(frozen([0.3, 0.2, 0.1])), Capsule(0.1, 0.2), Cylinder(0.2, 0.1)
    origin = random.uniform(-1, 1, (300, 3))
    ray = 0.2 * random.normal(size=(300, 3)) - origin
    for shape in shapes:
        solid = facets_of(Body("solid", shape))
        shell = facets_of(Body("shell", Mesh(frozen(solid.points[solid.faces]), closed=True)))
        hit = crosses(solid, origin, ray)
        assert 10 < hit.sum() < 290
        assert (hit == crosses(shell, origin, ray)).mean() > 0.99  # a grazed edge may differ


def test_a_wall_is_looked_around():
    gap = np.array([[0.0, 0.0, 0.5], [0.0, 0.0, 0.51]])
    first, second = [box((0.3, 0.3, 0.2), (0, 0, 0.61))], [box((0.3, 0.3, 0.2), (0, 0, 0.4))]
    free = look_at(Subject(gap, np.array([0, 0, 1.0]), first, second, []))
    flat = free[:2] / np.linalg.norm(free[:2])
    wall = box((0.05, 2.0, 3.0), (0, 0, 0))
    turned = np.eye(4)
    turned[:2, 0], turned[:2, 1] = -flat, [flat[1], -flat[0]]
    turned[:2, 3] = -0.6 * flat
    wall = wall.moved(turned)
    assert hiding(gap, free, [wall]) == [True]
    around = look_at(Subject(gap, np.array([0, 0, 1.0]), first, second, [wall]))
    assert hiding(gap, around, [wall]) == [False]


def test_a_measured_length_lies_across_the_view():
    gap = np.array([[0.0, 0.0, 0.5], [0.01, 0.0, 0.5]])
    towards = look_at(Subject(gap, np.array([1.0, 0, 0]), [], [], []))
    assert abs(towards[0]) < 0.5


@pytest.mark.parametrize("towards", [directions()[0], np.array([0.0, 0.0, -1.0])])
def test_a_fitted_view_has_all_points_in_the_picture(towards):
    points = corners([box((2.0, 1.0, 0.5), (0.3, 0.4, 0.5)), box((0.1, 0.1, 2.0), (1, 1, 1))])
    view = fitted(towards, points, (400, 300))
    at = view.project(points)
    assert (at > 0).all()
    assert (at < [400, 300]).all()
    assert max(np.ptp(at, axis=0) / [400, 300]) > 0.75  # and not smaller than need be


def test_a_length_across_the_view_keeps_its_length():
    view = View(np.array([0.0, 1.0, 0.0]), np.zeros(3), 0.5, (400, 300))
    at = view.project(np.array([[0.0, 0, 0], [0.1, 5.0, 0]]))
    assert np.linalg.norm(at[1] - at[0]) == pytest.approx(view.pixels(0.1)) == pytest.approx(30)
