"""Things in the way of the arm, the tool and what is carried, from end to end of a check.

Whatever is said to pass is sampled along its motion by another library (coal).
"""

import numpy as np
import pytest
import trimesh

from envelope.cell.load import load
from tests.support import plain_scene as plain
from tests.support.second_opinion import EXACT, Run
from tests.support.small_cell import failing, small

pytestmark = pytest.mark.peer
ONE = {"A/1/1"}


def around(*things: str) -> str:
    return "surroundings:\n" + "".join(f"  - {{{thing}}}\n" for thing in things)


def assert_clear(run: Run) -> None:
    assert worst_sampled(run) >= -EXACT


def worst_sampled(run: Run) -> float:
    """The least clearance less what is asked, anywhere along the motion that is told."""
    least = np.inf
    for pallet, releases, stretches in run.cycles():
        angle = run.turn_at_pick(releases, stretches)
        for stretch in stretches:
            margins = run.least_margins(pallet, releases, stretch, angle)
            least = min(least, *(margin for margin, _ in margins.values()))
    return least


def bodies(found: list[dict]) -> set[str]:
    return {name for finding in found for name in finding["between"] or ()}


@pytest.fixture(scope="module")
def plain_run(tmp_path_factory):
    """The small cell as it stands."""
    return small(tmp_path_factory.mktemp("small"))


def test_the_small_cell_passes_as_it_stands(plain_run):
    assert plain_run.data["verdict"] == "pass"
    assert_clear(plain_run)


# --- wires, ceiling, things all around ----------------------------------------------------------


def wires(height: float) -> str:
    """Wires of 4 mm every 150 mm along a ray between pick and pallet, 25 degrees to the right."""
    c, s = np.cos(np.radians(25.0)), -np.sin(np.radians(25.0))
    return around(
        *(
            f"name: wire {k}, cylinder: {{diameter: 4, from: [{r * c:.1f}, {r * s:.1f}, 0], "
            f"to: [{r * c:.1f}, {r * s:.1f}, {height}]}}, at: {{x: 0, y: 0}}"
            for k, r in enumerate(range(500, 2700, 150))
        )
    )


def test_wires_thinner_than_any_step_stop_the_crossing(tmp_path):
    """The crossing has two rows, 46 degrees apart; the carton goes 1.5 m between them."""
    run = small(tmp_path, more=wires(3500), placements=ONE)
    crossing = [f for f in failing(run, "A/1/1") if f["segment"] in ("transfer", "return")]
    assert any(f["between"][0] == "carton/A/1/1" for f in crossing)
    assert any("obstacle/wire" in name for name in bodies(crossing))


def test_low_wires_are_passed_over(tmp_path):
    run = small(tmp_path, more=wires(300), placements=ONE)
    assert run.data["verdict"] == "pass"
    assert_clear(run)


@pytest.mark.parametrize(("room", "verdict"), [(19.0, "fail"), (21.0, "marginal"), (26.0, "pass")])
def test_a_ceiling_just_above_the_highest_point_of_the_arm(plain_run, tmp_path, room, verdict):
    """How high the arm comes is sampled by pin; 20 mm are asked for, 25 to be no marginal."""
    pallet, releases, stretches = plain_run.cycles()[0]
    tops = {}
    for stretch in stretches:
        frames = plain_run.frames(plain_run.samples(stretch))
        for piece in plain_run.scene(pallet, releases, stretch, 0.0)[0]:
            high = plain.boxes(piece.body, frames[:, max(piece.link, 0)])[1][:, 2].max()
            tops[piece.name] = max(high, tops.get(piece.name, 0.0))
    highest = max(tops, key=tops.__getitem__)
    assert highest == "link/elbow"  # a box: what encloses it touches it
    z = tops[highest] * 1e3 + room + 50.0
    ceiling = f"name: ceiling, kind: ceiling, box: [8000, 8000, 100], at: {{z: {z:.4f}}}"
    run = small(tmp_path, more=around(ceiling), placements=ONE)
    assert run.data["verdict"] == verdict
    told = [
        f
        for f in run.told["A/1/1"]["findings"]
        if f["between"] == ["link/elbow", "obstacle/ceiling"] and f["upper"] is not None
    ]
    lowest = min(told, key=lambda f: f["value"])
    assert lowest["limit"] == 20.0
    assert lowest["value"] <= room + 0.01
    assert lowest["value"] >= room - 1.01
    if verdict != "fail":
        assert_clear(run)


