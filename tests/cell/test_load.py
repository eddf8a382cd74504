"""Where things stand once a cell is read, and what is said about what was left out."""

import math
from pathlib import Path

import numpy as np
import pytest

from envelope.cell.load import arm_names, load, load_arm, load_tool, tool_names
from envelope.cell.shapes import bounds

ACCEPTED = Path(__file__).parents[1] / "cells" / "accepted"


@pytest.fixture(scope="module")
def single():
    return load(ACCEPTED / "single.yaml")


@pytest.fixture(scope="module")
def pairs():
    return load(ACCEPTED / "pairs.yaml")


def box(fixtures, name):
    """Bounds in the world of the fixture of that name, [mm]."""
    (found,) = [fixture for fixture in fixtures if fixture.body.name == name]
    return np.round(bounds(found.body) * 1e3, 6).tolist()


def test_every_generic_model_loads():
    assert len(arm_names()) >= 5
    assert set(tool_names()) >= {"one-field-400x300", "two-heads-400"}
    for name in arm_names():
        assert load_arm(name).name == name
    for name in tool_names():
        assert load_tool(name).name == name


def test_pedestal_reaches_from_the_floor_to_the_base(single):
    assert box(single.fixtures, "pedestal") == [[-200, -200, 0], [200, 200, 600]]


def test_floor_lies_under_everything(single):
    low, high = box(single.fixtures, "obstacle/floor")
    assert high[2] == 0
    assert min(high[:2]) >= 5000 >= -5000 >= max(low[:2])


def test_infeed_stands_as_drawn(single):
    """The stop at (-500, 800), cartons coming from +y: x of the infeed is the world's y."""
    solids = single.infeed.fixtures
    assert box(solids, "conveyor/belt") == [[-750, 800, 0], [-250, 2800, 700]]
    assert box(solids, "conveyor/stop") == [[-750, 780, 700], [-250, 800, 760]]
    # 300 wide cartons, 10 mm beside them; travelling towards -y, left is +x.
    assert box(solids, "conveyor/guide left") == [[-340, 800, 700], [-320, 2800, 760]]
    assert box(solids, "conveyor/guide right") == [[-680, 800, 700], [-660, 2800, 760]]
    assert single.infeed.guide_height == pytest.approx(0.06)
    point = single.infeed.world_from_infeed @ [0.2, 0, 0, 1]
    assert point[:3] == pytest.approx([-0.5, 1.0, 0.7])


def test_guides_stand_beside_the_widest_group_as_it_lies(starter):
    cell = load(starter(), ["infeed.carton_turn=90", "infeed.at={x: 0, y: 0, z: 700}"])
    low, high = box(cell.infeed.fixtures, "conveyor/guide right")
    assert (low[1], high[1]) == (210, 230)
    # A wider group that nobody puts down must not move the guides away.
    unused = load(starter(), ["groups.two={row: {carton: box, count: 2, along: y}}"])
    assert [f.body.pose[0, 3] for f in unused.infeed.fixtures] == [
        f.body.pose[0, 3] for f in load(starter()).infeed.fixtures
    ]
    one = load(starter(), ["infeed.guides.sides=left"])
    names = [fixture.body.name for fixture in one.infeed.fixtures]
    assert "conveyor/guide left" in names
    assert "conveyor/guide right" not in names


def test_pallet_frame_lies_on_the_deck_at_the_corner(single, pairs):
    pallet = single.pallets[0]
    assert pallet.world_from_pallet[:3, 3] == pytest.approx([0.5, -0.4, 0.144])
    assert box([pallet.fixture], "pallet/A") == [[500, -400, 0], [1700, 400, 144]]
    turned = pairs.pallets[0].world_from_pallet
    assert math.atan2(turned[1, 0], turned[0, 0]) == pytest.approx(math.radians(30))
    assert pairs.pallets[1].size == pytest.approx((1.2192, 1.016, 0.127))


def test_placements_follow_the_patterns(pairs):
    first = pairs.pallets[0].placements[0]
    assert (first.id, first.group.name) == ("A/1/1", "pair")
    assert (first.x, first.y, first.z) == pytest.approx((0.402, 0.15, 0.25))
    assert first.approach == pytest.approx((math.sqrt(0.5), math.sqrt(0.5)))
    assert pairs.pallets[0].placements[1].approach == (0.0, 0.0)
    parts = [p for p in pairs.pallets[0].placements if p.cycle == 3]
    assert [p.items for p in parts] == [(0,), (1,)]
    assert parts[1].approach == pytest.approx((-math.sqrt(0.5), math.sqrt(0.5)))
    # Turned by 180 deg about the deck's centre, then... mirrored in y first: x swaps ends.
    second = next(p for p in pairs.pallets[0].placements if p.layer == 2)
    assert (second.x, second.y, second.z) == pytest.approx((1.2 - 0.402, 0.15, 0.5))


