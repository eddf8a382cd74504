"""A sheet that comes back filled in: the same answers as a cell file with those values."""

import csv
import io
import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from envelope.cell.errors import CellError
from envelope.cell.load import load
from envelope.cell.taught import TaughtFile
from envelope.checks.finding import Finding
from envelope.cli.main import main
from envelope.report.margins import as_text, losses
from envelope.report.sheet_files import as_csv, as_json
from envelope.report.sheet_of import set_up_sheet
from envelope.report.taught import put_in
from envelope.verify import check
from tests.report import synthetic
from tests.report.test_sheet import PAIRS

PALLET = "at: {x: 1300, y: -600, yaw: 90}"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("taught")


@cache
def _checked(text: str, folder):
    path = folder / f"cell{abs(hash(text))}.yaml"
    path.write_text(text)
    cell = load(path)
    result = check(cell)
    return cell, result, set_up_sheet(cell, result)


def fill(sheet, values: dict[str, float | str]) -> str:
    """The table with some values filled in: numbers are added to the plan, texts are written."""
    rows = list(csv.DictReader(io.StringIO(as_csv(sheet))))
    left = dict(values)
    for row in rows:
        value = left.pop(row["key"], None)
        if value is not None:
            shifted = isinstance(value, float)
            row["as taught"] = f"{float(row['planned']) + value:.3f}" if shifted else value
    assert not left, "not on the sheet"
    text = io.StringIO()
    writer = csv.DictWriter(text, rows[0])
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def taught(folder, values, text: str = PAIRS):
    cell, result, sheet = _checked(text, folder)
    path = folder / "t.csv"
    path.write_text(fill(sheet, values))
    return cell, result, put_in(cell, TaughtFile(path))


def told(result):
    """What a result says, without names of routes."""
    return [
        (j.placement.id, f.check, f.verdict, f.segment, f.between, f.value and round(f.value, 3))
        for j in result.placements
        for f in j.findings
    ]  # fmt: skip


def test_a_blank_sheet_and_one_filled_in_as_planned_change_nothing(folder):
    cell, _, sheet = _checked(PAIRS, folder)
    for text in (as_csv(sheet), as_json(sheet)):
        path = folder / "blank"
        path.write_text(text)
        entry = put_in(cell, TaughtFile(path))
        assert entry.filled == ()
        assert entry.cell is cell
    same = {number.key: number.text for number in sheet.numbers()}
    _, result, entry = taught(folder, same)
    assert len(entry.filled) == len(sheet.numbers())
    assert entry.changed == ()
    assert entry.cell is cell
    assert "no placement lost margin" in as_text(entry, result, result)


def test_numbers_that_only_a_check_gives_come_back_too(folder):
    """A sheet with shares used of load and hold is read like one without."""
    cell, _, sheet = _checked(PAIRS, folder)
    path = folder / "t.csv"
    more = "groups.pair.used.load,per group,,used,82.5,%,\r\n"
    text = as_csv(sheet)
    path.write_text(text if "used.load" in text else text + more)
    assert put_in(cell, TaughtFile(path)).cell is cell


@pytest.mark.parametrize("way", ["frame", "corners"])
def test_a_pallet_that_stands_elsewhere_is_checked_like_one_drawn_there(folder, way):
    """The pallet 8 mm farther out and 3 mm along, by its frame or by three of its corners."""
    head = "pallets.A."
    if way == "frame":
        values = {f"{head}frame.x": 8.0, f"{head}frame.y": 3.0}
    else:
        values = {
            f"{head}corner {n}.{axis}": by
            for n in (1, 2, 4)
            for axis, by in zip("xyz", (8.0, 3.0, 0.0), strict=True)
        }
    cell, planned, entry = taught(folder, values)
    drawn = PAIRS.replace(PALLET, "at: {x: 1308, y: -597, yaw: 90}")
    assert drawn != PAIRS
    _, wanted, _ = _checked(drawn, folder)
    now = check(entry.cell)
    assert told(now) == told(wanted) != told(planned)
    assert entry.cell.sha256 != cell.sha256
    assert entry.remarks == ()


def test_a_pallet_that_is_turned_by_its_corners(folder):
    values = {f"pallets.A.corner {n}.{axis}": 0.0 for n in (1, 2, 4) for axis in "xyz"}
    # 10 mm over 1200 mm: the length runs along +y, so that -x is to its left.
    values["pallets.A.corner 2.x"] = -10.0
    _, _, entry = taught(folder, values)
    world = entry.cell.pallets[0].world_from_pallet
    turned = np.degrees(np.arctan2(world[1, 0], world[0, 0])) - 90.0
    assert turned == pytest.approx(np.degrees(np.arctan2(10, 1200)), abs=1e-6)
    assert world[:3, 3] * 1e3 == pytest.approx([1300, -600, 144])
    assert "square" in entry.remarks[0]  # corner 4 was not turned with it