@pytest.mark.parametrize("seed", range(8))
def test_among_random_things_a_pass_is_clear_and_a_fail_is_none(tmp_path, seed):
    """Rods and slabs between pick and pallet, some of which can be got round."""
    rng = np.random.default_rng(seed)
    things = []
    for k in range(3):
        x, y = rng.uniform(900, 1900), rng.uniform(-900, -400)
        z, size = rng.uniform(300, 1700), rng.uniform(10, 300, 3)
        at = f"at: {{x: {x:.1f}, y: {y:.1f}, z: {z:.1f}, yaw: {rng.uniform(0, 90):.1f}}}"
        shape = (
            f"box: [{size[0]:.1f}, {size[1]:.1f}, {size[2]:.1f}]",
            f"capsule: {{diameter: 8, from: [0, 0, 0], to: [0, {size[1]:.1f}, {size[2]:.1f}]}}",
            f"cylinder: {{diameter: {size[0]:.1f}, from: [0, 0, 0], to: [0, 0, {size[2]:.1f}]}}",
        )[int(rng.integers(3))]
        things.append(f"name: thing {k}, {shape}, {at}")
    run = small(tmp_path, more=around(*things), placements=ONE)
    if run.data["verdict"] == "fail":
        assert worst_sampled(run) < 1e-3
    else:
        assert_clear(run)


# --- joints -------------------------------------------------------------------------------------


def test_a_range_that_only_part_of_a_line_leaves_fails(plain_run, tmp_path):
    """Pick and placement stay in range; the straight way up from the pick does not."""
    _, _, stretches = plain_run.cycles()[0]
    (lift,) = (s for s in stretches if s.name == "lift off")
    bent = np.degrees(lift.joints[:, 4])
    placed = np.degrees(next(s for s in stretches if s.name == "withdraw").joints[0, 4])
    assert bent[0] + 3.0 < 40.0 < bent[-1] - 3.0
    assert placed < 40.0

    def narrowed(limit: float) -> Run:
        usable = f"joint 5: [-110, {limit}], joint 4: [-90, 90], joint 3: [-20, 160]"
        old = "pedestal: {size: [600, 600]}"
        change = (old, f"{old}\n  usable: {{{usable}}}")
        return small(tmp_path, change, placements=ONE)

    assert [f["check"] for f in failing(narrowed(40), "A/1/1")] == ["reach"]
    mended = narrowed(float(np.ceil(bent.max() + 5.0)))
    assert mended.data["verdict"] == "pass"
    assert_clear(mended)


# --- what stands is not judged, what moves is ---------------------------------------------------


def test_a_pallet_in_the_pedestal_is_no_matter_of_motion_until_something_goes_there(tmp_path):
    """Two things that stand are not held against each other: only the carton that comes is."""
    pallet = ("at: {x: 1000, y: -200}", "at: {x: 250, y: -200}")
    far = small(tmp_path, pallet, ("{x: 1000, y: 150}", "{x: 1000, y: 650}"), placements=ONE)
    assert far.data["verdict"] == "pass"
    assert_clear(far)
    near = small(tmp_path, pallet, ("{x: 1000, y: 150}", "{x: 200, y: 150}"), placements=ONE)
    found = failing(near, "A/1/1")
    assert {"carton/A/1/1", "pedestal"} <= bodies(found)


def test_near_rows_first_are_reached_over(tmp_path):
    """A carton is set down from above, so that near ones may stand before far ones."""
    run = small(
        tmp_path,
        ("{group: box, at: {x: 1000, y: 150}}", "{group: box, at: {x: 200, y: 150}}"),
        ("{group: box, at: {x: 600, y: 150}}", "{group: box, at: {x: 1000, y: 150}}"),
        ("{group: box, at: {x: 1000, y: 450}}", "{group: box, at: {x: 600, y: 150}}"),
    )
    assert run.data["counts"]["pass"] == 3
    assert_clear(run)


def test_what_fails_is_told_of_the_gentlest_motion(tmp_path):
    """Far, near, then between them where 0.4 mm is missing: 0.2 on each side.

    Straight down the carton is 0.2 mm inside both; slanted, it would cut deep into one. Both
    fail at the same two bodies, and what is told must be what there is no way round.
    """
    run = small(
        tmp_path,
        ("{group: box, at: {x: 1000, y: 450}}", "{group: box, at: {x: 200.4, y: 150}}"),
        ("{group: box, at: {x: 600, y: 150}}", "{group: box, at: {x: 600.2, y: 150}}"),
    )
    assert failing(run, "A/1/1") == failing(run, "A/1/2") == []
    found = [f for f in failing(run, "A/1/3") if f["check"] == "approach"]
    assert found
    for finding in found:
        assert finding["between"] in [["carton/A/1/3", f"carton/A/1/{n}"] for n in (1, 2)]
        assert finding["value"] <= -0.2 + 0.02 <= finding["upper"] + 0.04


# --- meshes -------------------------------------------------------------------------------------


def meshed(tmp_path, size: float, x: float) -> Run:
    """A cube as a mesh, of this size, on the deck's level, its centre at (x, -50)."""
    trimesh.creation.box((size, size, size)).export(tmp_path / "cube.stl")
    thing = f"name: cube, mesh: cube.stl, mesh_unit: mm, at: {{x: {x}, y: -50, z: 260}}"
    return small(tmp_path, more=around(thing), placements=ONE)


