"""Cells of arms that slide: judged end to end, and how each could pass wrongly."""

import numpy as np
import pytest

from envelope.checks.finding import failing
from envelope.motion.options import ROUTES_OF_SLIDES
from envelope.verify import check, verdicts
from tests.support.second_opinion import EXACT, Run
from tests.support.slide_cells import COLUMN, GANTRY, slide_cell

CELLS = {"gantry": GANTRY, "column arm": COLUMN}
# Beside the way of the mast, but under the bridge, stands a tower of twelve cartons.
PALLETS = "pallets:\n"
TOWER_PALLET = PALLETS + (
    "  tower: {size: [1200, 800, 144], at: {x: 250, y: 700}, stack: tall, done: 12}\n"
)
STACKS = "stacks:\n"
TOWER_STACK = STACKS + "  tall: {layers: 12, patterns: [single]}\n"
PATTERNS = "patterns:\n"
TOWER_PATTERN = PATTERNS + "  single: {placements: [{group: box, at: {x: 200, y: 400}}]}\n"
UNDER_THE_BEAM = 3135.0  # [mm]


def judged(cell, placement=None):
    result = check(cell)
    assert result.placements
    return (
        result if placement is None else {p.placement.id: p for p in result.placements}[placement]
    )


def reach_failures(entry):
    return [f for f in entry.findings if f.check == "reach" and f.verdict == "fail"]


@pytest.mark.parametrize("name", CELLS)
def test_the_cell_is_judged_end_to_end(tmp_path, name):
    result = judged(slide_cell(tmp_path, CELLS[name]))
    assert result.verdict in ("pass", "marginal")
    for entry in result.placements:
        assert entry.cycle is not None
        checks = {finding.check for finding in entry.findings}
        assert {"stacking", "reach", "approach", "offset", "collision", "load"} <= checks


@pytest.mark.peer
@pytest.mark.parametrize("name", CELLS)
def test_another_engine_finds_no_clearance_smaller_than_asked(tmp_path, name):
    """Motions of the results file replayed by pin, distances by coal, all along the motion."""
    run = Run(slide_cell(tmp_path, CELLS[name]))
    looked_at = 0
    for pallet, releases, stretches in run.cycles():
        angle = run.turn_at_pick(releases, stretches)
        for stretch in stretches:
            for margin, _ in run.least_margins(pallet, releases, stretch, angle).values():
                assert margin >= -EXACT
                looked_at += 1
    assert looked_at > 50


def test_a_line_past_the_end_stop_of_a_slide_fails_by_as_much(tmp_path):
    """The top of the mast's travel is set 1 mm under what the lift off from the pick needs."""
    cell = slide_cell(tmp_path, GANTRY)
    entry = judged(cell, "A/1/1")
    top = max(float(s.joints[:, 2].max()) for s in entry.cycle.segments if s.name == "lift off")
    least = cell.infeed.guide_height + 0.03
    assert top > least
    pick = next(s for s in entry.cycle.segments if s.name == "lift off").joints[0, 2]
    height = 0.25 + 0.03  # past the cartons in the queue
    for end, good in ((pick + height + 1e-4, True), (pick + height - 1e-3, False)):
        usable = f"usable: {{joint 3: [0, {end * 1e3:.3f}]}}"
        narrowed = slide_cell(tmp_path, GANTRY, ("y: 0}}", f"y: 0}}, {usable}}}"))
        found = reach_failures(judged(narrowed, "A/1/1"))
        assert (found == []) is good
        if not good:
            assert found[0].unit == "mm"
            assert "point above the pick is out of reach" in found[0].message
            assert "moved" in found[0].message
            assert "down" in found[0].message


@pytest.mark.parametrize("by", [-1e-3, 1e-4])
def test_a_placement_beyond_the_slide_is_out_of_reach(tmp_path, by):
    """Joint 1 carries the mast to x = 1690 for the placement at 1000 on the pallet."""
    end = 1e3 * (1.69 - 0.31 + by)
    usable = f"usable: {{joint 1: [-1600, {end:.3f}]}}"
    cell = slide_cell(tmp_path, GANTRY, ("y: 0}}", f"y: 0}}, {usable}}}"))
    entry = judged(cell, "A/1/1")
    if by > 0.0:
        room = next(f for f in entry.findings if f.check == "reach")
        assert (room.value, room.unit) == (pytest.approx(1e3 * by, abs=1e-3), "mm")
        assert room.verdict == "marginal"
        assert room.message.startswith("joint 1 has the least room")
    else:
        (found,) = reach_failures(entry)
        assert "the placement is out of reach" in found.message
        assert found.message.endswith("-x")
    assert not reach_failures(judged(cell, "A/1/2"))


