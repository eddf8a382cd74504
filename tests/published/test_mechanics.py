"""Loads at the flange and cartons on suction cups, against values from outside the project."""

import numpy as np
import pytest

from envelope.geometry.frames import pose
from envelope.geometry.inertia import MassProperties, combined, solid_box

G = 9.80665  # [m/s2]: standard gravity, with which the numbers on loads were worked out


def gripper(mass=20.0, height=0.12):
    """A gripper of which the source gives mass and centre only: its inertia is left out here."""
    return MassProperties(mass, np.array([0.0, 0.0, height]), np.zeros((3, 3)))


def carton(x, y):
    return solid_box(12.0, (0.4, 0.3, 0.25)).moved(pose(x, y, 0.35))


@pytest.mark.parametrize(
    ("cartons", "mass", "centre", "level", "worst"),
    [
        # Source: convention common practice; numbers worked out beforehand with `trimesh`.
        ([(0.0, 0.0)], 32.0, (0, 0, 0.20625), 0.0, 64.7239),
        ([(-0.2, 0.0), (0.2, 0.0)], 44.0, (0, 0, 0.245455), 0.0, 105.9118),
        ([(0.2, 0.0)], 32.0, (0.075, 0, 0.20625), 23.536, 68.8703),
        (
            [(-0.1, 0.05), (0.3, 0.05)],
            44.0,
            (0.054545, 0.027273, 0.245455),
            26.314,
            109.1318,
        ),
    ],
)
def test_off_centre_load(cartons, mass, centre, level, worst):
    load = combined([gripper(), *(carton(x, y) for x, y in cartons)])
    assert load.mass == mass
    assert load.centre == pytest.approx(centre, abs=5e-7)
    assert load.mass * G * np.hypot(*load.centre[:2]) == pytest.approx(level, abs=5e-4)
    assert load.mass * G * np.linalg.norm(load.centre) == pytest.approx(worst, abs=5e-5)


@pytest.mark.parametrize(
    ("cartons", "inertia"),
    [
        ([(0.0, 0.0)], [[1.9105, 0, 0], [0, 1.9805, 0], [0, 0, 0.25]]),
        ([(-0.2, 0.0), (0.2, 0.0)], [[3.533, 0, 0], [0, 4.633, 0], [0, 0, 1.46]]),
        ([(0.2, 0.0)], [[1.9105, 0, -0.84], [0, 2.4605, 0], [-0.84, 0, 0.73]]),
        (
            [(-0.1, 0.05), (0.3, 0.05)],
            [[3.593, -0.12, -0.84], [-0.12, 4.873, -0.42], [-0.84, -0.42, 1.76]],
        ),
    ],
)
def test_inertia_about_the_flange_by_parallel_axes(cartons, inertia):
    """Source: numbers worked out beforehand with `trimesh`; the gripper as a point."""
    load = combined([gripper(), *(carton(x, y) for x, y in cartons)])
    assert load.about(np.zeros(3)) == pytest.approx(np.array(inertia), abs=5e-5)


def test_box_inertia():
    """Source: m (b2 + c2) / 12; numbers worked out beforehand with `trimesh`."""
    found = solid_box(10.0, (0.4, 0.3, 0.25)).inertia
    assert np.diag(found) == pytest.approx([0.127083, 0.185417, 0.208333], abs=5e-7)
    assert found == pytest.approx(np.diag(np.diag(found)))
