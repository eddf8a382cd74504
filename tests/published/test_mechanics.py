"""Loads at the flange and cartons on suction cups, against values from outside the project."""

import numpy as np
import pytest

from envelope.cell.holding import Vacuum
from envelope.checks.suction import Wrench, cup_force, shares
from envelope.geometry.frames import pose
from envelope.geometry.inertia import MassProperties, combined, solid_box
from envelope.motion.sealing import OnTop

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


@pytest.mark.parametrize(
    ("diameter", "pressure", "newton"),
    [
        (0.050, 60e3, 117.81),
        # As reproduced in the trade: 2 in at 8.8 psi gives 27.65 lbf.
        (2 * 0.0254, 8.8 * 6894.757, 27.65 * 4.448222),
    ],
)
def test_force_of_a_cup(diameter, pressure, newton):
    """Source: pressure times area; values as reproduced, worked out again."""
    area = np.array([np.pi / 4 * diameter**2])
    assert cup_force(Vacuum(pressure, 0.0), area)[0] == pytest.approx(newton, rel=2e-4)


def used(wrench, at, height, friction=0.5, safety=1.0, force=100.0):
    """Peel and slip of cups at places, in newtons of the force of each or of all."""
    count = len(at)
    cups = OnTop(np.array(at), np.zeros((count, 2)), np.full(count, 0.02), np.ones(count))
    wrench = Wrench(np.array(wrench, float)[:, None], np.zeros((3, 1)))
    peel, slip = shares(cups, np.full(count, force), friction, wrench, height, safety)
    return peel[0] * force, slip[0] * force * count


@pytest.mark.parametrize(
    ("force", "newton"),
    [
        ((0.0, 0.0, 12 * (9.81 + 4)), 331.44),  # lifted: S m (g + a)
        ((12 * 4.0, 0.0, 12 * 9.81), 427.44),  # moved level: S m (g + a / mu)
        ((12 * (9.81 + 4), 0.0, 0.0), 662.88),  # held by its side: (S / mu) m (g + a)
    ],
)
def test_load_cases_of_suction(force, newton):
    """Source: from memory, rules of the trade; m 12 kg, a 4 m/s2, mu 0.5, S 2, g 9.81."""
    square = [(-0.1, -0.1), (0.1, -0.1), (-0.1, 0.1), (0.1, 0.1)]
    _, slip = used(force, square, height=0.0, safety=2.0)
    assert slip == pytest.approx(newton, abs=5e-3)


def test_slip_and_peel_of_a_carton_on_two_rows_of_cups():
    """Numbers worked out beforehand: slip F >= m (g + az) + m ax / mu; peel of a row of two
    cups F >= m (g + az) / 2 + m ax h / b. m 12, az 2, ax 4, mu 0.5, h 0.125, b 0.2, g 9.81.
    """
    rows = [(-0.1, -0.1), (0.1, -0.1), (-0.1, 0.1), (0.1, 0.1)]
    peel, slip = used((12 * 4.0, 0.0, 12 * (9.81 + 2)), rows, height=0.125)
    assert slip == pytest.approx(237.72, abs=5e-3)
    assert 2 * peel == pytest.approx(100.86, abs=5e-3)
