"""Does the stack stand. Most tests ask how a bad stack could pass."""

import math

import pytest
import shapely

from envelope.cell.model import Tolerances
from envelope.checks.row_growth import row_growth
from envelope.checks.standing import standing
from envelope.geometry.frames import pose
from envelope.palletizing.generators import best, column
from envelope.palletizing.group import Carton, Group, Item
from envelope.palletizing.pattern import mirrored
from envelope.palletizing.stack import build_stack
from tests.checks.stacked import DECK, judge, put, single, verdicts


def test_sound_stack_passes_with_one_finding_each():
    layer = best(single(), DECK)
    stack = build_stack("A", DECK, [layer, mirrored(layer, DECK, "x")] * 3, (0.0, -1.0))
    found = judge(*stack, max_height=0.144 + 6 * 0.25, max_load=480.0)
    assert list(found) == [p.id for p in stack]
    assert all(v == ["pass"] for v in verdicts(found).values())
    (finding,) = found["A/6/8"]
    assert (finding.check, finding.value, finding.limit, finding.unit) == ("stacking", 100, 60, "%")


def test_no_placements_no_findings():
    assert judge() == {}


@pytest.mark.parametrize(
    ("shift", "verdict"), [(0.0, "pass"), (0.00009, "pass"), (0.00011, "fail"), (0.0002, "fail")]
)
@pytest.mark.parametrize("axis", [0, 1])
def test_cartons_may_touch_and_no_more(shift, verdict, axis):
    second = [(0.6 - shift, 0.2), (0.2, 0.5 - shift)][axis]
    found = judge(put(single(), 0.2, 0.2), put(single(), *second))
    assert verdicts(found) == {"A/1/1": ["pass"], "A/1/2": [verdict]}
    if verdict == "fail":
        (finding,) = found["A/1/2"]
        assert finding.value == pytest.approx(-1000 * shift)
        assert (finding.limit, finding.unit) == (pytest.approx(-0.1), "mm")
        assert finding.between == ("carton/A/1/2", "carton/A/1/1")


@pytest.mark.parametrize(("depth", "verdict"), [(0.0005, "fail"), (-0.0005, "pass")])
def test_turned_carton_whose_corner_points_into_a_face(depth, verdict):
    yaw = math.radians(30)
    reach = 0.2 * math.cos(yaw) + 0.15 * math.sin(yaw)
    turned = put(single(), 0.4 + reach - depth, 0.25, yaw=yaw)
    corner = min(standing([turned])[0].outline)
    assert corner[0] == pytest.approx(0.4 - depth)
    assert 0.05 < corner[1] < 0.35
    (finding,) = judge(put(single(), 0.2, 0.2), turned)["A/1/2"]
    assert finding.verdict == verdict
    if verdict == "fail":
        assert finding.value == pytest.approx(-0.5)


def test_turned_cartons_whose_boxes_overlap_but_not_they():
    both = put(single(), 0.35, 0.4, yaw=math.pi / 4), put(single(), 0.74, 0.15)
    boxes = [shapely.box(*shapely.Polygon(c.outline).bounds) for c in standing(both)]
    assert boxes[0].intersection(boxes[1]).area > 0.001
    assert verdicts(judge(*both))["A/1/2"] == ["pass"]


def test_corners_may_hang_over_as_far_as_the_pallet_allows():
    found = judge(put(single(), 0.195, 0.4), overhang=0.005)["A/1/1"]
    assert [(f.verdict, f.value) for f in found] == [("pass", 98.75)]


def test_equal_cartons_at_one_place_are_found():
    found = judge(put(single(), 0.4, 0.4), put(single(), 0.4, 0.4))
    assert found["A/1/2"][0].verdict == "fail"
    assert found["A/1/2"][0].value == pytest.approx(-250)


def test_cartons_of_one_group_in_each_other():
    carton = Carton("carton", (0.4, 0.3, 0.25), 10.0)
    group = Group("pair", (Item(carton, -0.199, 0.0), Item(carton, 0.2, 0.0)), (("a",), ("b",)))
    (finding,) = judge(put(group, 0.5, 0.4))["A/1/1"]
    assert set(finding.between) == {"carton/A/1/1.1", "carton/A/1/1.2"}
    assert finding.value == pytest.approx(-1.0)


def test_carton_sunk_into_the_one_below():
    found = judge(put(single(), 0.4, 0.4), put(single(), 0.4, 0.4, layer=2, z=0.4998))
    assert found["A/2/1"][0].value == pytest.approx(-0.2)
    assert found["A/2/1"][0].between == ("carton/A/2/1", "carton/A/1/1")