def test_joints_that_were_taught_count_like_the_pose_they_lead_to(folder):
    cell, result, sheet = _checked(PAIRS, folder)
    planned = {number.key: number.value for number in sheet.numbers()}
    arm, head = cell.mounted.arm, "placements.A/2/1"
    cycle = next(j.cycle for j in result.placements if j.placement.id == "A/2/1")
    q = np.radians([planned[f"{head}.place.{joint.name}"] for joint in arm.joints])
    flange = arm.chain.flange_poses(q[None])[0]
    wanted = flange.copy()
    wanted[:3, 3] += [0.004, -0.003, 0.002]  # in the base frame
    answers = arm.solve(wanted[None])[0]
    best = answers[np.nanargmin(np.abs(answers - q).max(axis=1))]
    assert cycle is not None
    values = {
        f"{head}.place.{joint.name}": f"{np.degrees(value):.5f}"
        for joint, value in zip(arm.joints, best, strict=True)
    }
    _, _, entry = taught(folder, values)
    old, new = (c.pallets[0].placements[-2] for c in (cell, entry.cell))
    assert old.id == new.id == "A/2/1"
    # The pallet's x runs along the world's y, its y against the world's x.
    assert (new.x - old.x) * 1e3 == pytest.approx(-3, abs=0.03)
    assert (new.y - old.y) * 1e3 == pytest.approx(-4, abs=0.03)
    assert (new.z - old.z) * 1e3 == pytest.approx(2, abs=0.03)
    assert entry.unused == ()


def test_a_pick_that_was_taught_off_the_centre_fails_the_offset(folder):
    """The controller still has the planned centre: cartons would land 3 mm off."""
    _, planned, entry = taught(folder, {"groups.single.turn 0.pick.x": 3.0})
    now = check(entry.cell)
    assert planned.verdict in ("pass", "marginal")
    for judged in now.placements:
        off = [f for f in judged.findings if f.check == "offset"]
        wrong = judged.placement.group.name == "single" and judged.cycle.pick_turn == 0.0
        assert (off[0].verdict == "fail") == wrong
    assert any(j.verdict == "fail" for j in now.placements)
    text = as_text(entry, planned, now)
    assert "pass -> fail" in text
    assert "1.00 beyond the limit" in text
    # With the centre taught along, it is right again.
    both = {"groups.single.turn 0.pick.x": 3.0, "groups.single.turn 0.centre.x": -3.0}
    _, _, entry = taught(folder, both)
    offsets = [f for j in check(entry.cell).placements for f in j.findings if f.check == "offset"]
    assert {f.verdict for f in offsets} == {"pass"}


def test_a_carton_that_hangs_lower_loses_margin_and_is_listed(folder):
    """A tool that is 6 mm longer than drawn: told by placement, with what is left."""
    _, planned, entry = taught(folder, {"tool.tcp.z": 6.0})
    text = as_text(entry, planned, check(entry.cell))
    assert "tool.tcp.z: 220.00 -> 226.00 mm (+6.00)" in text
    lost = re.findall(r"^  (A/\d/\d): .*lost (\d+\.\d+) \S+, (\d+\.\d+) left", text, re.M)
    assert lost
    assert f"{len(lost)} of {len(planned.placements)} placements lost margin" in text


def test_detectors_that_were_mounted_elsewhere_are_judged(folder):
    """One carton of 400 spans two that are 410 apart; 425 apart it does not."""
    cell, planned, entry = taught(folder, {"detectors.D2.at": -10.0})
    assert entry.cell is cell
    assert entry.unused == ()
    assert "can switch both on" in " ".join(entry.remarks)
    assert "can switch both on" in " ".join(as_text(entry, planned, planned).split())
    _, _, entry = taught(folder, {"detectors.D2.at": 5.0})
    assert entry.remarks == ()
    _, _, entry = taught(folder, {"detectors.D1.at": -6.0})
    assert "No detector sees carton 1 of pair" in entry.remarks[0]


def test_what_no_check_depends_on_is_said_to_be_unused(folder):
    key = "groups.pair.turn 0.ruler.downstream"
    cell, planned, entry = taught(folder, {key: 5.0})
    assert entry.unused == (key,)
    assert entry.cell is cell
    assert "(not used by the check)" in as_text(entry, planned, planned)


@pytest.mark.parametrize(
    ("values", "key", "said"),
    [
        ({"pallets.A.corner 2.x": 5.0}, "pallets.A.corner 1.x", "blank, while another corner"),
        (
            {
                **{f"pallets.A.corner {n}.{axis}": 1.0 for n in (1, 2, 4) for axis in "xyz"},
                "pallets.A.frame.x": 1.0,
            },
            "pallets.A.frame.x",
            "beside corners",
        ),
        ({"placements.A/1/1.place.joint 5": 1.0}, "placements.A/1/1.place.joint 1", "tilt"),
        (
            {"placements.A/1/1.place.joint 6": 1.0, "placements.A/1/1.x": 50.0},
            "placements.A/1/1.x",
            "from where the joints",
        ),
    ],
)
def test_what_contradicts_itself_is_refused(folder, values, key, said):
    with pytest.raises(CellError) as error:
        taught(folder, values)
    assert key in str(error.value)
    assert said in str(error.value)


