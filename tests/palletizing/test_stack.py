"""Stacks: ids, turns, cycles and heights; and the drawing of a layer."""

import math

import pytest

from envelope.palletizing.generators import column, pinwheel
from envelope.palletizing.group import Carton, Group, Item, carton_names
from envelope.palletizing.pattern import Release, Spot
from envelope.palletizing.stack import build_stack
from envelope.palletizing.tier_sheet import tier_sheet

DECK = (1.2, 0.8)


def test_ids_turns_and_heights(make_single):
    layer = column(make_single(), DECK)
    stack = build_stack("A", DECK, [layer, layer], (0.0, -1.0))
    assert [p.id for p in stack] == [f"A/{k}/{n}" for k in (1, 2) for n in range(1, 9)]
    assert [p.order for p in stack] == list(range(1, 17))
    assert [p.cycle for p in stack] == list(range(1, 17))
    assert [p.z for p in stack] == pytest.approx([0.25] * 8 + [0.5] * 8)
    assert {p.pallet for p in stack} == {"A"}


def test_given_order_is_kept_layer_by_layer(make_single):
    layer = column(make_single(), DECK)[::-1]
    stack = build_stack("A", DECK, [layer, layer], (0.0, -1.0), [True, False])
    assert [(p.x, p.y) for p in stack[:8]] == [(s.x, s.y) for s in layer]
    assert [(p.x, p.y) for p in stack[8:]] != [(s.x, s.y) for s in layer]
    with pytest.raises(ValueError, match="argument 2 is shorter"):
        build_stack("A", DECK, [layer, layer], (0.0, -1.0), [True])


def test_layer_stands_on_the_tallest_of_the_layer_below(make_single):
    low, high = make_single(height=0.2), make_single(height=0.3)
    mixed = (Spot(low, 0.2, 0.2, 0.0), Spot(high, 0.8, 0.2, 0.0))
    stack = build_stack("A", DECK, [mixed, (Spot(low, 0.8, 0.2, 0.0),)], (0.0, -1.0), True)
    assert [p.z for p in stack] == pytest.approx([0.2, 0.3, 0.5])


def test_group_in_parts_is_one_cycle(pair):
    parts = (Release((0,), 0.3, 0.2, 0.0), Release((1,), 0.7, 0.5, math.pi / 2, (0.0, 0.0)))
    layer = (
        Spot(pair, 0.3, 0.2, 0.0, releases=parts),
        Spot(pair, 0.9, 0.15, 0.0, approach=(1.0, 0.0)),
    )
    stack = build_stack("A", DECK, [layer], (0.0, -1.0), given_order=True)
    assert [(p.cycle, p.order, p.id, p.items) for p in stack] == [
        (1, 1, "A/1/1", (0,)),
        (1, 2, "A/1/2", (1,)),
        (2, 3, "A/1/3", (0, 1)),
    ]
    assert [p.half_turn for p in stack] == [False, False, True]
    assert [p.approach for p in stack[1:]] == [(0.0, 0.0), (1.0, 0.0)]
    (_, pose) = stack[1].carton_poses()[0]
    assert pose[:3, 3] == pytest.approx([0.7, 0.6, 0.25])


def test_part_with_the_lower_carton_stands_on_the_deck():
    """The group's top is where the cartons let go have their bottom on the layer."""
    tall, flat = Carton("tall", (0.2, 0.3, 0.3), 5.0), Carton("flat", (0.2, 0.3, 0.1), 2.0)
    group = Group("two", (Item(tall, -0.1, 0.0), Item(flat, 0.1, 0.0)), (("a",), ("b",)))
    parts = (Release((1,), 0.3, 0.2, 0.0), Release((0,), 0.8, 0.5, 0.0))
    stack = build_stack("A", DECK, [(Spot(group, 0.3, 0.2, 0.0, releases=parts),)], (0.0, -1.0))
    assert [p.z for p in stack] == pytest.approx([0.1, 0.3])


def test_deck_without_area_is_refused(make_single):
    with pytest.raises(ValueError, match="no area"):
        build_stack("A", (1.2, 0.0), [column(make_single(), DECK)], (0.0, -1.0))


def test_names_of_cartons(make_single, pair):
    layer = (Spot(make_single(), 0.2, 0.2, 0.0), Spot(pair, 0.8, 0.2, 0.0))
    one, two = build_stack("A", DECK, [layer], (0.0, -1.0), True)
    assert carton_names(one) == ("carton/A/1/1",)
    assert carton_names(two) == ("carton/A/1/2.1", "carton/A/1/2.2")


def test_drawing_shows_each_number_where_it_is(make_single):
    stack = build_stack("A", DECK, [pinwheel(make_single(), DECK)], (0.0, -1.0))
    text = tier_sheet(stack, DECK)
    lines = text.splitlines()
    assert text.isascii()
    assert max(map(len, lines)) == 60
    for placement in stack:
        number = placement.id.rsplit("/", 1)[-1]
        (row,) = [k for k, line in enumerate(lines) if number in line]
        assert lines[row].index(number) == pytest.approx(placement.x / 1.2 * 59, abs=1)
        assert row == pytest.approx((0.8 - placement.y) / 1.2 * 59 / 2, abs=1)


def test_drawing_of_turned_cartons_and_of_nothing(make_single):
    (placement,) = build_stack("A", DECK, [(Spot(make_single(), 0.6, 0.4, 0.5),)], (0.0, -1.0))
    assert "." in tier_sheet([placement], columns=40)
    assert tier_sheet([]) == ""
    assert tier_sheet([], DECK, 10).splitlines()[0] == "+--------+"