@pytest.mark.parametrize(
    ("size", "x"),
    [(10, 2000), (390, 2000), (900, 2000), (20_000, 2000), (10, 2204)],
    ids=["within the carton", "as large", "around it", "around the cell", "at its face"],
)
def test_a_mesh_where_the_carton_comes_to_rest_fails(tmp_path, size, x):
    found = failing(meshed(tmp_path, size, x), "A/1/1")
    mine = [f for f in found if f["between"] == ["carton/A/1/1", "obstacle/cube"]]
    assert mine
    assert {f["check"] for f in mine} == {"collision"}


def test_a_mesh_beside_the_carton_passes(tmp_path):
    run = meshed(tmp_path, 10, 2231)
    assert run.data["verdict"] == "pass"
    assert_clear(run)
    told = [
        f
        for f in run.told["A/1/1"]["findings"]
        if f["between"] == ["carton/A/1/1", "obstacle/cube"]
    ]
    least = min(told, key=lambda f: f["value"])
    assert least["value"] <= 26.0 <= least["upper"] + 0.02


# --- the tool -----------------------------------------------------------------------------------

HEADS = """
name: Heads
arm:
  model: spherical-1800-25
  at: {{x: 0, y: 0, z: 700}}
  pedestal: {{size: [400, 400]}}
tool: {{model: two-heads-400}}
cartons:
  low: {{size: [400, 260, 230], mass: 6}}
  tall: {{size: [400, 260, {0}], mass: 6}}
groups:
  low: {{row: {{carton: low, count: 1}}, fields: {{1: left}}, turns: [0, 180]}}
  tall: {{row: {{carton: tall, count: 1}}, fields: {{1: left}}, turns: [0, 180]}}
infeed:
  at: {{x: 400, y: -900, z: 700, yaw: 180}}
  width: 400
pallets:
  A: {{size: [1200, 800, 144], at: {{x: 1300, y: -600, yaw: 90}}, stack: main, overhang: 20}}
stacks:
  main: {{layers: 1, patterns: [row]}}
patterns:
  row:
    order: as written
    placements:
      - {{group: tall, at: {{x: 184, y: 400}}}}
      - {{group: tall, at: {{x: 1016, y: 400}}}}
      - {{group: low, at: {{x: 600, y: 400}}}}
"""


def idle_over(tmp_path, taller: float) -> Run:
    path = tmp_path / "cell.yaml"
    path.write_text(HEADS.format(230 + taller))
    return Run(load(path), {"A/1/3"})


@pytest.mark.parametrize("taller", [11, 15, 60])
def test_an_idle_head_over_a_taller_neighbour_fails(tmp_path, taller):
    """Whichever way the tool is turned, the idle head comes over one of two tall cartons.

    Free lips end 10 mm below the held carton's top and give way by 20; the head's plate lies
    50 mm above it.
    """
    run = idle_over(tmp_path, taller)
    found = failing(run, "A/1/3")
    assert {f["check"] for f in found} >= {"approach"}
    named = {tuple(f["between"]) for f in found if f["segment"] == "approach place"}
    assert any(a.startswith("tool/lips of") and b.startswith("carton/A/1/") for a, b in named)
    heads = [f for f in found if f["between"][0] in ("tool/left head", "tool/right head")]
    assert bool(heads) == (taller == 60)
    for finding in heads:
        assert finding["value"] <= -10.0 + 0.02 <= finding["upper"] + 0.04
        assert finding["limit"] == (5.0 if finding["check"] == "approach" else -0.1)


@pytest.mark.parametrize("taller", [-20, 0, 9])
def test_an_idle_head_over_a_neighbour_that_its_lips_bear_passes(tmp_path, taller):
    run = idle_over(tmp_path, taller)
    assert run.data["verdict"] == "pass", failing(run, "A/1/3")
    assert_clear(run)


def hosed(tmp_path, x: float) -> Run:
    """A tool with a bracket that reaches back beside the wrist, 40 mm wide, from x on."""
    bracket = f"{{name: bracket, box: [40, 60, 300], at: {{x: {x}, z: -100}}}}"
    tool = (
        "tool: {format: 1, name: own, mass: 3, centre_of_gravity: [0, 0, 90], bodies: ["
        f"{{name: plate, box: [360, 260, 20], at: {{z: 120}}}}, {bracket}], "
        "tcp: {at: {z: 180}, on: compressed}, fields: {plate: {centre: [0, 0], size: [360, 260], "
        "cups: {rows: 3, columns: 4, pitch: [95, 95], diameter: 60}, stroke: 20, "
        "compression: 10}}}"
    )
    return small(tmp_path, ("tool: {model: one-field-400x300}", tool), placements=ONE)


def test_a_tool_that_reaches_back_into_the_forearm_fails(tmp_path):
    found = failing(hosed(tmp_path, 70), "A/1/1")
    assert found
    assert {f["check"] for f in found} == {"collision"}
    assert any(
        f["between"][0] == "tool/bracket" and f["between"][1].startswith("link/") for f in found
    )
