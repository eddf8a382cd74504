"""The set-up sheet of a small pair cell against the cell, the results and plain arithmetic."""

import csv
import io
import json
import re
import shutil
import subprocess
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from envelope.cell.load import load
from envelope.geometry.frames import invert
from envelope.motion.setup import from_components, groups_of, setup_of
from envelope.motion.stations import Stations
from envelope.report import sheet_files, sheet_text
from envelope.report.sheet_of import set_up_sheet
from envelope.verify import check

PAIRS = """
name: Pairs
arm:
  model: spherical-1800-25
  at: {x: 0, y: 0, z: 700}
  pedestal: {size: [400, 400]}
tool: {model: two-heads-400}
cartons:
  oats: {size: [400, 260, 230], mass: 6}
groups:
  single: {row: {carton: oats, count: 1}, fields: {1: left}, turns: [0, 180]}
  pair: {row: {carton: oats, count: 2, along: x}, fields: {1: left, 2: right}, turns: [0, 180]}
infeed:
  at: {x: 400, y: -900, z: 700, yaw: 180}
  width: 400
pallets:
  A: {size: [1200, 800, 144], at: {x: 1300, y: -600, yaw: 90}, stack: main}
stacks:
  main: {layers: 2, patterns: [row]}
patterns:
  row:
    order: as written
    placements:
      - {group: pair, at: {x: 400, y: 140}}
      - {group: single, at: {x: 1000, y: 140}}
"""


@cache
def _made(text: str, folder: Path):
    path = folder / f"cell{abs(hash(text))}.yaml"
    path.write_text(text)
    cell = load(path)
    result = check(cell)
    return cell, result, set_up_sheet(cell, result)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("sheet")


@pytest.fixture(scope="module")
def made(folder):
    return _made(PAIRS, folder)


def values(sheet) -> dict[str, float]:
    """By key, in mm, deg, kg."""
    return {number.key: number.value for number in sheet.numbers()}


def frame_of(sheet, key: str) -> np.ndarray:
    found = values(sheet)
    lengths = [found[f"{key}.{axis}"] / 1e3 for axis in "xyz"]
    return from_components((*lengths, *np.radians([found[f"{key}.{axis}"] for axis in "abc"])))


def joints_of(sheet, cell, key: str) -> np.ndarray:
    """The flange in the base frame at joints on the sheet."""
    found = values(sheet)
    q = np.radians([found[f"{key}.{joint.name}"] for joint in cell.mounted.arm.joints])
    return cell.mounted.arm.chain.flange_poses(q[None])[0]


def test_a_passing_pair_cell_has_a_complete_sheet(made):
    cell, result, sheet = made
    assert result.verdict in ("pass", "marginal")
    found = values(sheet)
    assert len(found) == len(sheet.numbers()), "two numbers under one key"
    assert set(setup_of(cell)) <= set(found)
    titles = " ".join(block.title for section in sheet.sections for block in section.blocks)
    for needed in (
        *("Frames", "Tool", "home", "payload", "ruler", "outputs", "corners", "counts"),
        *("group centre in tool frame", "Detectors", "seen before", "Truth table", "wander"),
        *("last cartons", "tier sheet", "What stands still", "What is carried"),
    ):
        assert needed in titles
    for judged in result.placements:
        for point in ("approach", "place"):
            assert f"placements.{judged.placement.id}.{point}.joint 6" in found
        assert f"placements.{judged.placement.id}.lifted" in found


def test_joints_at_the_pick_give_the_pick_pose_printed(made):
    cell, _, sheet = made
    base_from_infeed = frame_of(sheet, "infeed")
    for group in ("pair", "single"):
        tcp = joints_of(sheet, cell, f"groups.{group}.turn 0.joints") @ frame_of(sheet, "tool.tcp")
        printed = base_from_infeed @ frame_of(sheet, f"groups.{group}.turn 0.pick")
        assert np.abs(tcp - printed)[:3, 3].max() < 2e-5
        assert np.abs(tcp - printed)[:3, :3].max() < 2e-5


def test_joints_at_a_place_put_the_group_where_the_sheet_says(made):
    cell, result, sheet = made
    found = values(sheet)
    for judged in result.placements:
        placement = judged.placement
        key = f"placements.{placement.id}"
        tcp = joints_of(sheet, cell, f"{key}.place") @ frame_of(sheet, "tool.tcp")
        turn = round(np.degrees(judged.cycle.pick_turn))
        centre = f"groups.{placement.group.name}.turn {turn}.centre"
        offset = np.array([found[f"{centre}.x"], found[f"{centre}.y"], 0.0, 1e3]) / 1e3
        at = invert(frame_of(sheet, "pallets.A.frame")) @ tcp @ offset
        wanted = np.array([found[f"{key}.{axis}"] for axis in "xyz"]) / 1e3
        assert np.abs(at[:3] - wanted).max() < 3e-5, placement.id


