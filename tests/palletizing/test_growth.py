"""The room a carton takes while it hangs on the lips."""

from dataclasses import replace

import numpy as np
import pytest

from envelope.geometry.frames import rotate_about
from envelope.palletizing.group import Carton

PLAIN = Carton("tea", (0.4, 0.3, 0.25), 6.0)


def test_a_stiff_carton_takes_no_more_room_than_at_rest():
    assert PLAIN.growth() == (0.0, 0.0)


def test_bulge_and_sag_are_taken_as_told():
    assert replace(PLAIN, bulge=0.004, sag=0.007).growth() == (0.004, 0.007)


@pytest.mark.parametrize("tilt", [0.5, 2.0, 10.0])
def test_no_corner_of_a_tilted_carton_leaves_the_grown_box(tilt):
    carton = replace(PLAIN, tilt=np.radians(tilt))
    side, below = carton.growth()
    half = np.array(carton.size) / 2
    signs = np.array(np.meshgrid((-1, 1), (-1, 1), (-1, 1))).reshape(3, 8).T
    corners = signs * half - [0.0, 0.0, half[2]]
    most = np.zeros(2)
    for angle in np.linspace(0.0, 2.0 * np.pi, 73):
        axis = np.array([np.cos(angle), np.sin(angle), 0.0])
        turned = corners @ rotate_about(axis, np.array(carton.tilt)).T
        assert (np.abs(turned[:, :2]) <= half[:2] + side + 1e-12).all()
        assert (turned[:, 2] >= -carton.size[2] - below - 1e-12).all()
        reached = (np.abs(turned[:, :2]) - half[:2]).max(), (-turned[:, 2]).max() - carton.size[2]
        most = np.maximum(most, reached)
    assert most == pytest.approx([side, below], rel=0.2)
