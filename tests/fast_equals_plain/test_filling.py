"""Passing over strides that add nothing: the same cells, and much less work."""

import numpy as np
import pytest

from envelope.arm.chain import Chain, Link
from envelope.checks.cast import Actor
from envelope.geometry.bodies import Body, Box, Capsule, Cylinder, Hull
from envelope.geometry.columns import face_pairs, swept_hull, zonotope
from envelope.geometry.frames import from_fixed_angles, pose
from envelope.surveys import space_filling
from envelope.surveys.space import swept
from envelope.surveys.space_motions import Motion, Motions, Moving

SHAPES = {
    "box": Box(np.array([0.4, 0.15, 0.1])),
    "capsule": Capsule(0.08, 0.5),
    "cylinder": Cylinder(0.12, 0.35),
    "hull": Hull(np.array([[0, 0, 0], [0.4, 0, 0], [0, 0.3, 0], [0, 0, 0.5], [0.2, 0.2, 0.3]])),
}


def motions(shapes) -> tuple[Chain, Motions]:
    """Bodies that go over much the same ground a dozen times."""
    links = (
        Link("turn", 0, np.zeros(3), np.array([0.0, 0.0, 1.0]), 0),
        Link("lean", 1, np.array([0.2, 0.0, 0.3]), np.array([0.0, 1.0, 0.0]), 1),
    )
    rng = np.random.default_rng(3)
    rows = [np.stack([rng.uniform(-0.2, 0.2, 2), rng.uniform(0.9, 1.3, 2)]) for _ in range(12)]
    at = pose(0.6, 0.1, 0.2)
    at[:3, :3] = from_fixed_angles(0.4, 1.0, 0.2)
    moving = tuple(
        Moving(Actor(name, "arm", 2), Body(name, shape, at), dict.fromkeys(range(12)))
        for name, shape in shapes.items()
    )
    ways = tuple(Motion(joints, "A/1/1", "transfer") for joints in rows)
    return Chain(links, 2, 2, np.eye(4)), Motions(ways, moving, ())


@pytest.mark.parametrize("names", [*((name,) for name in SHAPES), tuple(SHAPES)])
def test_the_same_cells_with_less_work(names, monkeypatch):
    monkeypatch.setattr(space_filling, "_FIRST", 30)
    chain, ways = motions({name: SHAPES[name] for name in names})
    found = swept(chain, np.eye(4), ways, 0.06)
    bodies = [moving.body for moving in ways.moving]
    fast, slow = (
        space_filling.fill(found.grid, bodies, found.strides, passing=passing)
        for passing in (True, False)
    )
    assert np.array_equal(fast.taken, slow.taken)
    assert np.array_equal(fast.taken, found.taken)
    assert slow.worked[0] == slow.worked[1] == fast.worked[1]
    if len(names) > 1:  # a lone slender body leaves the corners of its boxes free
        assert fast.worked[0] < 0.75 * fast.worked[1]


@pytest.mark.parametrize("seed", range(5))
def test_planes_of_a_hull_that_are_alike_count_once(seed):
    """A box as a hull: its intervals are those of the box, swept and grown."""
    rng = np.random.default_rng(seed)
    turned = from_fixed_angles(*rng.uniform(-2, 2, 3))
    half = rng.uniform(0.1, 0.4, 3)
    signs = np.array([(x, y, z) for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)])
    corners = (signs * half) @ turned.T
    segments = np.concatenate([rng.uniform(-0.2, 0.2, (1, 3)), 0.02 * np.eye(3)])
    x = np.linspace(-0.8, 0.8, 33)[None]
    y = np.linspace(-0.8, 0.8, 31)[None]
    spans = np.concatenate([turned.T * half[:, None], segments])[None]
    low, high = swept_hull(corners[None], segments[None], x, y)
    wanted = zonotope(spans, face_pairs(7), x, y)
    hit = wanted[0] <= wanted[1]
    assert hit.sum() > 20
    assert np.array_equal(hit, low <= high)
    assert np.abs(low - wanted[0])[hit].max() < 1e-6
    assert np.abs(high - wanted[1])[hit].max() < 1e-6
