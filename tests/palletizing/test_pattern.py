"""Mirrored and turned layers: against the mirror image of the outlines themselves."""

import math

import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st

from envelope.palletizing.group import Carton, Group, Item
from envelope.palletizing.labels import labels_out
from envelope.palletizing.pattern import Release, Spot, mirrored, turned

DECK = (1.2, 0.8)
CARTON = Carton("carton", (0.3, 0.2, 0.2), 8.0)
OTHER = Carton("other", (0.25, 0.2, 0.2), 6.0)
SINGLE = Group("single", (Item(CARTON, 0.0, 0.0),), (("left",),))
PAIR = Group("pair", (Item(CARTON, -0.15, 0.0), Item(CARTON, 0.15, 0.0)), (("a",), ("b",)))
UNLIKE = Group("unlike", (Item(CARTON, -0.125, 0.0), Item(OTHER, 0.15, 0.0)), (("a",), ("b",)))

spots = st.builds(
    Spot,
    group=st.sampled_from([SINGLE, PAIR, UNLIKE]),
    x=st.floats(0.2, 1.0),
    y=st.floats(0.2, 0.6),
    yaw=st.floats(-3.1, 3.1),
    approach=st.none() | st.just((0.6, -0.8)),
)


def outlines(pattern):
    """Each carton's name and outline."""
    return [
        (carton.name, shapely.Polygon(quad))
        for spot in pattern
        for (carton, _, _), quad in zip(spot.cartons(), spot.footprints(), strict=True)
    ]


def assert_same(found, wanted):
    """The same cartons at the same places, in whatever order."""
    left = list(wanted)
    for name, quad in found:
        match = next(
            k
            for k, (other, image) in enumerate(left)
            if name == other and quad.hausdorff_distance(image) < 1e-9
        )
        del left[match]
    assert not left


@given(spot=spots, axis=st.sampled_from("xy"))
@settings(max_examples=80, deadline=None)
def test_mirrored_is_the_mirror_image(spot, axis):
    factors = (-1, 1) if axis == "x" else (1, -1)
    images = [
        (name, shapely.affinity.scale(quad, *factors, origin=(0.6, 0.4)))
        for name, quad in outlines([spot])
    ]
    assert_same(outlines(mirrored((spot,), DECK, axis)), images)


@given(spot=spots)
@settings(max_examples=40, deadline=None)
def test_turned_is_the_image_turned(spot):
    images = [
        (name, shapely.affinity.rotate(quad, 180, origin=(0.6, 0.4)))
        for name, quad in outlines([spot])
    ]
    assert_same(outlines(turned((spot,), DECK)), images)


@given(spot=spots, axis=st.sampled_from("xy"))
@settings(max_examples=40, deadline=None)
def test_twice_is_where_it_was(spot, axis):
    for again in (
        mirrored(mirrored((spot,), DECK, axis), DECK, axis),
        turned(turned((spot,), DECK), DECK),
    ):
        assert_same(outlines(again), outlines([spot]))
        assert again[0].approach == spot.approach


def test_turned_is_mirrored_both_ways():
    spot = Spot(UNLIKE, 0.4, 0.3, 0.3)
    both = mirrored(mirrored((spot,), DECK, "x"), DECK, "y")
    assert_same(outlines(both), outlines(turned((spot,), DECK)))


def test_approach_is_mirrored_along():
    spot = Spot(SINGLE, 0.4, 0.3, 0.0, approach=(0.6, -0.8))
    assert mirrored((spot,), DECK, "x")[0].approach == (-0.6, -0.8)
    assert mirrored((spot,), DECK, "y")[0].approach == (0.6, 0.8)
    assert turned((spot,), DECK)[0].approach == (-0.6, 0.8)


def test_releases_are_mirrored_carton_by_carton():
    parts = (Release((0,), 0.3, 0.2, 0.0, (1.0, 0.0)), Release((1,), 0.5, 0.5, math.pi / 2))
    spot = Spot(UNLIKE, 0.3, 0.2, 0.0, releases=parts)
    images = [
        (name, shapely.affinity.scale(quad, -1, 1, origin=(0.6, 0.4)))
        for name, quad in outlines([spot])
    ]
    image = mirrored((spot,), DECK, "x")
    assert_same(outlines(image), images)
    assert image[0].releases[0].approach == (-1.0, 0.0)
    assert [part.items for part in image[0].releases] == [(0,), (1,)]


def test_labels_still_face_out_when_mirrored():
    labelled = Carton("carton", (0.3, 0.2, 0.2), 8.0, labels=("+x",))
    group = Group("single", (Item(labelled, 0.0, 0.0),), (("left",),))
    layer = (Spot(group, 0.45, 0.4, math.pi), Spot(group, 0.75, 0.4, 0.0))
    assert all(labels_out(spot, layer) for spot in layer)
    for image in (mirrored(layer, DECK, "x"), mirrored(layer, DECK, "y"), turned(layer, DECK)):
        assert all(labels_out(spot, image) for spot in image)


def test_parts_of_a_whole_group_are_one():
    (part,) = Spot(PAIR, 0.3, 0.2, 0.1, approach=(0.0, 1.0)).parts()
    assert part == Release((0, 1), 0.3, 0.2, 0.1, (0.0, 1.0))
    assert [centre for _, centre, _ in Spot(PAIR, 0.3, 0.2, math.pi / 2).cartons()] == [
        (pytest.approx(0.3), pytest.approx(0.05)),
        (pytest.approx(0.3), pytest.approx(0.35)),
    ]
