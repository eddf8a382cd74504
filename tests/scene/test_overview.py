"""The picture of the whole cell is taken from where what is bad is seen."""

import numpy as np
import pytest

from envelope.geometry.bodies import Body, Box, frozen
from envelope.geometry.frames import pose
from envelope.scene.camera import hidden
from envelope.scene.facets import facets_of
from envelope.scene.instant import Shown
from envelope.scene.overview import _sides, _view

AROUND = ((1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0))


def box(name, role, middle, size):
    body = Body(name, Box(frozen(np.array(size) / 2)), pose(*middle))
    return Shown(name, role, 0, facets_of(body))


@pytest.mark.parametrize("open_side", AROUND)
def test_a_carton_at_the_bottom_is_seen_from_the_side_that_is_open(open_side):
    """Walls stand on three sides of it and a stack above it; one side is free."""
    bad = box("carton/A/1/1", "carton", (0.0, 0.0, 0.2), (0.4, 0.3, 0.25))
    walls = [
        box(f"obstacle/{x}{y}", "fixed", (0.5 * x, 0.5 * y, 0.9), (0.1 + abs(y), 0.1 + abs(x), 1.8))
        for x, y in AROUND
        if (x, y) != open_side
    ]
    above = box("carton/A/2/1", "carton", (0.0, 0.0, 1.0), (0.4, 0.3, 1.3))
    shown = [bad, above, *walls]
    view = _view(shown, [bad])
    assert not hidden(_sides(bad.facets), view.towards, [entry.facets for entry in shown]).all()
    assert view.towards[:2] @ open_side < -0.3
