"""What planning leaves out or does in one go, against doing all of it one by one."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import envelope.motion.timing as timing
from envelope.cell.load import load
from envelope.motion.options import tasks_of
from envelope.motion.pace import pace_of
from envelope.motion.plan import Planner, Unplanned
from envelope.motion.postures import AT_LIMIT
from envelope.motion.profile import Limits
from envelope.verify import check

CELL = load(Path(__file__).parents[1] / "cells" / "accepted" / "single.yaml")


def lines_of_the_cell():
    result = check(CELL)
    segments = [s for entry in result.placements if entry.cycle for s in entry.cycle.segments]
    return [s for s in segments if s.kind == "linear"]


@pytest.mark.parametrize("speed", [0.1, 0.4, 1.0, 3.0])
def test_lines_that_are_easy_need_no_look_at_their_instants(speed, monkeypatch):
    motion = replace(CELL.motion, linear_speed=speed)
    pace = pace_of(CELL.mounted.arm, motion, loaded=True)
    lines = lines_of_the_cell()
    slower, looked = timing._slower, []

    def looking(*given):
        looked.append(slower(*given))
        return looked[-1]

    monkeypatch.setattr(timing, "_slower", looking)
    quick = [timing.line_phases(pace, line.joints, 0.15) for line in lines]
    left = len(looked)
    monkeypatch.setattr(timing, "_easy", lambda *given: False)
    plain = [timing.line_phases(pace, line.joints, 0.15) for line in lines]
    assert all((a == b).all() for a, b in zip(quick, plain, strict=True))
    assert len(looked) - left == len(lines)
    if speed < 1.0:
        assert left < len(lines)
    else:
        assert left
        assert max(looked) > 1.0  # these do have to be slower


@pytest.mark.parametrize("seed", range(20))
def test_a_line_that_is_easy_exceeds_no_limit_anywhere(seed):
    rng = np.random.default_rng(seed)
    pace = pace_of(CELL.mounted.arm, CELL.motion, loaded=False)
    rows = np.cumsum(rng.uniform(-0.01, 0.01, (9, CELL.mounted.arm.dof)), axis=0)
    first, second = timing.slopes(rows)
    limits = Limits(rng.uniform(1.0, 400.0), rng.uniform(1.0, 4000.0))
    profile = timing.run(8.0, limits)
    if timing._easy(pace, limits, first, second):
        assert timing._slower(pace, profile, first, second) <= 1.0 + 1e-12
    assert not timing._easy(pace, replace(limits, jerk=1e9), first, second)


def planned(cell):
    """A planner that was asked for the first motion of each task, and what it found."""
    pallet = cell.pallets[0]
    tasks = tasks_of(pallet)
    planner, found = Planner(cell, pallet, tasks), []
    for task in tasks:
        option = planner.choices(task, tuple(range(len(cell.mounted.arm.branch_names)))).next()
        if option is not None:
            found += planner.cycles([(task, option)])
    return planner, found


def test_lines_out_of_range_are_those_found_one_by_one():
    lines = [rows for rows in planned(CELL)[0]._lines.values() if rows is not None]
    ends = np.max([rows[[0, -1]].max(axis=0) for rows in lines], axis=0)
    between = np.max([rows.max(axis=0) for rows in lines], axis=0)
    joint = int((between - ends).argmax())
    narrow = [*CELL.mounted.usable]
    narrow[joint] = (narrow[joint][0], (ends[joint] + between[joint]) / 2)
    cell = replace(CELL, mounted=replace(CELL.mounted, usable=tuple(narrow)))
    planner, found = planned(cell)
    known = {key: rows for key, rows in planner._lines.items() if rows is not None}
    plain = {key for key, rows in known.items() if planner.reach.margin(rows).min() < -AT_LIMIT}
    assert planner._outside == plain
    assert 0 < len(plain) < len(known)
    assert any(isinstance(f, Unplanned) and "usable range" in f.message for f in found)