def test_the_approach_vector_leads_from_the_approach_to_the_place(made):
    cell, _, sheet = made
    found = values(sheet)
    key = "placements.A/1/2"
    start = joints_of(sheet, cell, f"{key}.approach") @ frame_of(sheet, "tool.tcp")
    end = joints_of(sheet, cell, f"{key}.place") @ frame_of(sheet, "tool.tcp")
    pallet = frame_of(sheet, "pallets.A.frame")[:3, :3]
    vector = pallet.T @ (start - end)[:3, 3] * 1e3
    printed = [found[f"{key}.from.{axis}"] for axis in "xyz"]
    assert vector == pytest.approx(printed, abs=0.05)
    assert np.hypot(*printed[:2]) == pytest.approx(50, abs=0.05)  # motion.approach_slant
    assert printed[2] == pytest.approx(100, abs=0.05)


def test_pallet_frame_and_corners_are_the_cells(made):
    cell, _, sheet = made
    found = values(sheet)
    # By hand: corner 1 at (1300, -600, 144) in the world, the base at 700, the length along +y.
    assert [found[f"pallets.A.corner 1.{a}"] for a in "xyz"] == pytest.approx([1300, -600, -556])
    assert [found[f"pallets.A.corner 2.{a}"] for a in "xyz"] == pytest.approx([1300, 600, -556])
    assert [found[f"pallets.A.corner 4.{a}"] for a in "xyz"] == pytest.approx([500, -600, -556])
    assert found["pallets.A.layer 1.pair"] == 1
    assert found["pallets.A.all layers.single"] == 2
    stations = Stations(cell, cell.pallets[0])
    for group in groups_of(cell):
        pose = stations.pick(group, 0.0)
        printed = frame_of(sheet, "infeed") @ frame_of(sheet, f"groups.{group.name}.turn 0.pick")
        assert np.abs(pose - printed).max() < 1e-9


def test_payload_and_ruler_by_hand(made):
    _, _, sheet = made
    found = values(sheet)
    # Tool 8 kg at 118; two cartons of 6 kg whose middles hang 220 + 115 below the flange.
    assert found["groups.pair.turn 0.payload.mass"] == pytest.approx(20)
    assert found["groups.pair.turn 0.payload.z"] == pytest.approx((8 * 118 + 12 * 335) / 20)
    assert found["groups.single.turn 0.payload.x"] == pytest.approx(-6 * 200 / 14)
    # Heads of 360 over cartons of 400: 20 at each end; guides 10 beside 260 wide cartons.
    assert found["groups.pair.turn 0.ruler.downstream"] == pytest.approx(20)
    assert found["groups.pair.turn 0.ruler.to guide right"] == pytest.approx(10)
    assert found["groups.pair.turn 0.ruler.pressed left"] == pytest.approx(10)
    assert found["groups.single.size.along"] == pytest.approx(400)


def test_the_idle_head_is_stated_off(made):
    text = " ".join(sheet_text.as_text(made[2]).split())
    assert "ON left; OFF right: idle, and it must stay off" in text


def test_pages_fit_on_a4_and_nothing_is_cut(made):
    sheet = made[2]
    printed = sheet_text.as_text(sheet)
    pages = printed.split("\f")
    assert len(pages) > 3
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in page.splitlines()[0]
        assert len(page.splitlines()) <= sheet_text.LINES
        assert max(len(line) for line in page.splitlines()) <= sheet_text.WIDTH
    body = re.sub(r"\s+", " ", printed)
    for number in sheet.numbers():
        assert re.search(rf"{re.escape(number.text)} _____", body), number.key
    assert printed.count("_" * 9) == len(sheet.numbers())
    for block in (block for section in sheet.sections for block in section.blocks):
        for remark in block.remarks:
            assert remark in body


def test_a_long_column_runs_over_to_the_next_page_whole():
    from envelope.report.sheet import Block, Column, Number, Section, Sheet

    numbers = tuple(Number(f"k{n}", f"n{n}", float(n), "mm", 2) for n in range(150))
    block = Block("Long", ("A remark.",), (Column("all", numbers),))
    sheet = Sheet("Cell\x1b[2J", "ab" * 32, "PASS", (Section("one", (block,)),))
    text = sheet_text.as_text(sheet)
    assert all(len(page.splitlines()) <= sheet_text.LINES for page in text.split("\f"))
    assert [line for line in text.splitlines() if re.match(r"n\d", line)] == [
        line for line in text.splitlines() if "____" in line
    ]
    assert text.count("_" * 9) == 150
    assert "\x1b" not in text


def test_files_hold_the_same_numbers_as_the_pages(made):
    sheet = made[2]
    rows = list(csv.DictReader(io.StringIO(sheet_files.as_csv(sheet))))
    data = json.loads(sheet_files.as_json(sheet))
    listed = [n for s in data["sections"] for b in s["blocks"] for n in b["numbers"]]
    assert [row["key"] for row in rows] == [n.key for n in sheet.numbers()]
    assert [row["planned"] for row in rows] == [n.text for n in sheet.numbers()]
    assert [entry["planned"] for entry in listed] == [float(n.text) for n in sheet.numbers()]
    assert {row["as taught"] for row in rows} == {""}
    html = sheet_text.as_html(sheet)
    assert html.count("<pre>") == len(sheet_text.pages(sheet))


