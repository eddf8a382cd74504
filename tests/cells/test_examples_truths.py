"""What the example cells claim in words is so, and it is so for the reason they give."""

import json

import numpy as np
import pytest

from envelope.cell.load import load
from envelope.report.results import as_json
from envelope.verify import check
from tests.support.second_opinion import CELLS, Run, example

FAR = "A/7/2"  # the single of the top layer that lies farthest from the arm


def verdicts(name: str, placements, *settings: str):
    return {
        judged.placement.id: judged
        for judged in check(
            load(CELLS / f"{name}.yaml", settings), placements=placements
        ).placements
    }


def failing(judged) -> set[str]:
    return {finding.check for finding in judged.findings if finding.verdict == "fail"}


def test_five_layers_of_tea_pass_in_full():
    assert example("tea-five-layers").data["counts"] == {
        **{"placements": 40, "pass": 40, "marginal": 0, "fail": 0, "not_checked": 0}
    }


@pytest.mark.parametrize(
    ("riser", "placement"),
    [(700, "A/7/1"), (900, "A/7/1"), (1100, "A/7/1"), (1300, "A/7/4"), (1500, "A/1/1")],
)
def test_these_risers_do_not_serve_seven_layers_of_tea(riser, placement):
    found = verdicts("tea-seven-layers", {placement}, f"arm.at.z={riser}")[placement]
    assert "reach" in failing(found)


@pytest.mark.parametrize(
    ("placement", "heights"),
    [
        ("A/8/4", (300, 700, 1100, 1400, 1500, 1550, 1600)),  # the far carton on top, from below
        ("A/1/1", (1475, 1525, 1600, 1700, 1900)),  # the near one at the bottom, from above
    ],
)
def test_no_fixed_height_serves_eight_layers_of_tea(placement, heights):
    """The two ranges of height overlap by more than 100 mm."""
    for height in heights:
        settings = ("stacks.main.layers=8", f"arm.at.z={height}")
        found = verdicts("tea-seven-layers", {placement}, *settings)[placement]
        assert "reach" in failing(found), height


@pytest.mark.parametrize("place", [0, 400])
def test_the_lift_held_at_one_of_its_places_does_not_serve_them_either(place):
    found = verdicts("tea-on-a-lift", {"A/1/1", "A/8/4"}, f"arm.lift.positions=[{place}]")
    assert failing(found["A/1/1" if place else "A/8/4"]) >= {"reach"}


def lift_places(cycle) -> list[float]:
    """Where the lift stands along a cycle, each place once in a row [mm]."""
    places = np.concatenate([segment.joints[:, 0] for segment in cycle.segments]) * 1e3
    return [float(p) for k, p in enumerate(places) if k == 0 or p != places[k - 1]]


@pytest.mark.parametrize("freely", [False, True])
def test_a_lift_serves_eight_layers_of_tea_with_one_move(freely):
    """None is too few, as shown above."""
    settings = ["arm.lift.positions=null"] if freely else []
    result = check(load(CELLS / "tea-on-a-lift.yaml", settings))
    assert result.count("fail") == result.count("not checked") == 0
    assert freely or result.count("marginal") == 2
    walked = [place for judged in result.placements for place in lift_places(judged.cycle)]
    moves = [k for k in range(1, len(walked)) if walked[k] != walked[k - 1]]
    assert len(moves) == 1
    if not freely:
        assert set(walked) == {0.0, 400.0}
    on_the_way = [j.placement.id for j in result.placements if len(lift_places(j.cycle)) > 1]
    assert len(on_the_way) == 1
    for judged in result.placements:
        for segment in judged.cycle.segments:
            if segment.kind == "linear":
                assert np.ptp(segment.joints[:, 0]) == 0.0


