"""Maps of reach against areas in closed form, and against joints drawn at random."""

import json
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from envelope.arm.arm import Joint
from envelope.arm.families import build
from envelope.arm.urdf import to_urdf
from envelope.cell.load import load
from envelope.cell.variants import read_cell_file
from envelope.cli.main import main
from envelope.geometry.bodies import frozen
from envelope.geometry.frames import invert
from envelope.motion.grip import tool_from_group
from envelope.report.reach_map import reach_map
from envelope.report.survey_text import reach_text
from envelope.surveys.errors import SurveyError
from envelope.surveys.reach import (
    AskedReach,
    farthest,
    grid_of,
    groups_of,
    level_from_json,
    level_to_json,
    levels_of,
    reached_at,
    survey_reach,
)
from envelope.surveys.results import as_json
from envelope.surveys.runner import Runner
from tests.support.small_cell import TEXT

CELLS = Path(__file__).parents[2] / "cells"
PLANAR = {
    "shoulder_height": 2.0,
    "shoulder_offset": 0.0,
    "upper_arm": 1.0,
    "forearm": 0.6,
    "wrist_offset": 0.0,
    "flange_drop": 0.0,
    "elbow_bar_back": 0.1,
    "elbow_bar_up": 0.05,
    "tie_bar_up": 0.1,
    "tie_bar_out": 0.05,
    "drive_lever": 0.1,
}


@pytest.fixture(scope="module")
def planar():
    """A cell whose arm is a planar one of two bars, 1 m and 0.6 m, turned about the vertical."""
    cell = load(CELLS / "biscuits-two-pallets.yaml")
    joints = [Joint(f"joint {k + 1}", -np.pi, np.pi, 3.0, 10.0) for k in range(4)]
    arm = build("planar", "parallelogram", PLANAR, joints)
    usable = tuple((joint.lower, joint.upper) for joint in joints)
    mounted = replace(cell.mounted, arm=arm, usable=usable, world_from_base=frozen(np.eye(4)))
    group = next(iter(groups_of(cell).values()))
    held = cell.tool.flange_from_tcp @ tool_from_group(cell.tool, group, group.turns[0])
    drop = float(held[2, 3])  # the flange faces down: the group hangs so far below it
    assert np.abs(held[:2, 3]).max() < 1e-12
    return replace(cell, mounted=mounted), group, 2.0 - drop


def test_a_section_through_the_axis_has_the_area_of_the_planar_arm(planar):
    """pi (1.6^2 - 0.4^2), in closed form."""
    cell, group, middle = planar
    step = 0.02
    across = (np.arange(-90, 90) + 0.5) * step
    points = np.array([(x, 0.0, middle + z) for z in across for x in across])
    turns, _ = reached_at(cell, group, points, 1)
    assert turns.sum() * step**2 == pytest.approx(7.539822, rel=5e-3)
    radius = np.hypot(points[:, 0], points[:, 2] - middle)
    assert not turns[(radius > 1.6 + 1e-6) | (radius < 0.4 - 1e-6)].any()
    assert turns[(radius < 1.6 - 1e-6) & (radius > 0.4 + 1e-6)].all()


@pytest.mark.parametrize("z", [0.0, 0.3, -0.9])
def test_a_level_is_the_ring_that_the_section_cuts(planar, z):
    cell, group, middle = planar
    step = 0.05
    across = (np.arange(-36, 36) + 0.5) * step
    points = np.array([(x, y, middle + z) for y in across for x in across])
    turns, room = reached_at(cell, group, points, 3)
    assert (turns > 0).sum() * step**2 == pytest.approx(
        np.pi * (1.6**2 - z**2 - max(0.4**2 - z**2, 0.0)), rel=1e-2
    )
    assert (np.isfinite(room) == (turns > 0)).all()


