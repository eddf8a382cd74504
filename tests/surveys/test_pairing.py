"""Pairing: the fewest cycles of what the checks let through, and never a file that they fail.

The search is tested against a check that answers as it is told; the last tests ask the real one.
"""

import random
from functools import cache
from pathlib import Path

import pytest

from envelope.cell.load import load
from envelope.cell.variants import CellFile
from envelope.checks.finding import Finding, Judged, Result
from envelope.cli.main import main
from envelope.report.pairing import pairing_text
from envelope.surveys import pairing
from envelope.surveys.errors import SurveyError
from envelope.verify import check

ROOT = Path(__file__).parents[2]
CELL = """\
name: Pairs   # a remark that stays
arm: {model: spherical-1800-25, at: {x: 0, y: 0, z: 700}, pedestal: {size: [400, 400]}}
tool: {model: two-heads-400}
cartons: {oats: {size: [400, 260, 230], mass: 6}}
groups:
  pair: {row: {carton: oats, count: 2, along: x}, fields: {1: left, 2: right}, turns: [0, 180]}
  across: {row: {carton: oats, count: 2, along: y}, fields: {1: left, 2: right}}
infeed: {at: {x: 400, y: -900, z: 700, yaw: 180}, width: 400}
pallets:
  A: {size: [1200, 800, 144], at: {x: 1300, y: -600, yaw: 90}, stack: main}
stacks:
  main: {layers: 2, patterns: [rows]} # two of them
patterns:
  rows: {column: {group: oats, orientation: lengthwise}}
"""
PASS = Finding("reach", "pass", 9.0, 0.0, "deg", "room enough")


def cell_file(text=CELL, *settings):
    return CellFile("cell.yaml", text.encode(), settings)


def answers(monkeypatch, fails, asked=None):
    """A check that fails the placements of which `fails(placement, standing)` names a check."""

    def told(cell, *, placements=None, jobs=1, progress=None):
        judged, standing = [], []
        for pallet in cell.pallets:
            for p in pallet.placements:
                here = [q for q in standing if (q.pallet, q.layer) == (p.pallet, p.layer)]
                name = fails(p, here)
                found = Finding(name, "fail", -1.0, 0.0, "mm", "as told") if name else PASS
                standing.append(p)
                if placements is None or p.id in placements:
                    judged.append(Judged(p, (PASS, found), None))
        if asked is not None:
            asked.append(None if placements is None else set(placements))
        return Result(cell.name, cell.sha256, tuple(judged))

    monkeypatch.setattr(pairing, "check", told)


def covered(placement):
    """Where the cartons of a placement stand, in mm."""
    return frozenset(
        (round(pose[0, 3] * 1e3), round(pose[1, 3] * 1e3)) for _, pose in placement.carton_poses()
    )


def test_everything_passes_and_the_file_is_the_user_s_but_for_its_patterns(monkeypatch):
    answers(monkeypatch, lambda p, _: None)
    found = pairing.pair(cell_file())
    assert found.passes
    assert [(layer.before, layer.cycles) for layer in found.layers] == [(9, 5), (9, 5)]
    text = found.file.content.decode()
    kept = [line for line in CELL.splitlines() if "main: {layers" not in line]
    assert [line for line in text.splitlines() if line in kept] == kept
    assert "  main: {layers: 2, patterns: [rows in groups]} # two of them" in text


def test_the_cartons_stand_where_they_stood(monkeypatch):
    answers(monkeypatch, lambda p, _: None)
    for parts in (False, True):
        found = pairing.pair(cell_file(), in_parts=parts)
        before, after = (
            sorted((p.layer, xy) for p in cell.pallets[0].placements for xy in covered(p))
            for cell in (cell_file().cell(), found.file.cell())
        )
        assert before == after


@pytest.mark.parametrize("seed", range(4))
def test_fewest_of_all_that_the_check_lets_through(monkeypatch, seed):
    """Any sets of cartons fail, wherever they come in the order: the rest is searched by hand."""
    rng = random.Random(seed)
    bad = {}

    def fails(p, _):
        if len(p.items) == 1:
            return None
        key = (p.layer, covered(p))
        if key not in bad:
            bad[key] = random.Random(f"{seed} {sorted(key[1])} {p.layer}").random() < 0.5
        return rng.choice(["reach", "load", "approach"]) if bad[key] else None

    answers(monkeypatch, fails)
    found = pairing.pair(cell_file())
    assert found.passes
    for layer in found.layers:
        assert layer.cycles == fewest_by_hand(lambda s, n=layer.layer: _good(seed, s, n))