def test_only_the_spacing_of_the_heads_changes_offset_reach_and_sheet_alike(folder):
    """Heads 20 mm further apart: the single hangs 10 mm further out; everything follows."""
    tool = Path(__file__).parents[2] / "models" / "tools" / "two-heads-400.yaml"
    wider = tool.read_text().replace("x: -200", "x: -210").replace("x: 200", "x: 210")
    wider = wider.replace("[-200, 0]", "[-210, 0]").replace("[200, 0]", "[210, 0]")
    (folder / "wider.yaml").write_text(wider)
    text = PAIRS.replace("model: two-heads-400", "model: wider.yaml")
    before, after = _made(PAIRS, folder), _made(text, folder)
    old, new = values(before[2]), values(after[2])
    centre = "groups.single.turn 0.centre.x"
    assert new[centre] - old[centre] == pytest.approx(-10)
    pick = "groups.single.turn 0.pick.x"
    assert new[pick] - old[pick] == pytest.approx(10)  # against the travel
    payload = "groups.single.turn 0.payload.x"
    assert new[payload] - old[payload] == pytest.approx(-10 * 6 / 14)
    place = "placements.A/1/2.x"
    assert new[place] == old[place]  # the carton lands where it landed
    rooms = [_room(entry[1], "A/1/2") for entry in (before, after)]
    assert rooms[0] != rooms[1]
    cell, _, sheet = after
    tcp = joints_of(sheet, cell, "placements.A/1/2.place") @ frame_of(sheet, "tool.tcp")
    turn = round(np.degrees(after[1].placements[1].cycle.pick_turn))
    offset = np.array([new[f"groups.single.turn {turn}.centre.x"] / 1e3, 0.0, 0.0, 1.0])
    at = invert(frame_of(sheet, "pallets.A.frame")) @ tcp @ offset
    assert at[:2] * 1e3 == pytest.approx([1000, 140], abs=0.05)


def _room(result, name: str) -> float:
    judged = next(j for j in result.placements if j.placement.id == name)
    return next(f.value for f in judged.findings if f.check == "reach" and f.unit == "deg")


def test_html_pages_are_no_larger_than_a4_leaves_room_for(made):
    """By the numbers of its own style: monospaced letters are 0.6 em wide in common fonts."""
    html = sheet_text.as_html(made[2])
    up, aside = map(float, re.search(r"margin: ([\d.]+)mm ([\d.]+)mm", html).groups())
    size, line = map(float, re.search(r"font: ([\d.]+)pt/([\d.]+)", html).groups())
    point = 25.4 / 72  # [mm]
    assert sheet_text.LINES * size * line * point <= 297 - 2 * up
    assert sheet_text.WIDTH * 0.6 * size * point <= 210 - 2 * aside


@pytest.mark.skipif(shutil.which("chromium") is None, reason="no browser that prints")
def test_a_browser_prints_each_page_on_one_sheet_of_a4(made, tmp_path):
    page, printed = tmp_path / "sheet.html", tmp_path / "sheet.pdf"
    page.write_text(sheet_text.as_html(made[2]), encoding="utf-8")
    command = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
    command += [f"--user-data-dir={tmp_path / 'profile'}", "--no-pdf-header-footer"]
    subprocess.run(
        [*command, f"--print-to-pdf={printed}", page.as_uri()],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    content = printed.read_bytes()
    assert len(re.findall(rb"/Type\s*/Page\b", content)) == len(sheet_text.pages(made[2]))
    for box in re.findall(rb"/MediaBox\s*\[([^\]]*)\]", content):
        assert [float(v) for v in box.split()] == pytest.approx([0, 0, 595.3, 841.9], abs=1)


def test_long_names_are_not_cut_either(folder):
    """Names may have 60 characters; they go over several lines."""
    long = {name: (f"{name} " * 30)[:59].strip() for name in ("single", "pair", "oats")}
    text = PAIRS.replace("  A: {", f"  {'A' * 60}: {{")
    for name, longer in long.items():
        text = text.replace(name, longer)
    _, _, sheet = _made(text, folder)
    printed = sheet_text.as_text(sheet)
    for page in printed.split("\f"):
        assert len(page.splitlines()) <= sheet_text.LINES
        assert max(len(line) for line in page.splitlines()) <= sheet_text.WIDTH
    body = re.sub(r"\s+", " ", printed)
    for block in (block for section in sheet.sections for block in section.blocks):
        assert block.title in re.sub(r" -+ ", " ", body)
        assert all(column.title in body for column in block.columns)
    assert printed.count("_" * 9) == len(sheet.numbers())