@pytest.mark.peer
def test_joints_drawn_at_random_end_where_the_map_says(tmp_path):
    """Both ways: what pin reaches is on the map, and what is on the map is reached by pin."""
    pin = pytest.importorskip("pinocchio", exc_type=ImportError)
    cell = load(CELLS / "biscuits-two-pallets.yaml", ["arm.joint_margin=0"])
    arm = cell.mounted.arm
    model = pin.buildModelFromXML(to_urdf(arm), mimic=True)
    data, frame = model.createData(), model.getFrameId("flange")
    group = next(iter(groups_of(cell).values()))
    held = cell.tool.flange_from_tcp @ tool_from_group(cell.tool, group, group.turns[0])
    low, high = np.array(cell.mounted.usable).T
    draws = np.random.default_rng(7).uniform(low, high, (4000, arm.dof))
    draws = draws[arm.limit_margin(draws).min(axis=1) > 1e-6]
    ends = []
    for q in draws:
        pin.framesForwardKinematics(model, data, q)
        ends.append(cell.mounted.world_from_base @ data.oMf[frame].homogeneous @ held)
    centres = np.array(ends)[:, :3, 3]
    turns, _ = reached_at(cell, group, centres, 8)
    assert len(centres) > 1000
    assert (turns == 8).all()  # the wrist turns all round
    # The other way: places on a level that nothing drawn comes near are not on its map.
    step, level = 0.2, 0.9
    near = centres[np.abs(centres[:, 2] - level) < step]
    across = np.arange(-20, 21) * step
    points = np.array([(x, y, level) for y in across for x in across])
    turns, _ = reached_at(cell, group, points, 1)
    inner = np.array([_all_round(cell, group, point, step) for point in points])
    distance = np.array([np.abs(near - point).max(axis=1).min() for point in points])
    assert inner.sum() > 100
    assert (distance[inner] < 2.0 * step).all()


def _all_round(cell, group, point, step):
    """Whether all corners of the cube around a place are in reach too: it is no edge."""
    corners = np.array([(i, j, k) for i in (-1, 1) for j in (-1, 1) for k in (-1, 1)]) * step
    turns, _ = reached_at(cell, group, np.vstack([point, point + corners]), 1)
    return bool(turns.all())


def test_a_tile_in_reach_has_joints_that_put_the_group_there():
    cell = load(CELLS / "tea-five-layers.yaml")
    group = groups_of(cell)["tea"]
    rng = np.random.default_rng(3)
    points = np.column_stack([rng.uniform(-1.6, 1.6, (200, 2)), np.full(200, 0.644)])
    turns, room = reached_at(cell, group, points, 4)
    assert 20 < (turns > 0).sum() < 180
    base_from_world = invert(cell.mounted.world_from_base)
    held = invert(cell.tool.flange_from_tcp @ tool_from_group(cell.tool, group, group.turns[0]))
    low, high = np.array(cell.mounted.usable).T
    for point, count, best in zip(points, turns, room, strict=True):
        found = 0
        most = -np.inf
        for k in range(4):
            turned = np.eye(4)
            c, s = np.cos(k * np.pi / 2), np.sin(k * np.pi / 2)
            turned[:2, :2] = [[c, -s], [s, c]]
            turned[:3, 3] = point
            answers = cell.mounted.arm.inverse((base_from_world @ turned @ held)[None])
            q = answers.q[0][answers.found[0]]
            shifts = np.array([-2.0, 0.0, 2.0]) * np.pi
            copies = np.array(
                [
                    [
                        np.max(np.minimum(v + shifts - lo, hi - v - shifts))
                        for v, lo, hi in zip(row, low, high, strict=True)
                    ]
                    for row in q
                ]
            )
            rooms = copies.min(axis=1) if len(q) else np.array([-np.inf])
            found += bool(rooms.max() >= 0.0)
            most = max(most, float(rooms.max()))
        assert found == count
        if count:
            assert best == pytest.approx(most, abs=1e-9)


