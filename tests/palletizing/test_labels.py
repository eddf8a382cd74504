"""Label sides: out or not, and when a group may be turned by half."""

import math

import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st

from envelope.palletizing.footprint import rectangle
from envelope.palletizing.generators import column
from envelope.palletizing.group import Carton, Group, Item
from envelope.palletizing.labels import face_labels_out, faces_out, labels_out, may_half_turn
from envelope.palletizing.pattern import Spot

CARTON = Carton("carton", (0.4, 0.3, 0.25), 10.0)


@given(
    yaw=st.floats(-3.1, 3.1),
    side=st.sampled_from(["+x", "-x", "+y", "-y"]),
    centre=st.tuples(st.floats(-1, 1), st.floats(-1, 1)),
    turn=st.floats(-3.1, 3.1),
)
@settings(max_examples=200, deadline=None)
def test_a_side_faces_out_unless_the_strip_before_it_is_met(yaw, side, centre, turn):
    other = shapely.Polygon(rectangle(centre, (0.4, 0.3), turn))
    half = (0.15 if side[1] == "x" else 0.2) - 1e-4
    ahead = (0.2 if side[1] == "x" else 0.15) - 1e-4
    degrees = {"+x": 0, "+y": 90, "-x": 180, "-y": 270}[side]
    strip = shapely.box(ahead, -half, 9, half)
    strip = shapely.affinity.rotate(strip, degrees + math.degrees(yaw), origin=(0, 0))
    common = strip.intersection(other).area
    if 0 < common < 1e-9:
        return  # neither side of the line is right
    found = faces_out(CARTON, side, (0.0, 0.0), yaw, [rectangle(centre, (0.4, 0.3), turn)])
    assert found == (common == 0)


def test_far_neighbour_hides_a_label_too(make_single):
    """Across the pallet is not outside."""
    group = make_single(labels=("+x",))
    layer = (Spot(group, 0.2, 0.4, 0.0), Spot(group, 1.0, 0.4, 0.0))
    assert [labels_out(spot, layer) for spot in layer] == [False, True]


def test_group_hides_its_own_labels():
    carton = Carton("carton", (0.2, 0.3, 0.25), 5.0, labels=("+x",))
    items = (Item(carton, -0.1, 0.0), Item(carton, 0.1, 0.0))
    spot = Spot(Group("pair", items, (("a",), ("b",))), 0.3, 0.3, 0.0)
    assert not labels_out(spot, (spot,))


def test_every_labelled_side_counts(make_single):
    both = make_single(labels=("+x", "-x"))
    layer = (Spot(both, 0.2, 0.4, 0.0), Spot(both, 0.6, 0.4, 0.0))
    assert not any(labels_out(spot, layer) for spot in layer)


def test_generator_turns_labels_out(make_single):
    deck = (0.8, 0.8)
    pattern = column(make_single(labels=("-x",)), deck, orientation="lengthwise")
    assert len(pattern) == 4
    assert all(labels_out(spot, pattern) for spot in pattern)
    assert {round(math.cos(spot.yaw)) for spot in pattern} == {1, -1}


def test_enclosed_carton_cannot_show_a_label(make_single):
    pattern = column(make_single(labels=("-x",)), (1.2, 0.9), orientation="lengthwise")
    middle = min(pattern, key=lambda s: math.dist((s.x, s.y), (0.6, 0.45)))
    assert not labels_out(middle, pattern)


def test_unlike_group_is_not_turned_for_its_labels():
    labelled = Carton("carton", (0.2, 0.3, 0.25), 5.0, labels=("-x",))
    plain = Carton("plain", (0.2, 0.3, 0.25), 5.0)
    group = Group("two", (Item(labelled, 0.1, 0.0), Item(plain, -0.1, 0.0)), (("a",), ("b",)))
    spot = Spot(group, 0.3, 0.3, 0.0)
    assert face_labels_out((spot,)) == (spot,)
    assert not labels_out(spot, (spot,))


@pytest.mark.parametrize(
    ("items", "wanted"),
    [
        ((Item(CARTON, 0.0, 0.0),), True),
        ((Item(CARTON, -0.2, 0.0), Item(CARTON, 0.2, 0.0)), True),
        ((Item(CARTON, -0.2, 0.0), Item(CARTON, 0.2, 0.0, math.pi)), True),
        ((Item(CARTON, -0.2, 0.0), Item(CARTON, 0.2, 0.0, math.pi / 2)), False),
        ((Item(CARTON, 0.01, 0.0),), False),
        ((Item(CARTON, -0.2, 0.02), Item(CARTON, 0.2, 0.0)), False),
        ((Item(CARTON, -0.2, 0.0), Item(Carton("b", CARTON.size, 9.0), 0.2, 0.0)), False),
    ],
)
def test_half_turn_needs_a_group_that_looks_the_same(items, wanted):
    spot = Spot(Group("group", items, (("a",),) * len(items)), 0.6, 0.4, 0.3)
    assert may_half_turn(spot, (spot,)) == wanted


def test_half_turn_must_not_hide_a_label(make_single):
    group = make_single(labels=("+x",))
    layer = (Spot(group, 0.2, 0.4, math.pi), Spot(group, 0.6, 0.4, 0.0))
    assert all(labels_out(spot, layer) for spot in layer)
    assert not any(may_half_turn(spot, layer) for spot in layer)
    alone = layer[:1]
    assert may_half_turn(alone[0], alone)
