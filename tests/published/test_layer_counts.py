"""Cartons in a layer, against counts proved elsewhere.

Proved optimal by exact set packing with OR-Tools; cross-checked, not recomputed here. The
instances are classic in the literature on the pallet loading problem (Dowsland; Scheithauer
and Terno; Morabito and Morales), named from memory.
"""

import pytest
import shapely

from envelope.palletizing.five_blocks import pack_five_blocks
from envelope.palletizing.generators import best
from envelope.palletizing.group import Carton, Group, Item
from envelope.palletizing.lengths import count_bound
from envelope.palletizing.one_more import pack_more
from envelope.palletizing.packing import most_blocks

CLASSIC = [
    (22, 16, 5, 3, 23),
    (30, 22, 7, 4, 23),
    (14, 10, 3, 2, 23),
    (86, 82, 15, 11, 42),
    (42, 31, 9, 4, 35),
    (34, 23, 5, 4, 38),
    (53, 51, 9, 7, 42),
    (57, 44, 12, 5, 41),
    (40, 25, 7, 3, 47),
    (43, 26, 7, 3, 53),
    (1200, 800, 176, 135, 38),
    (1000, 1000, 205, 159, 30),
]
# Usual cartons on usual pallets [mm]; the last three in inches.
PRACTICAL = [
    (1200, 800, 600, 400, 4),
    (1200, 800, 400, 300, 8),
    (1200, 800, 350, 250, 10),
    (1200, 800, 330, 220, 11),
    (1200, 800, 290, 190, 16),
    (1200, 1000, 600, 400, 5),
    (1200, 1000, 400, 300, 10),
    (1200, 1000, 350, 250, 13),
    (1200, 1000, 330, 220, 15),
    (48 * 25.4, 40 * 25.4, 16 * 25.4, 12 * 25.4, 10),
    (48 * 25.4, 40 * 25.4, 16 * 25.4, 10 * 25.4, 12),
    (48 * 25.4, 40 * 25.4, 12 * 25.4, 8 * 25.4, 20),
]


def assert_lies_apart(blocks, room, cell):
    """Each block is a cell, inside the room, and overlaps no other: by whole numbers."""
    for k, (x, y, a, b) in enumerate(blocks):
        assert sorted((a, b)) == sorted(cell)
        assert x >= 0
        assert y >= 0
        assert x + a <= room[0]
        assert y + b <= room[1]
        for u, v, c, d in blocks[:k]:
            assert x + a <= u or u + c <= x or y + b <= v or v + d <= y


@pytest.mark.parametrize(("length", "width", "long", "wide", "count"), CLASSIC)
def test_classic_instances_reach_the_proved_count_and_no_more(length, width, long, wide, count):
    packing = most_blocks((length, width), (long, wide))
    assert len(packing.blocks) == count
    assert packing.proved
    assert packing.bound == count
    assert_lies_apart(packing.blocks, (length, width), (long, wide))


@pytest.mark.parametrize(("length", "width", "long", "wide", "count"), CLASSIC)
def test_upper_bound_never_cuts_off_a_proved_count(length, width, long, wide, count):
    assert count_bound((length, width), (long, wide)) >= count


def test_search_finds_what_five_blocks_miss():
    """43 x 26 with 7 x 3: blocks around a hole stop at 52, 53 is proved."""
    assert len(pack_five_blocks((43, 26), (7, 3))) <= 52
    found, final = pack_more((43, 26), (7, 3), 53, 500)
    assert final
    assert found is not None
    assert len(found) == 53


def test_search_proves_that_there_is_no_39th():
    """34 x 23 with 5 x 4: the bound allows 39, 38 is proved."""
    assert count_bound((34, 23), (5, 4)) == 39
    assert pack_more((34, 23), (5, 4), 39, 500) == (None, True)


@pytest.mark.parametrize(("length", "width", "long", "wide", "count"), PRACTICAL)
def test_usual_cartons_on_usual_pallets(length, width, long, wide, count):
    carton = Carton("carton", (long / 1000, wide / 1000, 0.2), 10.0)
    group = Group("single", (Item(carton, 0.0, 0.0),), (("left",),))
    pattern = best(group, (length / 1000, width / 1000))
    assert len(pattern) == count
    quads = [shapely.Polygon(quad) for spot in pattern for quad in spot.footprints()]
    deck = shapely.box(0, 0, length / 1000, width / 1000).buffer(1e-6)
    assert all(deck.contains(quad) for quad in quads)
    total = sum(quad.area for quad in quads)
    assert shapely.union_all(quads).area == pytest.approx(total, abs=1e-6)
