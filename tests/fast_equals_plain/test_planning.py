"""What planning leaves out or does in one go, against doing all of it one by one."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

import envelope.motion.assembly as assembly
import envelope.motion.path as path
import envelope.motion.timing as timing
from envelope.cell.load import load
from envelope.geometry.frames import angle_between, invert, pose
from envelope.motion.crossings import Crossing, crossings
from envelope.motion.grip import tool_from_group
from envelope.motion.options import ROUTES, ROUTES_OF_SLIDES, tasks_of, turns_of
from envelope.motion.pace import pace_of
from envelope.motion.path import Lines
from envelope.motion.plan import Planner, Unplanned
from envelope.motion.postures import AT_LIMIT, Reach, postures_of
from envelope.motion.profile import Limits, run, runs_from_rest
from envelope.motion.stations import Stations
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
    lines = [(line.joints, 0.15) for line in lines_of_the_cell()]
    slower, looked = timing._slower, []

    def looking(*given):
        looked.append(slower(*given))
        return looked[-1]

    monkeypatch.setattr(timing, "_slower", looking)
    quick = timing.timed_lines(pace, lines)
    left = len(looked)
    monkeypatch.setattr(timing, "_easy", lambda pace, speed, *given: np.zeros(len(speed), bool))
    plain = timing.timed_lines(pace, lines)
    assert all((a.phases == b.phases).all() for a, b in zip(quick, plain, strict=True))
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
    along = np.array([limits.speed]), np.array([limits.acceleration])
    if timing._easy(pace, *along, first[None], second[None])[0]:
        assert timing._slower(pace, profile, first, second) <= 1.0 + 1e-12


@pytest.mark.parametrize("jerk", [None, 8.0])
@pytest.mark.parametrize("speed", [0.2, 2.0])
def test_segments_timed_together_are_timed_as_each_alone(speed, jerk):
    motion = replace(CELL.motion, linear_speed=speed, linear_jerk=jerk)
    pace = pace_of(CELL.mounted.arm, motion, loaded=True)
    segments = lines_of_the_cell()
    lines = [(s.joints, 0.1 + 0.05 * (k % 3)) for k, s in enumerate(segments)]
    lines.insert(5, (segments[0].joints, 0.0))
    ends = np.stack([s.joints[[0, -1]] for s in segments])
    still = np.repeat(ends[0, :1], 3, axis=0)
    moves = [*ends, np.concatenate(ends[:3]), still, np.concatenate([still, ends[3]])]
    for batch, given in ((timing.timed_lines, lines), (timing.timed_moves, moves)):
        for together, one in zip(batch(pace, given), given, strict=True):
            (alone,) = batch(pace, [one])
            assert (together.phases == alone.phases).all()
            assert (together.times == alone.times).all()
            assert together.demand == alone.demand


@pytest.mark.parametrize("jerk", [np.inf, 3.0])
def test_moves_from_rest_found_together_are_those_run_alone(jerk):
    rng = np.random.default_rng(11)
    speed, acceleration = np.exp(rng.uniform(-2.0, 2.0, (2, 300)))
    together = list(runs_from_rest(speed, acceleration, np.full(300, jerk)))
    for own, *limits in zip(together, speed.tolist(), acceleration.tolist(), strict=True):
        assert np.array_equal(own, run(1.0, Limits(*limits, jerk)))
    if np.isinf(jerk):
        assert {len(own) for own in together} == {2, 3}


def test_what_is_run_alike_is_timed_once(monkeypatch):
    lines, moves, asked = timing.timed_lines, timing.timed_moves, []
    for name, batch in (("timed_lines", lines), ("timed_moves", moves)):
        monkeypatch.setattr(
            assembly, name, lambda pace, g, batch=batch: asked.extend(g) or batch(pace, g)
        )
    segment = lines_of_the_cell()[0]
    asked.clear()
    times, cycles = assembly.Times(CELL), [assembly.Assembly() for _ in range(3)]
    for cycle in cycles:
        cycle.line("lift off", segment.joints.copy(), (0.0, 0.3), (0,), 0)
        cycle.dwell(1.0)
        cycle.joint("transfer", segment.joints[[0, -1]], (0,), 0)
    found = times.segments(cycles)
    again = times.segments(cycles[:1])
    assert len(asked) == 2
    for own in [*found, *again]:
        (line,) = lines(times.pace[True], [(segment.joints, 0.3)])
        (move,) = moves(times.pace[True], [segment.joints[[0, -1]]])
        assert (own[0].times == line.times).all()
        assert (own[1].times == line.times[-1] + 1.0 + move.times).all()
    cycles[0].line("lift off", segment.joints, (0.0, 0.3), (), 0)
    times.segments(cycles)
    assert len(asked) == 3  # unloaded it is another line


def lines_through_the_middle():
    """Lines on which the arm must change its posture, or give up."""
    arm, rng, lines = CELL.mounted.arm, np.random.default_rng(3), []
    for _ in range(60):
        q = rng.uniform(-1.2, 1.2, arm.dof)
        start = arm.chain.flange_poses(q[None])[0]
        answers = arm.inverse(start[None]).q[0]
        answers = answers[np.isfinite(answers).all(axis=1)]
        if len(answers):
            lines.append((start, -1.9 * start[:3, 3] * rng.uniform(0.1, 1.0), answers[0]))
    return Lines(*(np.stack(part) for part in zip(*lines, strict=True)))


def sometimes_wrong(arm):
    """The arm with a closed form that errs in its first branch, here and there."""

    def solve(poses):
        q = arm.solve(poses)
        q[np.sin(40.0 * poses[:, 2, 3]) > 0.9, 0] += 1e-3
        return q

    return replace(arm, solve=solve)


def row_by_row(arm, candidates, base_from_flange, start):
    """The plain way: at each step the nearest of the answers that are confirmed."""
    answers, rows = candidates.copy(), [start]
    for step in range(answers.shape[1]):
        found = arm.confirmed(answers[:, step], base_from_flange[:, step])
        answers[:, step][~found] = np.nan
        near = arm.unwrap_near(answers[:, step], rows[-1][:, None])
        size = np.nan_to_num(np.abs(near - rows[-1][:, None]).max(axis=2), nan=np.inf)
        best = near[np.arange(len(near)), size.argmin(axis=1)]
        rows.append(np.where(np.isinf(size.min(axis=1))[:, None], np.nan, best))
    return np.stack(rows, axis=1)


@pytest.mark.parametrize("arm", [CELL.mounted.arm, sometimes_wrong(CELL.mounted.arm)])
def test_lines_in_one_branch_are_those_followed_row_by_row(arm, monkeypatch):
    lines, every, alone = lines_through_the_middle(), [], []
    continued, branch_by_branch = path._continued, path._branch_by_branch

    def compared(arm, candidates, poses, start):
        quick = continued(arm, candidates.copy(), poses, start)
        assert np.array_equal(quick, row_by_row(arm, candidates, poses, start), equal_nan=True)
        every.extend(start)
        return quick

    def counted(arm, answers, start):
        alone.append(branch_by_branch(arm, answers, start))
        return alone[-1]

    monkeypatch.setattr(path, "_continued", compared)
    monkeypatch.setattr(path, "_branch_by_branch", counted)
    rows = path.straight(arm, np.eye(4), lines)
    assert 0 < sum(found is None for found in rows) < len(rows)
    assert 0 < len(alone) < len(every)
    labels = [arm.label(own[np.isfinite(own[:, 0])]) for own in alone]
    assert any(len(set(own.tolist())) > 1 for own in labels)  # it does change its branch


@pytest.mark.parametrize("arm", [CELL.mounted.arm, sometimes_wrong(CELL.mounted.arm)])
def test_a_line_is_followed_rightly_whatever_is_guessed(arm, monkeypatch):
    def wrong(arm, candidates, start):
        shape = (len(start), candidates.shape[1], arm.dof)
        return np.concatenate([start[:, None], np.full(shape, 9.0)], axis=1)

    lines = lines_through_the_middle()
    right = path.straight(arm, np.eye(4), lines)
    monkeypatch.setattr(path, "_in_one_branch", wrong)
    for one, other in zip(right, path.straight(arm, np.eye(4), lines), strict=True):
        assert (one is None) == (other is None)
        assert one is None or (one == other).all()


def test_the_way_off_a_line_is_that_of_the_poses_between_rows():
    arm, lines = CELL.mounted.arm, lines_through_the_middle()
    tool = CELL.tool.flange_from_tcp
    lines = replace(lines, base_from_tcp=lines.base_from_tcp @ tool)
    which, share = np.arange(len(lines.start)), np.linspace(0.0, 1.0, 9)
    rows, off = path._follow(arm, tool, lines, which, 8)
    compared = 0
    for line, own, amount in zip(which, rows, off, strict=True):
        if np.isnan(own).any():
            assert np.isnan(amount)
            continue
        worst = 0.0
        for part in (0.25, 0.5, 0.75):
            between = own[:-1] + part * np.diff(own, axis=0)
            reached = arm.chain.flange_poses(between) @ tool
            wanted = np.repeat(lines.base_from_tcp[line][None], 8, axis=0)
            wanted[:, :3, 3] += (share[:-1] + part / 8)[:, None] * lines.shift[line]
            apart = np.linalg.norm(reached[:, :3, 3] - wanted[:, :3, 3], axis=1)
            angle = angle_between(reached, wanted)
            worst = max(worst, (apart / path.ON_LINE).max(), (angle / path.ON_LINE_ANGLE).max())
        assert amount == pytest.approx(worst / path._SAFE, rel=1e-6)
        compared += 1
    assert compared > 10


def test_postures_of_all_tasks_are_those_of_each_alone():
    pallet, reach = CELL.pallets[0], Reach(CELL)
    tasks = tasks_of(pallet)
    one, two = tasks[0].placements[0], tasks[1].placements[0]
    tasks = (*tasks[:6], replace(tasks[0], number=99, placements=(one, two)))
    assert one.group.name == two.group.name
    together = postures_of(reach, Stations(CELL, pallet), tasks)
    assert {choice.place.shape[0] for own in together for choice in own} == {1, 2}
    margins, stations = [], Stations(CELL, pallet)
    for task, own in zip(tasks, together, strict=True):
        assert [choice.turns for choice in own] == turns_of(task)
        for choice in own:
            poses = [stations.pick(task.group, choice.turns.pick)]
            for placement, turn in zip(task.placements, choice.turns.place, strict=True):
                poses.append(stations.place(placement, choice.turns.pick, turn))
            rows = [None]
            for one_pose in poses:
                rows.append(reach.within(reach.answers(one_pose[None]), rows[-1])[0])
            rows = np.stack(rows[1:])
            assert np.array_equal(choice.pick, rows[0], equal_nan=True)
            assert np.array_equal(choice.place, rows[1:], equal_nan=True)
            least = np.array([reach.margin(rows[:, k]).min() for k in range(rows.shape[1])])
            assert np.array_equal(np.where(np.isnan(least), -np.inf, least), choice.margin)
            margins.append(choice.margin)
    assert {bool(finite) for finite in np.isfinite(margins).ravel()} == {True, False}


def test_places_found_together_are_those_found_by_hand():
    pallet = CELL.pallets[0]
    asked = [
        (placement, turn, half)
        for placement in pallet.placements[:9]
        for turn in placement.group.turns
        for half in (0.0, np.pi)
    ]
    stations = Stations(CELL, pallet)
    together = stations.places([*asked, *asked[:3]])
    base_from_pallet = invert(CELL.mounted.world_from_base) @ pallet.world_from_pallet
    for (placement, turn, half), found in zip([*asked, *asked[:3]], together, strict=True):
        group = placement.pallet_from_group() @ pose(yaw=half)
        held = invert(tool_from_group(CELL.tool, placement.group, turn))
        assert (found == base_from_pallet @ group @ held).all()
        assert (found == Stations(CELL, pallet).place(placement, turn, half)).all()


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
    assert planner.cycles([]) == []
    assert 0 < len(plain) < len(known)
    assert any(isinstance(f, Unplanned) and "usable range" in f.message for f in found)


def test_moves_over_points_on_the_way_are_those_of_each_alone():
    every = {route.name: route for route in (*ROUTES, *ROUTES_OF_SLIDES)}.values()
    reach, lines = Reach(CELL), lines_of_the_cell()
    asked = [
        Crossing(route, branch, one.joints[-1], other.joints[-1])
        for route in every
        for branch in range(8)
        for one, other in pairwise(lines[:12])
    ]
    together = crossings(CELL, reach, asked)
    for one, rows in zip(asked, together, strict=True):
        (alone,) = crossings(CELL, reach, [one])
        assert (rows is None) == (alone is None)
        assert rows is None or (rows == alone).all()
    assert {len(rows) for rows in together if rows is not None} >= {2, 3, 4}
    assert 0 < sum(rows is None for rows in together) < len(together) / 2