def test_losses_have_the_right_sign_also_where_tolerances_fail_a_clearance():
    near = synthetic.NEAR._replace(value=25.0, upper=25.5)
    nearer = synthetic.NEAR._replace(value=22.0, upper=22.5, verdict="fail", worst_case=-1.0)
    old, new = synthetic.judged(1, near), synthetic.judged(1, nearer)
    (loss,) = losses(old.findings, new.findings)
    assert (loss.amount, loss.left) == (3.0, 2.0)
    assert losses(new.findings, old.findings) == []
    assert losses(old.findings, old.findings) == []
    shaft = Finding("reach", "marginal", 40.0, 50.0, "mm", "close by the axis")
    (loss,) = losses([shaft], [shaft._replace(value=30.0)])
    assert (loss.amount, loss.left) == (10.0, -20.0)
    used = Finding("load", "pass", 80.0, 100.0, "%", "rated load")
    (loss,) = losses([used], [used._replace(value=95.0)])
    assert (loss.amount, loss.left) == (15.0, 5.0)
    carried = Finding("stacking", "pass", 100.0, 60.0, "%", "carried")
    (loss,) = losses([carried], [carried._replace(value=70.0)])
    assert (loss.amount, loss.left) == (30.0, 10.0)
    queue = Finding("rate", "pass", 1500.0, 2000.0, "mm", "queue")
    (loss,) = losses([queue], [queue._replace(value=2000.0)])
    assert (loss.amount, loss.left) == (500.0, 0.0)
    brings = Finding("rate", "pass", 14.0, 12.0, "cartons/min", "sustained")
    (loss,) = losses([brings], [brings._replace(value=12.5, verdict="marginal")])
    assert (loss.amount, loss.left) == (1.5, 0.5)


LINE = """
line: {rate: 4}
"""


def test_the_rate_of_the_cell_as_a_whole_counts_too(folder):
    """Grip and release twice a second longer each: fewer cartons a minute."""
    longer = {"motion.grip time": 1.0, "motion.release time": 1.0}
    _, planned, entry = taught(folder, longer, PAIRS + LINE)
    text = as_text(entry, planned, check(entry.cell))
    assert re.search(r"The cell as a whole lost margin:\n  rate lost \d+\.\d+ cartons/min", text)


def test_an_inertia_that_was_taught_is_that_of_the_tool(folder):
    cell, _, entry = taught(folder, {"tool.inertia.xx": 0.01, "tool.inertia.xy": 0.002})
    by = entry.cell.tool.inertia - cell.tool.inertia
    assert by[0, 0] == pytest.approx(0.01, abs=6e-4)
    assert by[0, 1] == by[1, 0] == pytest.approx(0.002, abs=6e-4)
    assert entry.unused == ()
    with pytest.raises(CellError, match="no solid has this inertia"):
        taught(folder, {"tool.inertia.xx": 50.0})


def test_what_is_over_its_limit_is_told_before_what_is_new_and_near_it():
    used = Finding("load", "pass", 90.0, 100.0, "%", "rated load", segment=None)
    over = used._replace(verdict="fail", value=128.0, message="too heavy")
    near = Finding("load", "marginal", 98.5, 100.0, "%", "inertia", segment="transfer")
    for now in ([over, near], [near, over]):
        (loss,) = losses([used], now)
        assert (loss.amount, loss.left, loss.message) == (38.0, -28.0, "too heavy")


def test_a_placement_without_a_motion_any_more_is_listed():
    old = synthetic.judged(1, synthetic.NEAR)
    new = synthetic.judged(1, synthetic.OUT_OF_REACH)
    (loss,) = losses(old.findings, new.findings)
    assert loss.amount is None
    assert "beyond reach" in loss.message


def test_another_way_than_on_the_sheet_is_told(folder):
    _, planned, entry = taught(folder, {"tool.mass": 1.0})
    now = check(entry.cell)
    assert "Another way" not in as_text(entry, planned, now)
    first = now.placements[0]
    assert first.cycle is not None
    turned = replace(first, cycle=replace(first.cycle, pick_turn=np.pi))
    other = replace(now, placements=(turned, *now.placements[1:]))
    assert "sheet is taken to A/1/1: print a new sheet" in as_text(entry, planned, other)


def test_the_command_checks_both_and_its_status_is_that_of_the_cell_as_taught(folder, capsys):
    _, _, sheet = _checked(PAIRS, folder)
    path, table = folder / "cell.yaml", folder / "table.csv"
    path.write_text(PAIRS)
    table.write_text(fill(sheet, {"groups.single.turn 0.pick.x": 3.0}))
    arguments = ["check", str(path), "--taught", str(table), "--placement", "A/1/2"]
    assert main(arguments) == 1
    out = capsys.readouterr().out
    assert out.startswith("As taught: 1 numbers are filled in")
    assert "A/1/2: pass -> fail" in out or "A/1/2: marginal -> fail" in out
    assert "FAIL" in out.splitlines()[-1]
    assert main(["check", str(path), "--taught", str(path)]) == 2
    assert "has no column" in capsys.readouterr().err
