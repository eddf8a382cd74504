"""The table of parts: joining, choosing, and boxes that hold what they bound."""

import numpy as np
import pytest

from envelope.geometry.bodies import Body, Box, Hull, Mesh
from envelope.geometry.distance import separation
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


def test_joining_and_choosing_change_no_distance():
    rng = np.random.default_rng(5)
    shapes = [shape(KINDS[k % 5], rng) for k in range(20)]
    whole = table(shapes)
    joined = Solids.concatenate([table(shapes[:7]), table(shapes[7:9]), table(shapes[9:])])
    order = rng.permutation(20)
    chosen = joined.take(order)
    back = np.argsort(order)
    assert joined.owner.tolist() == list(range(20))
    assert {HULL, TRIANGLE} <= set(chosen.kind.tolist())
    ia, ib = rng.integers(20, size=(2, 80))
    poses = rotations(rng, 80), rng.normal(size=(80, 3)), rotations(rng, 80)
    place = rng.normal(size=(80, 3))
    results = [
        separation(a, i, poses[0], poses[1], a, j, poses[2], place).lower.tobytes()
        for a, i, j in ((whole, ia, ib), (joined, ia, ib), (chosen, back[ia], back[ib]))
    ]
    assert results[0] == results[1] == results[2]
