"""A pair picked together and put down one here, one there: one cycle, two releases."""

import json
from itertools import pairwise

import numpy as np
import pytest

from envelope.cell.load import load
from envelope.geometry.frames import pose
from envelope.report.results import as_json
from envelope.verify import check
from tests.support.second_opinion import EXACT, Run

pytestmark = pytest.mark.peer

# The arm stands before the pallet: pallet (x, y) is world (1300 - y, x - 600).
PARTS = """
name: In parts
arm:
  model: spherical-1800-25
  at: {x: 0, y: 0, z: 700}
  pedestal: {size: [400, 400]}
tool: {model: two-heads-400}
cartons:
  oats: {size: [400, 260, 230], mass: 6}
groups:
  pair: {row: {carton: oats, count: 2, along: x}, fields: {1: left, 2: right}, offset: [0, 0]}
infeed:
  at: {x: 400, y: -900, z: 700, yaw: 180}
  width: 400
pallets:
  A: {size: [1200, 800, 144], at: {x: 1300, y: -600, yaw: 90}, stack: main}
stacks:
  main: {layers: 1, patterns: [apart]}
patterns:
  apart:
    placements:
      - group: pair
        parts:
          - {cartons: [1], at: {x: 400, y: 140}}
          - {cartons: [2], at: {x: 800, y: 400}}
      - {group: pair, at: {x: 400, y: 660}}
"""


def block(name: str, x: float, y: float, height: float) -> str:
    """A block of 60 x 60 mm that stands on the deck at a place in the pallet's frame."""
    at = f"{{x: {1300 - y}, y: {x - 600}, z: 144}}"
    return f"surroundings:\n  - {{name: {name}, block: [60, 60, {height}], at: {at}}}\n"


@pytest.fixture(scope="module")
def make(tmp_path_factory):
    def made(more: str = "", placements=None) -> Run:
        path = tmp_path_factory.mktemp("parts") / "cell.yaml"
        path.write_text(PARTS + more)
        return Run(load(path), placements)

    return made


@pytest.fixture(scope="module")
def run(make):
    return make()


def failing(run: Run, placement: str) -> set[tuple]:
    return {
        (finding["check"], finding["segment"], *(finding["between"] or ()))
        for finding in run.told[placement]["findings"]
        if finding["verdict"] == "fail"
    }


def test_it_passes(run):
    assert run.data["counts"]["pass"] == run.data["counts"]["placements"] == 3


def test_one_cycle_stands_with_the_first_release_alone(run):
    first, second, third = run.data["placements"]
    assert [first["id"], second["id"], third["id"]] == ["A/1/1", "A/1/2", "A/1/3"]
    assert first["cycle"]["number"] == second["cycle"]["number"] == 1
    assert first["cycle"]["seconds"] == second["cycle"]["seconds"]
    assert first["cycle"]["segments"]
    assert second["cycle"]["segments"] == []
    assert third["cycle"]["number"] == 2
    assert third["cycle"]["segments"]


def test_asked_for_alone_the_second_release_carries_the_motion(run):
    """The same motion, and the same findings, as when everything is checked."""
    cell = run.cell
    (entry,) = json.loads(as_json(check(cell, placements={"A/1/2"}), cell))["placements"]
    assert entry["cycle"]["segments"] == run.told["A/1/1"]["cycle"]["segments"]
    assert entry["findings"] == run.told["A/1/2"]["findings"]


def test_there_is_one_way_in_and_one_way_out_for_each_release(run):
    _, _, stretches = run.cycles()[0]
    names = [s.name for k, s in enumerate(stretches) if not k or s.name != stretches[k - 1].name]
    assert names == [
        *("approach pick", "lift off"),
        *("transfer", "approach place", "withdraw"),
        *("transfer", "approach place", "withdraw"),
        "return",
    ]
    for before, after in pairwise(stretches):
        assert np.array_equal(before.joints[-1], after.joints[0])
        pause = after.times[0] - before.times[-1]
        wanted = 0.0
        if (before.name, after.name) == ("approach pick", "lift off"):
            wanted = run.cell.motion.grip_time
        elif (before.name, after.name) == ("approach place", "withdraw"):
            wanted = run.cell.motion.release_time
        assert pause == pytest.approx(wanted, abs=2e-6)


