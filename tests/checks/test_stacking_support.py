"""What carries a carton. Most tests ask how one that will fall could pass."""

from dataclasses import replace

import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from envelope.cell.model import Support
from envelope.checks.standing import carried, standing
from envelope.palletizing.group import Carton, Group, Item
from tests.checks.stacked import DECK, judge, put, single


def test_carton_over_nothing():
    found = judge(put(single(), 0.2, 0.2), put(single(), 0.9, 0.5, layer=2))
    (finding,) = found["A/2/1"]
    assert (finding.verdict, finding.value, finding.unit) == ("fail", 0, "%")


@pytest.mark.parametrize("lift", [0.0002, 0.001, 0.25])
def test_carton_above_its_layer_is_not_carried(lift):
    found = judge(put(single(), 0.4, 0.4), put(single(), 0.4, 0.4, layer=2, z=0.5 + lift))
    assert found["A/2/1"][0].message == "nothing carries carton/A/2/1"
    assert judge(put(single(), 0.4, 0.4, z=0.25 + lift))["A/1/1"][0].verdict == "fail"


def test_what_is_put_down_later_carries_nothing():
    upper, lower = put(single(), 0.4, 0.4, layer=2), put(single(), 0.4, 0.4)
    assert judge(upper, lower)["A/2/1"][0].verdict == "fail"
    assert judge(lower, upper)["A/2/1"][0].verdict == "pass"


def test_carried_by_exactly_half():
    """The asked share is met, and the centre of gravity lies on the very edge."""
    loose = Support(least_area=0.5, least_corners=2)
    lower, upper = put(single(), 0.4, 0.4), put(single(), 0.6, 0.4, layer=2)
    (finding,) = judge(lower, upper, support=loose)["A/2/1"]
    assert (finding.verdict, finding.unit) == ("fail", "mm")
    assert finding.value == pytest.approx(0, abs=1e-6)
    nearer = judge(lower, replace(upper, x=0.5995), support=loose)["A/2/1"]
    assert [f.verdict for f in nearer] == ["pass"]
    assert nearer[0].value == pytest.approx(50.125)
    strict = Support(least_area=0.502, least_corners=2)
    (short,) = judge(lower, replace(upper, x=0.5995), support=strict)["A/2/1"]
    assert (short.unit, short.value) == ("%", pytest.approx(50.125))


def test_centre_of_gravity_off_the_edge():
    loose = Support(least_area=0.1, least_corners=1)
    found = judge(put(single(), 0.4, 0.4), put(single(), 0.61, 0.4, layer=2), support=loose)
    assert found["A/2/1"][0].value == pytest.approx(-10.0)
    assert "outside" in found["A/2/1"][0].message


def test_two_small_cartons_bridge_a_gap():
    """20 % of the bottom at each end: too little area, though corners and centre are held."""
    small = single(0.1, 0.3)
    ends = [put(small, 0.4, 0.4), put(small, 0.74, 0.4)]
    bridge = put(single(), 0.57, 0.4, layer=2)
    (finding,) = judge(*ends, bridge)["A/2/1"]
    assert (finding.unit, finding.value) == ("%", pytest.approx(40.0))
    (seat,) = carried(standing([*ends, bridge]), DECK)[2:]
    assert seat.corners == 4
    assert seat.centre_inside == pytest.approx(0.15)
    loose = judge(*ends, bridge, support=Support(least_area=0.3))["A/2/1"]
    assert [f.verdict for f in loose] == ["pass"]


def test_corner_of_three_over_a_hole():
    """75 % carried by three quarters: three corners, as asked; four were too many to ask."""
    quarter = single(0.2, 0.15)
    below = [put(quarter, x, y) for x, y in ((0.3, 0.325), (0.5, 0.325), (0.3, 0.475))]
    above = put(single(), 0.4, 0.4, layer=2)
    assert judge(*below, above)["A/2/1"][0].value == pytest.approx(75.0)
    (finding,) = judge(*below, above, support=Support(least_corners=4))["A/2/1"]
    assert (finding.unit, finding.value, finding.limit) == ("corners", 3, 4)


