"""Orders: nothing is reached over; approaches: away from what stands."""

import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from envelope.palletizing.footprint import bounds
from envelope.palletizing.generators import best, brick, column, pinwheel
from envelope.palletizing.group import Placement
from envelope.palletizing.order import approach_direction, ordered
from envelope.palletizing.pattern import Release, Spot
from envelope.palletizing.stack import build_stack

DECK = (1.2, 0.8)
TOWARDS = [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0), (0.8, -0.6), (-0.3, 0.9)]


def boxes(pattern):
    return [bounds(spot.footprints()) for spot in pattern]


def stands_between(front, back, towards):
    """Whether the front box lies between the back one and the arm's side."""
    axis = 0 if abs(towards[0]) >= abs(towards[1]) else 1
    flank = min(front[3 - axis], back[3 - axis]) - max(front[1 - axis], back[1 - axis])
    if towards[axis] > 0:
        return flank > 1e-3 and front[axis] >= back[axis + 2] - 1e-3
    return flank > 1e-3 and front[axis + 2] <= back[axis] + 1e-3


def middle_gaps(pattern, towards):
    """How many are laid between two that stand at both sides of them."""
    axis = 1 if abs(towards[0]) >= abs(towards[1]) else 0
    down, count = [], 0
    for box in boxes(pattern):
        sides = set()
        for other in down:
            if min(box[3 - axis], other[3 - axis]) - max(box[1 - axis], other[1 - axis]) > 1e-3:
                if 0 <= round(other[axis] - box[axis + 2], 5) < 0.05:
                    sides.add(1)
                if 0 <= round(box[axis] - other[axis + 2], 5) < 0.05:
                    sides.add(-1)
        count += len(sides) == 2
        down.append(box)
    return count


@pytest.mark.parametrize("towards", TOWARDS)
@pytest.mark.parametrize("generator", [column, brick, pinwheel, best])
@pytest.mark.parametrize("size", [(0.4, 0.3), (0.29, 0.19), (0.33, 0.22), (0.176, 0.135)])
def test_nothing_is_laid_behind_what_stands(make_single, generator, size, towards):
    pattern = ordered(generator(make_single(*size), DECK), towards)
    laid = boxes(pattern)
    for k, back in enumerate(laid):
        assert not any(stands_between(front, back, towards) for front in laid[:k])


@pytest.mark.parametrize("towards", TOWARDS)
@pytest.mark.parametrize("generator", [column, pinwheel])
def test_no_group_goes_between_two_that_stand(make_single, generator, towards):
    pattern = ordered(generator(make_single(), DECK), towards)
    assert middle_gaps(pattern, towards) == 0


def test_column_goes_by_rows_far_ones_first(make_single):
    pattern = ordered(column(make_single(), DECK), (0.0, -1.0))
    places = [(round(s.x, 3), round(s.y, 3)) for s in pattern]
    assert places == [(x, y) for y in (0.6, 0.2) for x in (0.15, 0.45, 0.75, 1.05)]


def test_rows_start_at_the_end_away_from_the_arm(make_single):
    pattern = ordered(column(make_single(), DECK), (-0.5, -0.8))
    assert [round(s.x, 3) for s in pattern[:4]] == [1.05, 0.75, 0.45, 0.15]


@given(seed=st.integers(0, 10_000), noise=st.floats(0, 2e-5))
@settings(max_examples=30, deadline=None)
def test_order_depends_neither_on_the_list_nor_on_rounding(seed, noise):
    chance = random.Random(seed)
    pattern = list(best(_single(), DECK))
    wanted = [(round(s.x, 3), round(s.y, 3)) for s in ordered(tuple(pattern), (0.0, -1.0))]
    chance.shuffle(pattern)
    moved = tuple(Spot(s.group, s.x + noise * chance.random(), s.y, s.yaw) for s in pattern)
    found = [(round(s.x, 3), round(s.y, 3)) for s in ordered(moved, (0.0, -1.0))]
    assert found == wanted


def _single():
    from envelope.palletizing.group import Carton, Group, Item

    carton = Carton("carton", (0.4, 0.3, 0.25), 10.0)
    return Group("single", (Item(carton, 0.0, 0.0),), (("left",),))


