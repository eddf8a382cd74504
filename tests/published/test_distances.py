"""Distances exact by hand, cross-checked with coal to six decimals."""

import numpy as np
import pytest

from envelope.geometry.bodies import Box, Capsule, Shape
from envelope.geometry.distance import separation
from envelope.geometry.frames import rotate_about, turn
from tests.geometry.samples import table

CUBE = Box(np.full(3, 0.5))
CAPSULE = Capsule(0.1, 0.5)
STILL = np.eye(3)
EIGHTH = np.pi / 4
# takes the body diagonal (1, 1, 1) to the x axis
DIAGONAL = rotate_about(np.array([0.0, 1.0, -1.0]) / np.sqrt(2.0), np.arctan2(np.sqrt(2.0), 1.0))

# second solid, its rotation and place, exact distance from the first, at the origin
CASES: dict[str, tuple[Shape, Shape, np.ndarray, tuple[float, float, float], float]] = {
    "cubes, face to face": (CUBE, CUBE, STILL, (3, 0, 0), 2.0),
    "cubes, face to edge": (CUBE, CUBE, turn("z", EIGHTH), (3, 0, 0), 3 - 0.5 - np.sqrt(0.5)),
    "cubes, face to vertex": (CUBE, CUBE, DIAGONAL, (3, 0, 0), 3 - 0.5 - np.sqrt(0.75)),
    "cubes, edge to edge": (CUBE, CUBE, STILL, (2, 2, 0), np.sqrt(2.0)),
    "cubes, vertex to vertex": (CUBE, CUBE, STILL, (2, 2, 2), np.sqrt(3.0)),
    "cubes, overlapping": (CUBE, CUBE, STILL, (0.9, 0, 0), -0.1),
    "capsule upright beside a face": (CUBE, CAPSULE, STILL, (1, 0, 0), 0.4),
    "capsule end on": (CUBE, CAPSULE, turn("y", np.pi / 2), (1.5, 0, 0), 0.4),
    "capsule upright at an edge": (CUBE, CAPSULE, STILL, (1, 1, 0), np.sqrt(0.5) - 0.1),
    "skew capsules": (CAPSULE, CAPSULE, turn("x", np.pi / 2), (0.5, 0, 0), 0.3),
    "yawed carton by a block": (
        Box(np.array([0.6, 1.0, 0.5])),
        Box(np.array([0.2, 0.15, 0.125])),
        turn("z", np.radians(30)),
        (1.0, 0, 0),
        1.0 - 0.6 - 0.2 * np.cos(np.radians(30)) - 0.15 * np.sin(np.radians(30)),
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_exact_by_hand(name):
    first, second, rotation, place, exact = CASES[name]
    both = table([first, second])
    found = separation(
        both, [0], STILL[None], np.zeros((1, 3)), both, [1], rotation[None], np.array([place]), 5.0
    )
    assert found.lower[0] == pytest.approx(exact, abs=1e-9)
    assert found.upper[0] == pytest.approx(exact, abs=2e-7)
    assert found.lower[0] <= exact + 1e-12
    assert found.upper[0] >= exact - 1e-12


def test_crossed_edges():
    both = table([CUBE])
    first, second = turn("z", EIGHTH)[None], turn("y", EIGHTH)[None]
    place = np.array([[3.0, 0.0, 0.0]])
    found = separation(both, [0], first, np.zeros((1, 3)), both, [0], second, place, 5.0)
    assert found.lower[0] == pytest.approx(3 - np.sqrt(2.0), abs=1e-9)
    assert found.upper[0] == pytest.approx(3 - np.sqrt(2.0), abs=1e-9)


@pytest.mark.parametrize(
    ("name", "printed"),
    [
        ("cubes, face to edge", 1.792893),
        ("cubes, face to vertex", 1.633975),
        ("capsule upright at an edge", 0.607107),
        ("yawed carton by a block", 0.151795),
    ],
)
def test_six_decimals_as_printed(name, printed):
    assert CASES[name][4] == pytest.approx(printed, abs=5e-7)
