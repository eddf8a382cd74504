"""Mass properties of solids, against formulas by hand and against many small pieces."""

import numpy as np
import pytest
import trimesh

from envelope.geometry.bodies import Body, Box, Capsule, Cylinder, Hull, Mesh, frozen
from envelope.geometry.frames import pose, turn
from envelope.geometry.inertia import MassProperties, combined, even_density, solid_box


def of_points(points, mass=1.0):
    """Mass properties of equal point masses, straight from the definition."""
    points = np.asarray(points)
    each = mass / len(points)
    centre = points.mean(axis=0)
    r = points - centre
    inertia = each * ((r * r).sum() * np.eye(3) - r.T @ r)
    return MassProperties(mass, frozen(centre), frozen(inertia))


def cloud(shape, rng, number=400_000):
    """Random points inside a shape: the definition, by brute force."""
    if isinstance(shape, Box):
        reach = shape.half
    else:
        end = shape.radius if isinstance(shape, Capsule) else 0.0
        reach = np.array([shape.radius, shape.radius, shape.half + end])
    points = rng.uniform(-reach, reach, (number, 3))
    if isinstance(shape, Cylinder):
        points = points[np.hypot(points[:, 0], points[:, 1]) <= shape.radius]
    if isinstance(shape, Capsule):
        beyond = np.maximum(np.abs(points[:, 2]) - shape.half, 0.0)
        points = points[(points[:, :2] ** 2).sum(axis=1) + beyond**2 <= shape.radius**2]
    volume = np.prod(2 * reach) * len(points) / number
    return of_points(points, volume)


@pytest.mark.parametrize(
    "shape",
    [Box(frozen([0.2, 0.15, 0.1])), Cylinder(0.1, 0.3), Capsule(0.1, 0.2), Capsule(0.2, 0.05)],
    ids=lambda shape: type(shape).__name__,
)
def test_round_and_square_solids_are_what_a_cloud_of_points_gives(shape):
    expected = cloud(shape, np.random.default_rng(7))
    found = even_density(Body("b", shape))
    assert found.mass == pytest.approx(expected.mass, rel=0.01)
    assert np.diag(found.inertia) == pytest.approx(np.diag(expected.inertia), rel=0.02)


def test_hulls_and_meshes_agree_with_another_library():
    mesh = trimesh.creation.icosphere(subdivisions=2, radius=0.2)
    mesh.apply_transform(pose(0.3, -0.1, 0.2, 0.4))
    mesh.apply_scale([1.0, 0.6, 1.7])
    for shape in (
        Hull(frozen(mesh.vertices)),
        Mesh(frozen(mesh.triangles), True),
        Mesh(frozen(mesh.triangles[:, ::-1]), True),  # wound inwards
    ):
        found = even_density(Body("b", shape))
        assert found.mass == pytest.approx(mesh.volume)
        assert found.centre == pytest.approx(mesh.center_mass)
        assert found.inertia == pytest.approx(mesh.moment_inertia)


def test_an_open_mesh_counts_as_the_box_around_it():
    mesh = trimesh.creation.box([0.4, 0.3, 0.2])
    found = even_density(Body("b", Mesh(frozen(mesh.triangles[1:]), False)))
    expected = solid_box(0.024, (0.4, 0.3, 0.2))
    assert found.mass == pytest.approx(expected.mass)
    assert found.inertia == pytest.approx(expected.inertia)


def test_moving_and_combining_is_what_points_give():
    rng = np.random.default_rng(3)
    first, second = rng.normal(size=(40, 3)), rng.normal(size=(40, 3)) * 2.0
    outer = pose(0.3, 0.7, -0.2)
    outer[:3, :3] = turn("z", 0.7) @ turn("x", -1.1)
    moved = (outer[:3, :3] @ second.T).T + outer[:3, 3]
    together = combined([of_points(first), of_points(second).moved(outer)])
    expected = of_points(np.concatenate([first, moved]), 2.0)
    assert together.mass == 2.0
    assert together.centre == pytest.approx(expected.centre)
    assert together.inertia == pytest.approx(expected.inertia)
    about = of_points(first).about(np.array([1.0, 2.0, 3.0]))
    far = first - [1.0, 2.0, 3.0]
    assert about == pytest.approx(((far * far).sum() * np.eye(3) - far.T @ far) / 40)


def test_nothing_has_no_mass():
    with pytest.raises(ValueError, match="nothing with a mass"):
        combined([])