@pytest.mark.parametrize(
    ("riser", "placement", "moved"),
    [
        (700, "A/7/1", "arm.at.z={:g}"),  # moving the pallet down is raising the arm
        (1500, "A/1/1", "pallets.A.at.z={:g}"),
    ],
)
def test_what_is_out_of_reach_comes_within_by_the_move_that_is_told(riser, placement, moved):
    """By as much, and by 6 mm less it does not: amounts are told in steps of 5 mm."""
    before = f"arm.at.z={riser}"
    (lack,) = _reach("tea-seven-layers", placement, before)
    assert lack.message.startswith("the placement is out of reach")
    arm = moved.startswith("arm")
    assert lack.message.endswith("mm down" if arm else "mm up")
    assert np.allclose(lack.gain, [0.0, 0.0, -1.0 if arm else 1.0], atol=1e-9)
    for less, still in ((0.0, False), (6.0, True)):
        amount = -lack.value - less + (riser if arm else 0.0)
        found = _reach("tea-seven-layers", placement, before, moved.format(amount))
        assert any(f.message.startswith("the placement is out of") for f in found) == still


def _reach(name: str, placement: str, *settings: str):
    found = verdicts(name, {placement}, *settings)[placement].findings
    return [finding for finding in found if finding.check == "reach"]


def test_the_seven_layers_of_tea_fail_at_the_top_alone():
    run = example("tea-seven-layers")
    bad = {e["id"] for e in run.data["placements"] if e["verdict"] == "fail"}
    assert bad
    assert {name.split("/")[1] for name in bad} <= {"6", "7"}


@pytest.mark.peer
def test_two_heads_bring_the_far_single_into_reach_by_the_turn_of_the_tool():
    """Labels forbid the half-turn of the carton, so that the tool's turn alone decides.

    With the tool outboard of the carton the placement fails; with the carton outboard of the
    tool, which then stands nearer to the arm, it passes; given both, the one that passes is
    taken.
    """
    labels = "cartons.oats.labels=[+x]"
    out = {}
    for turns in ("[0]", "[180]", "[0, 180]"):
        cell = load(CELLS / "oats-two-heads.yaml", [f"groups.single.turns={turns}", labels])
        run = Run(cell, {FAR})
        ((pallet, releases, stretches),) = run.cycles()
        assert not releases[0].half_turn
        rest = [s for s in stretches if s.name == "approach place"][-1].joints[-1:]
        base = cell.mounted.world_from_base[:2, 3]
        tool = np.hypot(*(run.tcp(rest)[0, :2, 3] - base))
        carton = np.hypot(
            *((pallet.world_from_pallet @ releases[0].pallet_from_group())[:2, 3] - base)
        )
        out[turns] = (run.data["verdict"], bool(tool > carton), run.data["placements"][0])
    assert out["[0]"][:2] == ("fail", True)
    assert {f["check"] for f in out["[0]"][2]["findings"] if f["verdict"] == "fail"} == {
        *("reach", "collision")
    }
    assert out["[180]"][:2] == ("pass", False)
    assert out["[0, 180]"][:2] == ("pass", False)


def test_without_labels_the_carton_itself_is_turned_instead():
    """One turn of the tool is enough for the far single when the carton looks the same."""
    found = verdicts("oats-two-heads", {FAR}, "groups.single.turns=[0]")[FAR]
    assert found.verdict == "pass"
    assert found.cycle.place_turns == (pytest.approx(np.pi),)


def test_labels_inside_the_pallet_are_found_by_the_stack_alone():
    """Every second layer's pairs then turn their labels inwards: motion has no part in it."""
    found = verdicts("oats-two-heads", {"A/2/2"}, "cartons.oats.labels=[+x]")["A/2/2"]
    assert failing(found) == {"stacking"}


def test_two_heads_keep_up_with_the_line_and_the_queue_needs_more_than_the_belt():
    """Added up from the results file alone: 42 cycles bring 63 cartons, and one pallet change."""
    cell = load(CELLS / "oats-two-heads.yaml")
    data = json.loads(as_json(check(cell), cell))
    seconds = [entry["cycle"]["seconds"] for entry in data["placements"]]
    rate = data["rate"]
    assert rate["sustained"] == pytest.approx(60.0 * 63 / (sum(seconds) + 30.0), rel=1e-4)
    assert [found["verdict"] for found in data["findings"]] == ["pass", "pass"]
    assert data["verdict"] == "pass"
    assert rate["queue"] == {"cartons": 7, "length": 3200.0, "available": 4000.0, "places": None}
    assert rate["queue"]["length"] > 2000.0  # the belt's own length