def test_overlapping_outlines_still_get_an_order(make_single):
    group = make_single()
    pattern = tuple(Spot(group, 0.5, 0.4, yaw) for yaw in (0.0, 0.5, 1.0))
    assert sorted(ordered(pattern, (1.0, 0.0)), key=lambda s: s.yaw) == list(pattern)


def test_parts_of_a_group_are_ordered_by_all_their_places(pair):
    near = Release((0,), 0.3, 0.2, 0.0)
    far = Release((1,), 0.3, 0.65, 0.0)
    split = Spot(pair, 0.3, 0.2, 0.0, releases=(far, near))
    whole = Spot(pair, 0.9, 0.4, 0.0)
    assert ordered((whole, split), (0.0, -1.0)) == (split, whole)


def placed(group, x, y, yaw=0.0, layer=1, pallet="A"):
    return Placement("A/1/1", pallet, layer, 1, 1, group, (0,), x, y, 0.25, yaw)


def test_comes_straight_down_with_no_neighbour(make_single):
    assert approach_direction(placed(make_single(), 0.6, 0.4), []) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("others", "wanted"),
    [
        ([(0.2, 0.4)], (1.0, 0.0)),
        ([(1.0, 0.4)], (-1.0, 0.0)),
        ([(0.6, 0.7)], (0.0, -1.0)),
        ([(0.2, 0.4), (0.6, 0.7)], (math.sqrt(0.5), -math.sqrt(0.5))),
        ([(0.2, 0.4), (1.0, 0.4)], (0.0, 0.0)),
        ([(0.2, 0.4), (1.0, 0.4), (0.6, 0.7)], (0.0, -1.0)),
        ([(0.2, 0.4), (1.0, 0.4), (0.6, 0.7), (0.6, 0.1)], (0.0, 0.0)),
        ([(0.2, 0.7)], (0.0, 0.0)),  # at a corner only
        ([(0.2 - 0.061, 0.4)], (0.0, 0.0)),  # too far off to matter
        ([(0.2 - 0.059, 0.4)], (1.0, 0.0)),
    ],
)
def test_comes_in_away_from_neighbours(make_single, others, wanted):
    group = make_single()
    here = placed(group, 0.6, 0.4)
    found = approach_direction(here, [placed(group, x, y) for x, y in others])
    assert found == pytest.approx(wanted)


@given(yaw=st.floats(-math.pi, math.pi))
@settings(max_examples=40, deadline=None)
def test_approach_turns_with_the_pattern(yaw):
    group = _single()
    c, s = math.cos(yaw), math.sin(yaw)
    others = [placed(group, -0.4 * c, -0.4 * s, yaw), placed(group, -0.3 * s, 0.3 * c, yaw)]
    x, y = approach_direction(placed(group, 0.0, 0.0, yaw), others)
    h = math.sqrt(0.5)
    assert (x, y) == pytest.approx((h * (c + s), h * (s - c)), abs=1e-6)


def test_other_layers_and_pallets_do_not_matter(make_single):
    group = make_single()
    others = [placed(group, 0.2, 0.4, layer=2), placed(group, 0.2, 0.4, pallet="B")]
    assert approach_direction(placed(group, 0.6, 0.4), others) == (0.0, 0.0)


@pytest.mark.parametrize("generator", [column, brick, pinwheel, best])
def test_group_never_comes_in_over_a_neighbour_that_stands(make_single, generator):
    """Shifted by a little towards where it comes from, a group gets into none that stands."""
    stack = build_stack("A", DECK, [generator(make_single(0.29, 0.19), DECK)], (0.0, -1.0))
    for k, placement in enumerate(stack):
        x, y = placement.approach
        spot = Spot(placement.group, placement.x + 0.02 * x, placement.y + 0.02 * y, placement.yaw)
        a = bounds(spot.footprints())
        for other in stack[:k]:
            b = bounds(Spot(other.group, other.x, other.y, other.yaw).footprints())
            deep = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
            assert min(deep) < 1e-3