def test_carton_sunk_into_the_deck():
    (first, *_) = judge(put(single(), 0.4, 0.4, z=0.2498))["A/1/1"]
    assert (first.verdict, first.between) == ("fail", ("carton/A/1/1", "pallet/A"))
    assert first.value == pytest.approx(-0.2)


@pytest.mark.parametrize(
    ("x", "y", "yaw", "over", "gain"),
    [
        (0.195, 0.4, 0.0, 5.0, (1, 0, 0)),
        (1.003, 0.4, 0.0, 3.0, (-1, 0, 0)),
        (0.6, 0.148, 0.0, 2.0, (0, 1, 0)),
        (0.6, 0.651, 0.0, 1.0, (0, -1, 0)),
        (0.149, 0.4, math.pi / 2, 1.0, (1, 0, 0)),
        (0.6, 0.56, math.pi / 4, 1000 * (0.56 + 0.35 / math.sqrt(2) - 0.8), (0, -1, 0)),
    ],
)
def test_carton_over_an_edge(x, y, yaw, over, gain):
    finding = judge(put(single(), x, y, yaw=yaw))["A/1/1"][0]
    assert (finding.verdict, finding.unit, finding.limit) == ("fail", "mm", 0)
    assert finding.value == pytest.approx(over, abs=1e-5)
    assert finding.gain == gain
    allowed = judge(put(single(), x, y, yaw=yaw), overhang=over / 1000)["A/1/1"]
    assert [f.verdict for f in allowed] == ["pass"]
    short = judge(put(single(), x, y, yaw=yaw), overhang=over / 1000 - 1e-4)["A/1/1"]
    assert short[0].verdict == "fail"
    assert short[0].value == pytest.approx(over, abs=1e-5)


def test_gain_is_told_in_the_world():
    world = pose(3.0, 1.0, 0.144, math.pi / 2)
    finding = judge(put(single(), 0.195, 0.4), world_from_pallet=world)["A/1/1"][0]
    assert finding.gain == pytest.approx((0, 1, 0))


def test_row_is_over_the_edge_by_growth_alone():
    """Three times 400 on 1200 fit as drawn, and not when each is 2 mm too long."""
    row = [put(single(), x, 0.4) for x in (0.2, 0.6, 1.0)]
    assert {v[0] for v in verdicts(judge(*row)).values()} == {"pass"}
    found = judge(*row, tolerances=Tolerances(carton_size=0.002))
    assert verdicts(found) == {"A/1/1": ["fail"], "A/1/2": ["pass"], "A/1/3": ["fail"]}
    for key in ("A/1/1", "A/1/3"):
        assert found[key][0].value == pytest.approx(6.0)
        assert "6.0 mm of it is growth of a row of 3" in found[key][0].message
    wide = judge(*row, tolerances=Tolerances(carton_size=0.002), overhang=0.006)
    assert {v[0] for v in verdicts(wide).values()} == {"pass"}


def test_growth_added_as_root_of_squares():
    row = [put(single(), x, 0.4) for x in (0.2, 0.6, 1.0)]
    tolerances = Tolerances(carton_size=0.002, added="root of squares")
    found = judge(*row, tolerances=tolerances)
    assert found["A/1/3"][0].value == pytest.approx(2 * math.sqrt(3))


def test_gaps_take_up_growth_but_never_more():
    def last(gap):
        cartons = standing([put(single(), 0.2 + k * (0.4 + gap), 0.4) for k in range(3)])
        return row_growth(cartons, Tolerances(carton_size=0.002))[2][2].length

    assert last(0.0) == pytest.approx(0.006)
    assert last(0.0005) == pytest.approx(0.005)
    assert last(0.002) == pytest.approx(0.002)
    assert last(0.05) == pytest.approx(0.002)


def test_growth_is_pushed_on_through_staggered_neighbours():
    """A brick bond: the middle one touches both of its neighbours by half."""
    cartons = standing([put(single(), 0.2, 0.2), put(single(), 0.6, 0.35), put(single(), 1.0, 0.2)])
    growths = row_growth(cartons, Tolerances(carton_size=0.002))
    assert growths[2][2].length == pytest.approx(0.006)
    assert growths[0][0].length == pytest.approx(0.006)
    assert growths[2][3].length == pytest.approx(0.002)