def _good(seed, cartons, layer):
    return random.Random(f"{seed} {sorted(cartons)} {layer}").random() >= 0.5


def fewest_by_hand(good):
    """Nine cartons in three rows of three, 400 x 260: neighbours in a row and across rows."""
    places = [(200 + 400 * i, 140 + 260 * j) for j in range(3) for i in range(3)]
    pairs = [
        frozenset([a, b])
        for a in places
        for b in places
        if (b[0] - a[0], b[1] - a[1]) in ((400, 0), (0, 260))
    ]
    allowed = [p for p in pairs if good(p)]

    @cache
    def least(left):
        if not left:
            return 0
        first = min(left)
        ways = [frozenset([first]), *(p for p in allowed if first in p and p <= left)]
        return 1 + min(least(left - way) for way in ways)

    return least(frozenset(places))


def test_only_layers_that_changed_are_checked_again_and_all_of_them_at_the_end(monkeypatch):
    asked = []
    answers(monkeypatch, lambda p, _: "load" if len(p.items) > 1 and p.layer == 2 else None, asked)
    found = pairing.pair(cell_file())
    assert found.passes
    assert [layer.cycles for layer in found.layers] == [5, 9]
    assert asked[0] is None
    assert asked[-1] is None
    assert len(asked) > 2
    assert all(name.startswith("A/2/") for names in asked[1:-1] for name in names)


def test_another_order_is_tried_before_a_group_is_refused(monkeypatch):
    """A pair that nothing may stand beside at greater x: laid from the other end, it passes."""

    def fails(p, standing):
        beside = [q for q in standing if abs(q.y - p.y) < 0.1 and q.x > p.x]
        return "approach" if len(p.items) > 1 and beside else None

    answers(monkeypatch, fails)
    found = pairing.pair(cell_file(), ["pair"])
    assert found.passes
    assert not found.refused
    assert [layer.cycles for layer in found.layers] == [6, 6]


def test_what_fails_in_every_way_is_told_and_nothing_is_good(monkeypatch):
    corner = (200, 140)
    answers(monkeypatch, lambda p, _: "reach" if corner in covered(p) and p.layer == 2 else None)
    found = pairing.pair(cell_file())
    assert not found.passes
    assert {r.place.layer for r in found.stuck} == {2}
    assert "FAIL: some cartons fail in every way tried" in pairing_text(found)


def test_a_single_that_fails_is_brought_in_a_pair_where_that_passes(monkeypatch):
    """One carton cannot go alone: with it in a pair, another one is left over."""
    taken_alone = []

    def fails(p, _):
        alone = covered(p) == frozenset([(1000, 140)])
        taken_alone.append(alone)
        return "reach" if alone else None

    answers(monkeypatch, fails)
    found = pairing.pair(cell_file(), ["pair"])
    assert any(taken_alone)
    assert found.passes
    assert [layer.cycles for layer in found.layers] == [6, 6]


def test_what_was_not_checked_or_not_answered_never_passes(monkeypatch):
    for findings in ((), (Finding("load", "not checked", None, None, "", "no rating"),)):

        def told(cell, *, placements=None, jobs=1, progress=None, findings=findings):
            judged = tuple(Judged(p, findings, None) for p in cell.pallets[0].placements)
            return Result(cell.name, cell.sha256, judged)

        monkeypatch.setattr(pairing, "check", told)
        assert not pairing.pair(cell_file()).passes


def test_what_only_the_whole_cell_fails_is_not_written(monkeypatch, tmp_path):
    """The rate is nobody's placement: no group is refused for it, and nothing is written."""

    def told(cell, *, placements=None, jobs=1, progress=None):
        judged = tuple(Judged(p, (PASS,), None) for p in cell.pallets[0].placements)
        slow = Finding("rate", "fail", 7.0, 8.0, "cartons/min", "too slow")
        return Result(cell.name, cell.sha256, judged, findings=(slow,))

    monkeypatch.setattr(pairing, "check", told)
    monkeypatch.chdir(tmp_path)
    Path("cell.yaml").write_text(CELL, encoding="utf-8")
    assert main(["pair", "cell.yaml", "--best", "best.yaml", "--quiet"]) == 1
    assert sorted(p.name for p in Path().iterdir()) == ["cell.yaml"]


def test_two_pallets_of_one_stack_get_a_stack_each_where_they_differ(monkeypatch):
    second = "  B: {size: [1200, 800, 144], at: {x: 1300, y: 900, yaw: 90}, stack: main}\nstacks"
    text = CELL.replace("stacks", second, 1)
    answers(monkeypatch, lambda p, _: "load" if len(p.items) > 1 and p.pallet == "B" else None)
    found = pairing.pair(cell_file(text))
    assert found.passes
    cell = found.file.cell()
    assert [len({p.cycle for p in pallet.placements}) for pallet in cell.pallets] == [10, 18]
    assert "main B" in found.file.content.decode()