def test_a_slide_against_its_end_stop_is_marginal_not_free(tmp_path):
    """Less than the slide margin is left at the upper placements; with 0 asked for it passes."""
    cell = slide_cell(tmp_path, COLUMN)
    entry = judged(cell, "A/1/2")
    low = min(float(s.joints[:, 0].min()) for s in entry.cycle.segments)
    lower = f"usable: {{joint 1: [{low * 1e3 - 2.0:.3f}, 1800]}}"
    for margin, verdict in ((5, "marginal"), (1, "pass")):
        told = f"y: 0}}, {lower}, slide_margin: {margin}}}"
        narrowed = judged(slide_cell(tmp_path, COLUMN, ("y: 0}}", told)), "A/1/2")
        room = next(f for f in narrowed.findings if f.check == "reach")
        assert room.value == pytest.approx(2.0, abs=0.01)
        assert (room.unit, room.verdict) == ("mm", verdict)
        assert room.message.startswith("joint 1 has the least room")


@pytest.mark.parametrize("height", [245, 248, 250])
def test_the_bridge_over_a_stack_that_is_too_tall_hits_it(tmp_path, height):
    """Flange and group keep clear of the tower; what comes near it is the bridge alone."""
    cell = slide_cell(
        tmp_path,
        GANTRY,
        (PALLETS, TOWER_PALLET),
        (STACKS, TOWER_STACK),
        (PATTERNS, TOWER_PATTERN),
        ("300, 250]", f"300, {height}]"),
    )
    gap = UNDER_THE_BEAM - (144 + 12 * height)
    for name in ("A/1/1", "A/2/2"):
        entry = judged(cell, name)
        met = [f for f in entry.findings if f.check == "collision" and failing(f)]
        assert bool(met) is (gap < 20.0)
        for finding in met:
            first, second = finding.between
            assert first == "link/bridge"
            assert second.startswith("carton/tower/12")
            assert finding.limit == 20.0
            assert finding.value == pytest.approx(gap, abs=0.1)


def test_verdicts_alone_are_those_of_the_check(tmp_path):
    for text in CELLS.values():
        cell = slide_cell(tmp_path, text)
        full = {p.placement.id: failing(p) for p in check(cell).placements}
        quick = {p.placement.id: failing(p) for some in verdicts(cell) for p in some}
        assert full == quick


def test_level_across_is_level(tmp_path):
    """Between the points above both ends, the flange keeps its height."""
    cell = slide_cell(tmp_path, GANTRY)
    taken = 0
    for entry in judged(cell).placements:
        if not entry.cycle.route.startswith("level across"):
            continue
        taken += 1
        transfer = next(s for s in entry.cycle.segments if s.name == "transfer")
        z = cell.mounted.arm.chain.flange_poses(transfer.joints)[:, 2, 3]
        x = transfer.joints[:, :2]
        across = np.abs(np.diff(x, axis=0)).max(axis=1) > 1e-4
        assert across.any()
        assert np.abs(np.diff(z))[across].max() < 2e-4
    assert taken
    assert ROUTES_OF_SLIDES[0].via == "none"


def test_a_column_arm_rides_a_track(tmp_path):
    """A slide under a slide: the saddle keeps its name, the track is joint 0."""
    track = "track: {along: y, travel: [0, 400], speed: 500, acceleration: 800}"
    cell = slide_cell(tmp_path, COLUMN, ("y: 0}}", f"y: -200, z: 100}}, {track}}}"))
    assert cell.mounted.arm.chain.turning() == (False, False, True, True, True)
    for entry in judged(cell).placements:
        assert not reach_failures(entry)
        assert not [f for f in entry.findings if f.check == "collision" and failing(f)]