def test_surroundings(pairs):
    assert box(pairs.fixtures, "obstacle/fence north") == [[-2000, 2980, 0], [2000, 3020, 2000]]
    assert box(pairs.fixtures, "obstacle/fence south") == [[-2000, -3020, 0], [2000, -2980, 2000]]
    assert box(pairs.fixtures, "obstacle/post") == [[2900, -100, 0], [3100, 100, 4000]]
    assert box(pairs.fixtures, "obstacle/rail") == [[-30, 2470, -30], [30, 2530, 1130]]
    kinds = {fixture.body.name: fixture.kind for fixture in pairs.fixtures}
    assert kinds["obstacle/wedge"] == "keep-out"
    assert kinds["obstacle/rail"] == "obstacle"
    assert "obstacle/floor" not in kinds


def test_roll_pitch_and_yaw_turn_about_fixed_axes_in_that_order(starter):
    """A rod along x, pitched by 90 (to -z), stays there under yaw; rolled first, it is unmoved."""
    shape = "{name: rod, capsule: {diameter: 2, from: [0, 0, 0], to: [100, 0, 0]}, "
    pose = "at: {x: 1, y: 2, z: 3, roll: 90, pitch: 90, yaw: 90}}"
    cell = load(starter(), [f"surroundings=[{shape}{pose}]"])
    assert box(cell.fixtures, "obstacle/rod") == [[0, 1, -98], [2, 3, 4]]


def test_usable_ranges_narrow_and_never_widen(pairs):
    arm, usable = pairs.mounted.arm, pairs.mounted.usable
    assert usable[3] == pytest.approx((-1.5, math.pi / 2))
    assert usable[0] == (arm.joints[0].lower, arm.joints[0].upper)
    assert all(u[0] >= j.lower and u[1] <= j.upper for u, j in zip(usable, arm.joints, strict=True))


def test_groups_are_centred_and_made_when_left_out(single, pairs):
    (only,) = single.groups
    assert (only.name, only.fields) == ("tea", (("plate",),))
    by_name = {group.name: group for group in pairs.groups}
    assert [item.x for item in by_name["pair"].items] == pytest.approx([-0.201, 0.201])
    assert by_name["pair"].turns == pytest.approx((0, math.pi))
    low, high = by_name["mixed"].extent()
    assert low[:2] == pytest.approx(-high[:2])
    assert by_name["derived"].fields == (("left",), ("right",))
    assert "half" not in by_name  # nobody puts it down


def test_a_field_holds_what_it_lies_over_with_y_against_y(starter):
    """Tool y runs against the group's y: a carton at +y hangs under the field at -y."""
    text = (
        "tool={mass: 5, centre_of_gravity: [0, 0, 50], bodies: [{box: [300, 600, 20]}], "
        "tcp: {at: {z: 100}, on: compressed}, fields: {"
        "one: {centre: [0, -150], size: [300, 200], cups: {rows: 1, columns: 1, diameter: 50}, "
        "stroke: 20, compression: 5}, "
        "two: {centre: [0, 150], size: [300, 200], cups: {rows: 1, columns: 1, diameter: 50}, "
        "stroke: 20, compression: 5}}}"
    )
    group = "groups={pair: {row: {carton: box, count: 2, along: y}}}"
    pair = next(g for g in load(starter(), [text, group]).groups if g.name == "pair")
    assert [item.y for item in pair.items] == pytest.approx([-0.15, 0.15])
    assert pair.fields == (("two",), ("one",))


def test_one_carton_hangs_under_the_first_of_two_heads():
    (group,) = load(ACCEPTED / "two-heads-one-carton.yaml").groups
    assert group.fields == (("left",),)


def test_what_was_left_out_is_listed_with_its_value(single, pairs):
    left_out = {default.key: default.value for default in single.defaults}
    assert left_out["motion.lift_off"] == "150 mm"
    assert left_out["arm.joint_margin"] == "5 deg"
    assert left_out["infeed.queue"] == "3"
    assert left_out["pallets.A.max_height"] == "no limit"
    assert left_out["groups.tea"] == "one carton, held by plate"
    assert left_out["infeed.guides.height"] == "60 mm"
    stated = {default.key for default in pairs.defaults}
    assert not stated & {"motion.lift_off", "arm.joint_margin", "pallets.A.max_height", "floor"}
    assert not any(key.startswith("infeed.guides") for key in stated)  # said to be none
    assert "groups.derived.fields" in stated
    assert "groups.pair.fields" not in stated


def test_the_digest_is_of_the_content_and_not_of_the_place(write):
    text = (ACCEPTED / "single.yaml").read_bytes()
    first = load(write(text, "here/cell.yaml")).sha256
    assert load(write(text, "there/other.yaml")).sha256 == first
    assert load(write(text.replace(b"\n", b"\r\n"), "windows/cell.yaml")).sha256 == first
    assert load(write(text + b"# \n", "more/cell.yaml")).sha256 != first


def test_the_digest_covers_the_files_that_are_named(write):
    def digest(folder: str, **changed: bytes) -> str:
        names = ("own-files.yaml", "own/arm.yaml", "own/tool.yaml", "block.stl")
        for name in names:
            content = (ACCEPTED / name).read_bytes() + changed.get(name.split(".")[0][-4:], b"")
            write(content, f"{folder}/{name}")
        return load(write((ACCEPTED / names[0]).read_bytes(), f"{folder}/{names[0]}")).sha256

    same = digest("a")
    assert digest("b") == same
    assert len({same, digest("c", tool=b"# "), digest("d", **{"/arm": b"# "})}) == 3
