"""Cartons and groups that the tests of this folder share."""

import pytest

from envelope.palletizing.group import Carton, Group, Item


@pytest.fixture
def make_single():
    """A group of one carton of a size, with labels."""

    def make(length=0.4, width=0.3, height=0.25, labels=()):
        carton = Carton("carton", (length, width, height), 10.0, labels)
        return Group("single", (Item(carton, 0.0, 0.0),), (("left",),))

    return make


@pytest.fixture
def pair():
    """Two equal cartons side by side along x."""
    carton = Carton("carton", (0.2, 0.3, 0.25), 5.0)
    items = (Item(carton, -0.1, 0.0), Item(carton, 0.1, 0.0))
    return Group("pair", items, (("left",), ("right",)))