def test_each_carton_comes_to_its_own_place(run):
    """By hand: the left head 200 mm to one side of the TCP, the right head to the other."""
    pallet, releases, stretches = run.cycles()[0]
    for down, (placement, head, x, y) in enumerate(
        zip(releases, (-0.2, 0.2), (0.2, 1.0), (0.14, 0.4), strict=True)
    ):
        last = [s for s in stretches if s.name == "approach place" and s.down == down][-1]
        tcp = run.tcp(last.joints[-1:])[0]
        reached = tcp @ np.array([head, 0.0, 0.0, 1.0])
        wanted = pallet.world_from_pallet @ pose(x, y, 0.23)
        assert np.abs(reached[:3] - wanted[:3, 3]).max() < 5e-5
        ((_, at),) = placement.carton_poses()
        assert np.abs(pallet.world_from_pallet @ at - wanted).max() < 1e-12


def test_what_still_hangs_clears_everything_all_along(run):
    """Sampled by coal, with the second carton on the tool until it is put down itself."""
    pallet, releases, stretches = run.cycles()[0]
    hanging = {0: {"carton/A/1/1", "carton/A/1/2"}, 1: {"carton/A/1/2"}, 2: set()}
    seen = set()
    for stretch in stretches:
        margins = run.least_margins(pallet, releases, stretch, 0.0)
        assert min(m for m, _ in margins.values()) >= -EXACT
        cartons = {name for name in margins if name.startswith("carton/")}
        if stretch.name not in ("approach pick", "return"):
            assert cartons == hanging[stretch.down]
            seen.add((stretch.name, stretch.down))
    assert {("withdraw", 1), ("transfer", 1), ("approach place", 1)} <= seen


def test_the_carton_that_hangs_is_told_beside_the_one_put_down(run):
    """Side by side in the group, they touch by the pattern while the first is left behind."""
    told = [
        f
        for f in run.told["A/1/1"]["findings"]
        if f["segment"] == "withdraw" and f["between"] == ["carton/A/1/2", "carton/A/1/1"]
    ]
    assert told
    assert all(f["verdict"] == "pass" and f["limit"] == -0.1 for f in told)


def test_findings_stand_with_the_release_that_they_belong_to(run):
    _, _, stretches = run.cycles()[0]
    (out,) = (s for s in stretches if s.name == "withdraw" and s.down == 1)
    first, second = ([*run.told[f"A/1/{n}"]["findings"]] for n in (1, 2))
    moved = [f for f in first if f["at"] is not None]
    assert moved
    assert max(f["at"] for f in moved) <= out.times[-1] + 1e-6
    assert {f["segment"] for f in moved} == {
        *("approach pick", "lift off", "transfer", "approach place", "withdraw")
    }
    moved = [f for f in second if f["at"] is not None]
    assert min(f["at"] for f in moved) >= out.times[-1] - 1e-6
    assert {f["segment"] for f in moved} == {"transfer", "approach place", "withdraw", "return"}


def test_a_block_under_the_carton_that_only_hangs_fails_the_first_release(make):
    """At the first release the second carton hangs over pallet (600, 140)."""
    run = make(block("block", 600, 140, 50), {"A/1/1", "A/1/2"})
    assert ("collision", "approach place", "carton/A/1/2", "obstacle/block") in failing(
        run, "A/1/1"
    )
    assert failing(run, "A/1/2") == set()


def test_a_block_under_the_second_place_fails_the_second_release(make):
    run = make(block("block", 1000, 400, 50), {"A/1/1", "A/1/2"})
    assert failing(run, "A/1/1") == set()
    assert ("collision", "approach place", "carton/A/1/2", "obstacle/block") in failing(
        run, "A/1/2"
    )


def test_a_block_under_neither_hurts_nobody(make):
    """A hand's breadth from the cartons at rest, and under the empty head of the second."""
    run = make(block("block", 600, 330, 50), {"A/1/1", "A/1/2"})
    assert failing(run, "A/1/1") == failing(run, "A/1/2") == set()


def test_a_wrong_stated_offset_fails_both_releases(tmp_path):
    path = tmp_path / "cell.yaml"
    path.write_text(PARTS)
    cell = load(path, ["groups.pair.offset=[3, 0]"])
    for judged in check(cell, placements={"A/1/1", "A/1/2"}).placements:
        (found,) = (f for f in judged.findings if f.verdict == "fail")
        assert (found.check, found.limit) == ("offset", 2.0)
        assert found.value == pytest.approx(3.0)
