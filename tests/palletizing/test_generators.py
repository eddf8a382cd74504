"""Patterns by name: cartons apart, on the deck, centred, as many as promised."""

import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from envelope.palletizing.generators import MOST_GROUPS, best, brick, column, pinwheel
from envelope.palletizing.group import Carton, Group, Item

GENERATORS = (column, brick, pinwheel, best)
DECK = (1.2, 0.8)


def single(length, width):
    carton = Carton("carton", (length, width, 0.2), 10.0)
    return Group("single", (Item(carton, 0.0, 0.0),), (("left",),))


def outlines(pattern):
    return [shapely.Polygon(quad) for spot in pattern for quad in spot.footprints()]


@pytest.mark.parametrize("generator", GENERATORS)
@given(length=st.integers(180, 500), width=st.integers(120, 400), gap=st.sampled_from([0.0, 0.004]))
@settings(max_examples=25, deadline=None)
def test_cartons_lie_apart_and_on_the_deck(generator, length, width, gap):
    try:
        pattern = generator(single(length / 1000, width / 1000), DECK, gap)
    except ValueError:
        assert generator in (brick, pinwheel)
        return
    quads = outlines(pattern)
    deck = shapely.box(0, 0, *DECK).buffer(2e-6)
    assert all(deck.contains(quad) for quad in quads)
    for k, quad in enumerate(quads):
        for other in quads[:k]:
            assert quad.distance(other) >= gap - 2e-6
            assert quad.intersection(other).area < 2e-6
    x0, y0, x1, y1 = shapely.union_all(quads).bounds
    assert x0 + x1 == pytest.approx(DECK[0], abs=2e-6)
    assert y0 + y1 == pytest.approx(DECK[1], abs=2e-6)


@given(length=st.integers(180, 500), width=st.integers(120, 400))
@settings(max_examples=25, deadline=None)
def test_best_is_never_less_than_another(length, width):
    group = single(length / 1000, width / 1000)
    most = len(best(group, DECK))
    for generator in (column, brick, pinwheel):
        try:
            assert len(generator(group, DECK)) <= most
        except ValueError:
            assert generator is not column


def test_column_takes_the_way_round_that_lays_more():
    group = single(0.35, 0.25)
    ways = [len(column(group, DECK, orientation=way)) for way in ("lengthwise", "crosswise")]
    assert ways == [9, 8]
    assert len(column(group, DECK)) == 9
    assert all(spot.yaw == 0.0 for spot in column(group, DECK))


def test_a_gap_costs_the_carton_that_no_longer_fits():
    group = single(0.4, 0.3)
    assert len(column(group, DECK, orientation="lengthwise")) == 6
    assert len(column(group, DECK, gap=0.001, orientation="lengthwise")) == 4


def test_overhang_is_used_on_both_sides():
    group = single(0.41, 0.4)
    assert len(column(group, DECK, orientation="lengthwise")) == 4
    pattern = column(group, DECK, orientation="lengthwise", overhang=0.015)
    assert len(pattern) == 6
    x0, _, x1, _ = shapely.union_all(outlines(pattern)).bounds
    assert (x0, x1) == (pytest.approx(-0.015), pytest.approx(1.215))


@pytest.mark.parametrize("generator", [brick, pinwheel])
def test_bonds_use_both_ways_round(generator):
    yaws = {round(spot.yaw, 6) for spot in generator(single(0.4, 0.3), DECK)}
    assert yaws == {0.0, round(math.pi / 2, 6)}


def test_pinwheel_looks_the_same_after_half_a_turn():
    pattern = pinwheel(single(0.3, 0.2), DECK)
    places = {(round(s.x, 5), round(s.y, 5), round(s.yaw, 5)) for s in pattern}
    assert places == {(round(1.2 - x, 5), round(0.8 - y, 5), yaw) for x, y, yaw in places}


def test_orientation_sets_the_block_at_the_origin():
    group = single(0.4, 0.3)
    for generator in (brick, pinwheel):
        for way, yaw in (("lengthwise", 0.0), ("crosswise", math.pi / 2)):
            pattern = generator(group, DECK, 0.0, way)
            nearest = min(pattern, key=lambda s: (round(s.x + s.y, 6), s.x))
            assert nearest.yaw == pytest.approx(yaw)


def test_group_with_its_frame_off_its_middle_still_lies_on_the_deck(make_single):
    carton = make_single().items[0].carton
    group = Group("off", (Item(carton, 0.05, -0.02),), (("left",),))
    for generator in GENERATORS:
        quads = outlines(generator(group, DECK))
        assert all(shapely.box(0, 0, *DECK).buffer(2e-6).contains(quad) for quad in quads)


@pytest.mark.parametrize("generator", GENERATORS)
def test_what_does_not_fit_is_said(generator):
    with pytest.raises(ValueError, match="1300 x 900 mm"):
        generator(single(1.3, 0.9), DECK)


@pytest.mark.parametrize("generator", GENERATORS)
def test_crumbs_are_refused_at_once(generator):
    with pytest.raises(ValueError, match=str(MOST_GROUPS)):
        generator(single(0.001, 0.001), DECK)