def test_nothing_is_in_reach_beyond_the_grid():
    for name in ("tea-five-layers.yaml", "oats-two-heads.yaml", "tea-on-a-lift.yaml"):
        cell = load(CELLS / name)
        group = next(iter(groups_of(cell).values()))
        angle = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
        far = farthest(cell) * 1.0001
        ring = np.column_stack([far * np.cos(angle), far * np.sin(angle), np.zeros(24)])
        ring += cell.mounted.world_from_base[:3, 3]
        turns, _ = reached_at(cell, group, ring, 4)
        assert not turns.any()


# --- the survey and the command ---------------------------------------------------------------


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    path = tmp_path_factory.mktemp("cell") / "small.yaml"
    path.write_text(TEXT, encoding="utf-8")
    return path


def survey(path, jobs=1):
    with Runner(jobs=jobs) as runner:
        file = read_cell_file(path, ("stacks.main.layers=2",))
        return survey_reach(file, AskedReach(150.0, 4), runner)


@pytest.fixture(scope="module")
def found(small):
    return survey(small)


def test_there_is_a_map_for_each_height(found):
    assert [each.height for each in found.maps] == [394.0, 644.0]
    assert [each.layers for each in found.maps] == [(("A", 1),), (("A", 2),)]
    assert all(len(each.outlines) == 3 for each in found.maps)
    assert 0.0 in found.x
    assert found.base == (0.0, 0.0)


def test_the_map_keeps_all_that_is_in_reach(small, found):
    cell = load(small, ["stacks.main.layers=2"])
    x, y = grid_of(cell, 150.0)
    for level, each in zip(levels_of(cell), found.maps, strict=True):
        points = np.array([(px, py, level.height) for py in y for px in x])
        turns, _ = reached_at(cell, groups_of(cell)["box"], points, 4)
        assert sum(map(sum, each.turns)) == turns.sum() > 0
        k = int(turns.argmax())
        i = found.x.index(round(points[k, 0] * 1e3, 3))
        j = found.y.index(round(points[k, 1] * 1e3, 3))
        assert each.turns[j][i] == turns[k]


def test_answers_survive_the_survey_file():
    from envelope.surveys.reach import LevelMap

    level = LevelMap((0, 3), (None, 12.5))
    assert level_from_json(json.loads(json.dumps(level_to_json(level)))) == level


def test_text_and_map(found):
    text = reach_text(found)
    area = found.maps[0].area(150.0)
    assert f"{area:.2f} m2" in text
    assert "LEAST: " in text.splitlines()[-1]
    root = ET.fromstring(reach_map(found))
    words = {each.text for each in root.iter("{http://www.w3.org/2000/svg}text")}
    assert {"arm", "pallet/A", "turns of the tool in reach"} <= words
    told = [e.text for e in root.iter("{http://www.w3.org/2000/svg}title")][1:]
    reached = sum(count > 0 for each in found.maps for row in each.turns for count in row)
    assert len(told) == 2 * reached


def test_the_command_writes_results_and_map(small, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    Path("small.yaml").write_bytes(small.read_bytes())
    arguments = ["--step", "150", "--turns", "4", "--set", "stacks.main.layers=2", "--jobs", "1"]
    outputs = ["--results", "r.json", "--map", "m.svg", "--report", "p.html", "--quiet"]
    assert main(["survey", "reach", "small.yaml", *arguments, *outputs]) == 0
    assert capsys.readouterr().out.startswith("LEAST: ")
    assert Path("r.json").read_text(encoding="utf-8") == as_json(survey(Path("small.yaml")))
    assert sorted(p.name for p in Path().iterdir()) == ["m.svg", "p.html", "r.json", "small.yaml"]
    page = Path("p.html").read_text(encoding="utf-8")
    assert "<strong>LEAST IN REACH</strong>" in page
    assert page.count(" deg</title>") > 20


def test_a_grid_that_is_too_fine_is_told(small):
    with Runner() as runner, pytest.raises(SurveyError, match="take a larger step"):
        survey_reach(read_cell_file(small), AskedReach(1.0, 4), runner)
