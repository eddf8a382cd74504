"""How deep small bodies lie in upright boxes: known by hand, face by face."""

import numpy as np
import pytest

from envelope.geometry.bodies import Body, Box, Capsule, Hull
from envelope.geometry.distance import separation
from envelope.geometry.solids import Solids

WIDTH = 2e-6
HALF = np.array([0.09, 0.10, 0.06])


def inside(rng, count):
    """Points about a centre, all within 20 mm of it, and the centre, well inside the box."""
    centre = rng.uniform(-0.6, 0.6, (count, 3)) * (HALF - 0.02)
    return centre, rng.uniform(-0.02, 0.02, (count, 8, 3))


def bracketed(shapes, places):
    """A box that stands upright against each shape, moved there."""
    count = len(shapes)
    box = Solids.of([Body("box", Box(HALF))])
    others = Solids.of([Body("", shape) for shape in shapes])
    level = np.repeat(np.eye(3)[None], count, axis=0)
    return separation(
        box,
        np.zeros(count, int),
        level,
        np.zeros((count, 3)),
        others,
        np.arange(count),
        level,
        places,
        floor=-10.0,
    )


def depth(low, high):
    """How far a body from low to high must move until it is out of the box, shape (n,)."""
    return -np.concatenate([high + HALF, HALF - low], axis=1).min(axis=1)


def test_a_hull_in_an_upright_box_is_as_deep_as_its_nearest_face():
    """The box's same corner is outermost along all axes at once: three points span nothing."""
    centre, points = inside(np.random.default_rng(0), 300)
    found = bracketed([Hull(each) for each in points], centre)
    low, high = centre + points.min(axis=1), centre + points.max(axis=1)
    expected = depth(low, high)
    assert (expected < -0.02).all()
    assert (found.lower <= expected + WIDTH).all()
    assert found.upper == pytest.approx(expected, abs=WIDTH)
    assert found.lower == pytest.approx(expected, abs=WIDTH)


def test_a_capsule_in_an_upright_box_is_too():
    centre, _ = inside(np.random.default_rng(1), 50)
    found = bracketed([Capsule(0.01, 0.01)] * 50, centre)
    reach = np.array([0.01, 0.01, 0.02])
    expected = depth(centre - reach, centre + reach)
    assert found.upper == pytest.approx(expected, abs=WIDTH)
    assert found.lower == pytest.approx(expected, abs=WIDTH)
