"""The linkage of the level-flange arm closes in every posture."""

import numpy as np
import pytest

from envelope.arm.parallelogram import LINKS, Parallelogram

ARM = Parallelogram(0.8, 0.3, 1.2, 1.3, 0.25, 0.2, 0.21, 0.06, 0.23, 0.05, 0.33)


@pytest.fixture
def places():
    """A point of a link in the base frame, in many postures."""
    q = np.random.default_rng(0).uniform(-3.0, 3.0, (200, 4))
    poses = ARM.chain().link_poses(q)

    def place(link, x, z, y=0.0):
        return (poses[:, LINKS.index(link)] @ np.array([x, y, z, 1.0]))[:, :3]

    return place


def test_parallel_bar_ends_at_the_elbow_plate(places):
    end = places("parallel bar", 0.0, 1.2)
    assert np.abs(end - places("elbow plate", -0.21, 0.06)).max() < 1e-12


def test_tie_bar_ends_at_the_wrist_plate(places):
    end = places("tie bar", 1.3, 0.0)
    assert np.abs(end - places("wrist plate", 0.05, 0.23)).max() < 1e-12


def test_drive_rod_ends_at_the_tail_of_the_forearm(places):
    assert np.abs(places("drive rod", 0.0, 0.0) - places("drive lever", -0.33, 0.0)).max() < 1e-12
    assert np.abs(places("drive rod", 0.0, 1.2) - places("forearm", -0.33, 0.0)).max() < 1e-12


def test_bars_keep_to_their_side(places):
    """No bar leaves the plane it is drawn in, whatever the motors do."""
    across = places("shoulder", 0.0, 0.0, y=1.0) - places("shoulder", 0.0, 0.0)
    for link in LINKS[2:]:
        if link == "faceplate":
            continue
        assert np.abs(places(link, 0.0, 0.0, y=1.0) - places(link, 0.0, 0.0) - across).max() < 1e-12


def test_plates_and_flange_stay_level(places):
    for link in ("elbow plate", "wrist plate", "faceplate"):
        up = places(link, 0.0, 1.0) - places(link, 0.0, 0.0)
        assert np.abs(up - np.array([0.0, 0.0, 1.0])).max() < 1e-12
