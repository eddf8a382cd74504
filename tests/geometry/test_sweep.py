"""Proved clearances over motions, tried on random scenes against dense sampling.

Each asks how a proof could be wrong and look right: a bound above what occurs between the
samples, a worst instant that is not one, a bracket wider than promised.
"""

from dataclasses import replace

import numpy as np
import pytest

pytest.importorskip("coal", exc_type=ImportError)

from envelope.geometry.sweep import certify
from tests.support.clearance_oracle import Oracle, faults
from tests.support.clearance_scenes import SLIDING, random_scene

pytestmark = pytest.mark.peer

SEEDS = range(24)


@pytest.mark.parametrize("seed", SEEDS)
def test_brackets_hold_what_dense_sampling_finds(seed):
    scene = random_scene(np.random.default_rng(seed))
    assert faults(scene, certify(scene.stage(), scene.pairs(), scene.limits), samples=40) == []


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("name", SLIDING)
def test_the_same_of_arms_that_slide(name, seed):
    scene = random_scene(np.random.default_rng(seed), (name,), chains=0.0)
    assert scene.name == name
    stage, pairs = scene.stage(), scene.pairs()
    valued = certify(stage, pairs, scene.limits)
    assert faults(scene, valued, samples=40) == []
    quick = certify(stage, pairs, scene.limits, values=False)
    assert ((valued.lower < 0.0) == (quick.lower < 0.0)).all()


@pytest.mark.parametrize("seed", SEEDS)
def test_yes_or_no_says_the_same_as_the_values(seed):
    scene = random_scene(np.random.default_rng(1000 + seed))
    stage, pairs = scene.stage(), scene.pairs()
    valued = certify(stage, pairs, scene.limits)
    quick = certify(stage, pairs, scene.limits, values=False)
    assert ((valued.lower < 0.0) == (quick.lower < 0.0)).all()
    assert (quick.lower <= valued.upper).all()
    assert (quick.upper >= valued.lower).all()


def test_the_oracle_notices_a_bound_that_is_too_high():
    noticed = 0
    for seed in range(6):
        scene = random_scene(np.random.default_rng(seed))
        found = certify(scene.stage(), scene.pairs(), scene.limits)
        found.lower[:] += 2e-3
        found.upper[:] += 2e-3
        noticed += len(faults(scene, found, samples=20)) > 0
    assert noticed >= 5


@pytest.mark.parametrize("name", SLIDING)
def test_the_oracle_notices_a_slide_that_is_left_out(name):
    """Bounds of an arm whose first slide is taken to stand still are wrong, and seen to be."""
    noticed = 0
    for seed in range(8):
        scene = random_scene(np.random.default_rng(seed), (name,), chains=0.0)
        pieces = scene.pieces
        last = pieces.last.copy()
        last[:, 0] = pieces.first[:, 0]
        stage = replace(scene, pieces=replace(pieces, last=last)).stage()
        found = certify(stage, scene.pairs(), scene.limits)
        noticed += len(faults(scene, found, samples=20)) > 0
    assert noticed >= 2


def test_the_scenes_hold_what_they_are_meant_to():
    """Near, far and deep, decided and open: a search that meets nothing proves nothing."""
    near = far = deep = failing = apart = moving = 0
    for seed in range(30):
        scene = random_scene(np.random.default_rng(seed))
        found = certify(scene.stage(), scene.pairs(), scene.limits)
        near += int(found.near.sum())
        far += int((~found.near).sum())
        deep += int((found.near & (found.upper + found.limit < -0.02)).sum())
        failing += int((found.lower < 0.0).sum())
        apart += int((found.near & (found.lower >= 0.0)).sum())
        moving += sum(scene.link[b] > 0 for _, pairs in scene.asked for _, b in pairs)
    assert min(near, far, deep, failing, apart, moving) >= 15


def test_sampling_agrees_with_the_limit_where_it_tapers():
    """The oracle's own margin, once by hand: 30 mm up, half of the taper still asked for."""
    scene = random_scene(np.random.default_rng(0))
    oracle = Oracle(scene)
    scene.limits.full[0], scene.limits.rest[0] = 0.020, 0.0
    scene.pieces.to_go[0] = 0.060, 0.0
    piece = int(scene.pieces.start[scene.asked[0][0]])
    assert piece == 0
    assert oracle.limit(0, 0, 0.5) == pytest.approx(0.012)
    assert oracle.limit(0, 0, 0.0) == pytest.approx(0.020)
