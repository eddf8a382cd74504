"""Triangles of joints: every way within them is covered, and no more than that is feared."""

import numpy as np
import pytest

from envelope.arm.travel import Travel
from envelope.cell.load import load_arm
from envelope.geometry.bodies import Body, Box, Capsule, frozen
from envelope.geometry.distance import apart
from envelope.geometry.frames import pose
from envelope.geometry.queries import Limits, Pairs
from envelope.geometry.solids import Solids
from envelope.geometry.stage import Pieces, Stage
from envelope.geometry.sweep import COARSE, certify

ARMS = ("spherical-1300-12", "offset-wrist-1300-12", "palletizer-3000-160")
NO_LIMIT = Limits(np.zeros(1), np.zeros(1), np.zeros(1), 0.05)


def staged(name, corners, obstacle):
    """A box on the flange of an arm and one obstacle, over one triangle of joints."""
    arm = load_arm(name)
    carried = Body("carried", Box(frozen([0.2, 0.15, 0.1])), frozen(pose(z=0.2)))
    parts = Solids.of([carried, obstacle])
    link = np.array([arm.chain.flange_link, 0])
    pieces = Pieces(
        np.array([0, 1]),
        corners[None, 0],
        corners[None, 1],
        np.full((1, 2), 10.0),
        corners[None, 2],
    )
    return Stage(Travel(arm.chain), parts, link, pieces)


def gap_at(stage, q):
    """Distances of the two parts at joints, shape (n, dof)."""
    frames = stage.mover.frames(q)
    count = len(q)
    first, second = np.zeros(count, int), np.ones(count, int)
    at = np.arange(len(frames))
    moving, still = (stage.posed(frames, at, part, None) for part in (first, second))
    return apart(moving, still, 9.0, -0.02).upper


def random_case(seed):
    rng = np.random.default_rng(seed)
    name = ARMS[seed % len(ARMS)]
    arm = load_arm(name)
    low, high = (np.array([getattr(j, side) for j in arm.joints]) for side in ("lower", "upper"))
    centre = low + (high - low) * rng.uniform(0.3, 0.7, arm.dof)
    corners = centre + rng.normal(size=(3, arm.dof)) * rng.choice([0.03, 0.15, 0.5])
    at = arm.chain.flange_poses(centre[None])[0, :3, 3] + rng.normal(size=3) * 0.3
    shape = Box(frozen(rng.uniform(0.02, 0.3, 3))) if seed % 2 else Capsule(0.05, 0.3)
    return staged(name, corners, Body("obstacle", shape, frozen(pose(*at)))), corners, rng


@pytest.mark.parametrize("seed", range(24))
def test_no_way_within_a_triangle_comes_nearer_than_told(seed):
    stage, corners, rng = random_case(seed)
    pairs = Pairs(*(np.array([k]) for k in (0, 0, 1, 0)))
    found = certify(stage, pairs, NO_LIMIT)
    weights = rng.dirichlet(np.full(3, 0.7), 4000)
    edge = np.linspace(0.0, 1.0, 200)
    rows = [
        np.stack([edge, 1.0 - edge, 0.0 * edge], 1)[:, order] for order in ((0, 1, 2), (1, 2, 0))
    ]
    gaps = gap_at(stage, np.concatenate([weights, *rows]) @ corners)
    assert found.lower[0] <= gaps.min() + 1e-9
    if found.near[0] and found.upper[0] > -0.02:
        assert found.upper[0] - found.lower[0] <= COARSE + 1e-9
        # what is told to occur must lie in the triangle: not far below all that was looked at
        assert found.upper[0] >= gaps.min() - 0.02


def test_the_room_inside_a_corner_counts_although_its_edges_are_free():
    """A post inside the corner is passed by both edges, but not by every way round."""
    arm = load_arm("spherical-1300-12")
    low, high = [0.2, 0.4, 0, 0.9, 0], [0.9, 0.2, 0, 0.5, 0]
    corners = np.array([[-1.0, *low], [0.0, *high], [1.0, *low]])
    links = arm.chain.link_poses(corners.mean(axis=0, keepdims=True))[0]
    middle = (links[arm.chain.flange_link] @ pose(z=0.2))[:3, 3]
    stage = staged(
        "spherical-1300-12", corners, Body("post", Capsule(0.01, 0.02), frozen(pose(*middle)))
    )
    pairs = Pairs(*(np.array([k]) for k in (0, 0, 1, 0)))
    assert certify(stage, pairs, NO_LIMIT).upper[0] < 0.0
    edge = np.linspace(0.0, 1.0, 300)[:, None]
    for a, b in ((0, 1), (1, 2)):
        assert gap_at(stage, corners[a] + edge * (corners[b] - corners[a])).min() > 0.01