def test_cells_that_cannot_be_paired_are_told_so():
    with pytest.raises(SurveyError, match="there at the start"):
        pairing.pair(cell_file(CELL, "pallets.A.done=3"))
    with pytest.raises(SurveyError, match='no group "pear"'):
        pairing.pair(cell_file(), ["pear"])
    with pytest.raises(SurveyError, match="more than one carton"):
        pairing.pair(cell_file(), ["oats"])


def test_where_the_file_has_no_group_the_usual_rows_are_tried(monkeypatch):
    answers(monkeypatch, lambda p, _: None)
    lines = [line for line in CELL.splitlines() if "row: {" not in line and line != "groups:"]
    found = pairing.pair(cell_file("\n".join(lines) + "\n"))
    assert found.passes
    assert [layer.cycles for layer in found.layers] == [6, 6]  # in each row one is left over
    assert dict(found.lacking).keys() == {"pair across", "row of three"}
    assert "pair along" in found.file.content.decode()


def test_a_pattern_of_groups_is_taken_apart_first(monkeypatch):
    answers(monkeypatch, lambda p, _: None)
    text = (ROOT / "cells/oats-two-heads.yaml").read_text(encoding="utf-8")
    found = pairing.pair(CellFile("cell.yaml", text.encode(), ("stacks.main.layers=2",)))
    assert [(t.cartons, t.before, t.cycles) for t in found.layers] == [(9, 6, 6)] * 2
    assert "layers: 2," in found.file.content.decode()


def test_an_approach_that_the_user_wrote_stays_with_its_carton(monkeypatch):
    answers(monkeypatch, lambda p, _: None)
    rows = [
        "{group: oats, at: {x: 200, y: 130}, approach: -y}",
        "{group: oats, at: {x: 900, y: 700}}",
    ]
    pattern = "rows: {placements: [" + ", ".join(rows) + "]}"
    text = CELL.replace(CELL.splitlines()[-1].strip(), pattern)
    found = pairing.pair(cell_file(text))
    by_place = {covered(p): p.approach for p in found.file.cell().pallets[0].placements}
    assert by_place[frozenset([(200, 130)])] == (0.0, -1.0)
    assert found.file.content.decode().count("approach") == 2


def test_the_real_check_passes_the_file_that_is_written(monkeypatch, tmp_path, capsys):
    monkeypatch.chdir(tmp_path)
    text = (ROOT / "cells/oats-two-heads.yaml").read_text(encoding="utf-8")
    Path("cell.yaml").write_text(text, encoding="utf-8")
    one = ["--set", "stacks.main.layers=1", "--set", "line.rate=4", "--jobs", "1"]
    assert main(["pair", "cell.yaml", *one, "--best", "best.yaml"]) == 0
    assert capsys.readouterr().out.endswith("PASS: 9 cartons in 6 cycles, 6 before.\n")
    cell = load("best.yaml")
    assert check(cell).verdict == "pass"
    assert main(["pair", "cell.yaml", *one, "--best", "best.yaml"]) == 2  # it is there already


def test_a_pair_too_heavy_for_the_wrist_is_refused_and_its_cartons_go_singly():
    """Two cartons of 10 kg and a tool of 8 kg on an arm for 25 kg; one of them it bears."""
    rows = ", ".join(f"{{group: oats, at: {{x: {x}, y: 400}}}}" for x in (400, 800))
    text = CELL.replace("mass: 6", "mass: 10").replace("layers: 2", "layers: 1")
    text = text.replace("{column: {group: oats, orientation: lengthwise}}", f"placements: [{rows}]")
    text = text.replace("rows: placements", "rows: {placements") + "}"
    file = cell_file(text.replace("]\n}", "]}\n"))
    pair = {"placements": [{"group": "pair", "at": {"x": 600, "y": 400}}]}
    heavy = check(file.with_values({("patterns", "rows"): pair}).cell())
    findings = [finding for judged in heavy.placements for finding in judged.findings]
    assert {finding.check for finding in findings if finding.verdict == "fail"} == {"load"}
    found = pairing.pair(file)
    assert [(r.place.group, r.check) for r in found.refused] == [("pair", "load")]
    assert found.passes
    assert check(found.file.cell()).verdict in ("pass", "marginal")
    assert [layer.counts for layer in found.layers] == [(("oats", 2),)]