def test_lower_neighbour_does_not_carry():
    """Of a mixed layer only the tall carton does."""
    tall, low = single(0.2, 0.3, 0.25), single(0.2, 0.3, 0.2495)
    found = judge(put(tall, 0.3, 0.4), put(low, 0.5, 0.4), put(single(), 0.4, 0.4, layer=2, z=0.5))
    assert {f.unit for f in found["A/2/1"]} == {"%", "corners", "mm"}
    assert found["A/2/1"][0].value == pytest.approx(50.0)


def test_carriers_in_each_other_are_not_counted_twice():
    half = single(0.2, 0.3)
    found = judge(put(half, 0.3, 0.4), put(half, 0.3, 0.4), put(single(), 0.4, 0.4, layer=2))
    first = found["A/2/1"][0]
    assert (first.verdict, first.unit) == ("fail", "%")
    assert first.value <= 50.0


def test_deck_ends_at_its_edge():
    seat = carried(standing([put(single(), 0.1, 0.4)]), DECK)[0]
    assert (seat.share, seat.corners) == (pytest.approx(0.75), 2)
    assert seat.centre_inside == pytest.approx(0.1)


def test_worst_carton_of_a_group_counts():
    carton = Carton("carton", (0.2, 0.3, 0.25), 5.0)
    group = Group("pair", (Item(carton, -0.1, 0.0), Item(carton, 0.1, 0.0)), (("a",), ("b",)))
    found = judge(put(single(), 0.4, 0.4), put(group, 0.52, 0.4, layer=2))
    assert {f.verdict for f in found["A/2/1"]} == {"fail"}
    assert found["A/2/1"][0].value == pytest.approx(40.0)
    assert "carton/A/2/1.2" in found["A/2/1"][0].message


def test_group_with_tops_flush_leaves_the_low_carton_hanging():
    tall, low = Carton("tall", (0.2, 0.3, 0.25), 5.0), Carton("low", (0.2, 0.3, 0.2), 5.0)
    group = Group("two", (Item(tall, -0.1, 0.0), Item(low, 0.1, 0.0)), (("a",), ("b",)))
    (finding,) = judge(put(group, 0.4, 0.4))["A/1/1"]
    assert finding.message == "nothing carries carton/A/1/1.2"


@given(
    x=st.floats(0.3, 0.9),
    y=st.floats(0.2, 0.6),
    yaw=st.floats(-3.1, 3.1),
    turn=st.floats(-3.1, 3.1),
)
@settings(max_examples=150, deadline=None)
def test_support_of_turned_cartons_against_shapely(x, y, yaw, turn):
    below = [put(single(0.3, 0.2), 0.4, 0.4, yaw=turn), put(single(0.3, 0.2), 0.85, 0.4, yaw=-turn)]
    above = put(single(), x, y, layer=2, yaw=yaw)
    cartons = standing([*below, above])
    shapes = [shapely.Polygon(c.outline) for c in cartons]
    parts = [shapes[2].intersection(shape) for shape in shapes[:2]]
    # Slivers thinner than a touch are left out on purpose: see the test below.
    assume(all(part.is_empty or part.area > 1e-4 for part in parts))
    held = shapely.union_all(parts)
    seat = carried(cartons, DECK)[2]
    assert seat.share == pytest.approx(held.area / shapes[2].area, abs=1e-9)
    hull, centre = held.convex_hull, shapely.Point(x, y)
    if hull.area > 1e-6:
        inside = hull.contains(centre)
        assert (seat.centre_inside > 0) == inside or abs(seat.centre_inside) < 1e-9
        if inside:
            assert seat.centre_inside == pytest.approx(hull.exterior.distance(centre), abs=1e-9)


@pytest.mark.parametrize("sliver", [0.0, 0.00005, 0.00009])
def test_neighbour_that_only_touches_holds_neither_corner_nor_centre(sliver):
    """Carried by its left third, the right edge over the rim of another carton."""
    third, rim = single(0.2, 0.3), single(0.2, 0.3)
    above = put(single(), 0.4, 0.4, layer=2)
    below = [put(third, 0.23, 0.4), put(rim, 0.7 - sliver, 0.4)]
    seat = carried(standing([*below, above]), DECK)[2]
    assert seat.share == pytest.approx(0.325)
    assert seat.corners == 2
    assert seat.centre_inside == pytest.approx(-0.07)
    loose = Support(least_area=0.3, least_corners=2)
    assert judge(*below, above, support=loose)["A/2/1"][0].verdict == "fail"
