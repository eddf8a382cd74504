"""Where every waypoint is in reach but no motion joins them, the joint that stops it is named."""

from pathlib import Path

import numpy as np
import pytest

from envelope.cell.load import load
from envelope.motion.postures import Reach
from envelope.verify import check

CELLS = Path(__file__).parents[2] / "cells"
OWN = "  pedestal: {size: [240, 240]}\n"
# Above the pick joint 4 stands at 61.2 deg in one posture of the wrist, at -124.5 in the other;
# at the pick at 38.0 or -155.9. So one posture reaches the pick, the other the point above.
APART = OWN + "  usable: {joint 1: [-120, 60], joint 4: [-130, 60]}\n"


def narrowed(folder, to):
    text = (CELLS / "tea-five-layers.yaml").read_text(encoding="utf-8")
    assert text.count(OWN) == 1
    (folder / "cell.yaml").write_text(text.replace(OWN, to), encoding="utf-8")
    return load(folder / "cell.yaml")


@pytest.fixture(scope="module")
def as_it_stands():
    return check(load(CELLS / "tea-five-layers.yaml"), placements=["A/1/1"]).placements[0]


def test_the_joint_that_leaves_its_range_is_named_with_how_much(tmp_path, as_it_stands):
    line = next(s for s in as_it_stands.cycle.segments if s.name == "approach pick")
    over = float(np.degrees(line.joints[:, 3]).max()) - 60.0
    assert over > 1.0
    cell = narrowed(tmp_path, APART)
    found = [
        finding
        for finding in check(cell, placements=["A/1/1"]).placements[0].findings
        if finding.check == "reach" and finding.verdict == "fail"
    ]
    assert len(found) == 1
    assert found[0].message == (
        f"joint 4 leaves its usable range by {over:.1f} deg on the approach pick"
    )
    assert found[0].value == pytest.approx(-over, abs=1e-4)
    assert (found[0].limit, found[0].unit, found[0].segment) == (0.0, "deg", "approach pick")


def test_a_range_just_wide_enough_stops_nothing(tmp_path):
    cell = narrowed(tmp_path, APART.replace("60]}", "61.3]}"))
    judged = check(cell, placements=["A/1/1"]).placements[0]
    reach = [finding for finding in judged.findings if finding.check == "reach"]
    assert not any("leaves its usable range" in finding.message for finding in reach)
    assert reach[0].message.startswith("joint 4 has the least room to its usable range")
    assert reach[0].verdict == "marginal"
    assert 0.0 <= reach[0].value < 0.3


def test_the_tightest_limit_is_told_in_its_own_measure():
    """A slide's room counts as an angle where rooms are compared, not where it is told."""
    cell = load(CELLS / "tea-on-a-lift.yaml")
    reach = Reach(cell)
    rows = np.tile((reach.lower + reach.upper) / 2.0, (3, 1))
    rows[1, 0] = reach.upper[0] + 0.012
    which, room = reach.tightest(rows)
    assert (which, cell.mounted.arm.limit_name(which)) == (
        0,
        (cell.mounted.arm.joints[0].name, False),
    )
    assert room == pytest.approx(-0.012, abs=1e-12)
    assert reach.margin(rows).min() < -0.012
