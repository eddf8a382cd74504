"""The table of parts: one beside others, choosing, and boxes that hold what they bound."""

import numpy as np
import pytest

from envelope.geometry.bodies import Body, Box, Hull, Mesh
from envelope.geometry.distance import separation
from envelope.geometry.frames import pose
from envelope.geometry.solids import HULL, TRIANGLE, Solids, bounds
from tests.geometry.samples import KINDS, rotations, shape, table
from tests.geometry.test_distance import surface


@pytest.mark.parametrize("kind", KINDS)
def test_bounds_hold_the_solid_and_little_else(kind):
    rng = np.random.default_rng(1)
    shapes = [shape(kind, rng) for _ in range(30)]
    R, p = rotations(rng, 30), rng.normal(size=(30, 3))
    low, high = bounds(table(shapes), np.arange(30), R, p)
    for k in range(30):
        points = surface(shapes[k]) @ R[k].T + p[k]
        assert (points >= low[k] - 1e-12).all()
        assert (points <= high[k] + 1e-12).all()
        if kind != "hull":
            assert np.allclose(points.min(axis=0), low[k], rtol=0, atol=2e-3)
            assert np.allclose(points.max(axis=0), high[k], rtol=0, atol=2e-3)


def test_bounds_of_a_broken_pose_are_everywhere():
    solids = table([Box(np.ones(3)), Hull(np.eye(3)), Mesh(np.eye(3)[None], closed=False)])
    R, p = np.zeros((3, 3, 3)) + np.eye(3), np.full((3, 3), np.nan)
    low, high = bounds(solids, np.arange(3), R, p)
    assert (low == -np.inf).all()
    assert (high == np.inf).all()


@pytest.mark.parametrize("kind", KINDS)
def test_part_boxes_hold_the_part(kind):
    rng = np.random.default_rng(2)
    shapes = [shape(kind, rng) for _ in range(20)]
    solids = table(shapes)
    for k, solid in enumerate(shapes):
        outside = np.abs(surface(solid) - solids.box_centre[k]) - solids.box_half[k]
        assert outside.max() <= 1e-12


def test_a_long_hull_among_many_triangles_stays_small():
    triangles = Mesh(np.random.default_rng(3).normal(size=(20_000, 3, 3)), closed=False)
    hull = Hull(np.random.default_rng(4).normal(size=(60, 3)))
    solids = Solids.of([Body("mesh", triangles), Body("hull", hull)])
    assert sum(getattr(solids, name).nbytes for name in solids.__slots__) < 12e6


def test_choosing_changes_no_distance():
    rng = np.random.default_rng(5)
    whole = table([shape(KINDS[k % 5], rng) for k in range(20)])
    order = rng.permutation(20)
    chosen = whole.take(order)
    back = np.argsort(order)
    assert {HULL, TRIANGLE} <= set(chosen.kind.tolist())
    ia, ib = rng.integers(20, size=(2, 80))
    poses = rotations(rng, 80), rng.normal(size=(80, 3)), rotations(rng, 80)
    place = rng.normal(size=(80, 3))
    results = [
        separation(a, i, poses[0], poses[1], a, j, poses[2], place).lower.tobytes()
        for a, i, j in ((whole, ia, ib), (chosen, back[ia], back[ib]))
    ]
    assert results[0] == results[1]


def test_a_part_is_the_same_alone_and_among_others():
    rng = np.random.default_rng(6)
    shapes = [shape(KINDS[k % 5], rng) for k in range(20)]
    shapes.append(Mesh(rng.normal(size=(4, 3, 3)), closed=False))
    at = [pose(*rng.normal(size=4)) for _ in shapes]
    bodies = [Body(str(k), s, p) for k, (s, p) in enumerate(zip(shapes, at, strict=True))]
    whole = Solids.of(bodies)
    assert len(whole) == 24
    for k, body in enumerate(bodies):
        alone, mine = Solids.of([body]), np.flatnonzero(whole.owner == k)
        for name in ("kind", "half", "radius", "rotation", "position", "box_centre", "box_half"):
            assert np.array_equal(getattr(alone, name), getattr(whole, name)[mine])
        if isinstance(body.shape, Hull):
            own, row = alone.hulls[0], whole.hulls[int(whole.row[mine[0]])]
            assert np.array_equal(own, row[:, : own.shape[1]])
            assert (row[:, own.shape[1] :] == own[:, -1:]).all()
        if isinstance(body.shape, Mesh):
            assert np.array_equal(alone.triangles, whole.triangles[whole.row[mine]])
            assert np.array_equal(
                np.swapaxes(alone.triangles, 1, 2), np.asarray(body.shape.triangles)
            )