def test_rows_of_other_layers_do_not_push():
    cartons = standing([put(single(), 0.2, 0.4), put(single(), 0.6, 0.4, layer=2)])
    growths = row_growth(cartons, Tolerances(carton_size=0.002))
    assert growths[1][2].length == pytest.approx(0.002)


def test_height_counts_the_pallet():
    two = [put(single(), 0.4, 0.4), put(single(), 0.4, 0.4, layer=2)]
    assert verdicts(judge(*two, max_height=0.644))["A/2/1"] == ["pass"]
    found = judge(*two, max_height=0.6439)
    assert verdicts(found) == {"A/1/1": ["pass"], "A/2/1": ["fail"]}
    assert (found["A/2/1"][0].value, found["A/2/1"][0].limit) == (644, 643.9)


def test_height_reached_by_tolerance_only_is_marginal():
    two = [put(single(), 0.4, 0.4), put(single(), 0.4, 0.4, layer=2)]
    tall = Tolerances(carton_height=0.003)
    (finding,) = judge(*two, max_height=0.648, tolerances=tall)["A/2/1"]
    assert (finding.verdict, finding.value) == ("marginal", 644)
    assert "up to 650.0 mm" in finding.message
    assert verdicts(judge(*two, max_height=0.650, tolerances=tall))["A/2/1"] == ["pass"]
    assert verdicts(judge(*two, max_height=0.643, tolerances=tall))["A/2/1"] == ["fail"]


def test_load_fails_from_the_placement_that_is_too_much():
    row = [put(single(mass=9.9), x, 0.4) for x in (0.2, 0.6, 1.0)]
    assert verdicts(judge(*row, max_load=29.7))["A/1/3"] == ["pass"]
    found = judge(*row, max_load=19.0)
    assert verdicts(found) == {"A/1/1": ["pass"], "A/1/2": ["fail"], "A/1/3": ["fail"]}
    assert [found[k][0].value for k in ("A/1/2", "A/1/3")] == pytest.approx([19.8, 29.7])


def test_load_of_a_part_is_what_is_put_down():
    carton = Carton("carton", (0.2, 0.3, 0.25), 5.0)
    group = Group("pair", (Item(carton, -0.1, 0.0), Item(carton, 0.1, 0.0)), (("a",), ("b",)))
    parts = [put(group, 0.4, 0.2, items=(0,)), put(group, 0.4, 0.6, items=(1,))]
    assert verdicts(judge(*parts, max_load=10.0)) == {"A/1/1": ["pass"], "A/1/2": ["pass"]}


def test_label_to_a_neighbour_and_across_the_pallet():
    group = single(labels=("+x",))
    found = judge(put(group, 0.2, 0.4), put(group, 1.0, 0.4))
    assert verdicts(found) == {"A/1/1": ["fail"], "A/1/2": ["pass"]}
    assert "label side +x of carton/A/1/1" in found["A/1/1"][0].message
    turned = judge(put(group, 0.2, 0.4, yaw=math.pi), put(group, 1.0, 0.4))
    assert {v[0] for v in verdicts(turned).values()} == {"pass"}


def test_label_hidden_by_a_later_carton():
    found = judge(put(single(labels=("+x",)), 0.2, 0.4), put(single(), 0.6, 0.4))
    assert found["A/1/1"][0].verdict == "fail"


def test_other_layers_hide_no_label():
    group = single(labels=("+x",))
    found = judge(put(group, 0.2, 0.4), put(single(), 0.6, 0.4, layer=2, z=0.25))
    assert found["A/1/1"][0].verdict == "pass"


def test_all_that_is_wrong_is_told():
    group = single(labels=("+x",), mass=50.0)
    found = judge(
        put(group, 0.19, 0.4),
        put(group, 0.585, 0.4),
        max_height=0.3,
        max_load=40.0,
    )
    told = {key: [(f.verdict, f.unit, f.value) for f in found[key]] for key in found}
    assert told["A/1/1"] == [
        ("fail", "mm", 10),
        ("fail", "corners", 2),
        ("fail", "mm", 394),
        ("fail", "kg", 50),
        ("fail", "", None),
    ]
    assert told["A/1/2"] == [("fail", "mm", -5), ("fail", "mm", 394), ("fail", "kg", 100)]


def test_column_of_many_layers_is_quick():
    stack = build_stack("A", DECK, [column(single(0.2, 0.15, 0.1), DECK)] * 8, (0.0, -1.0))
    assert len(stack) == 240 + 16
    found = judge(*stack, tolerances=Tolerances(carton_size=0.001), overhang=0.02)
    assert {v[0] for v in verdicts(found).values()} == {"pass"}
