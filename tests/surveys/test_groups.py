"""Ways of grouping side by side: what is told is what the check found, and never more."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from envelope.cell.variants import CellFile
from envelope.checks.finding import Finding, Judged, Result
from envelope.cli.main import main
from envelope.report.groups import groups_line, groups_text
from envelope.report.groups_picture import groups_picture
from envelope.surveys import groups
from envelope.surveys.errors import SurveyError
from envelope.surveys.grouped import GroupsSurvey, Measured, WayFound, WayJudged
from envelope.surveys.groups import from_json, judged_way, survey_groups, to_json
from envelope.surveys.runner import Runner
from envelope.surveys.ways import laid_out

ROOT = Path(__file__).parents[2]
CELL = """\
name: Ways
arm: {model: spherical-1800-25, at: {x: 0, y: 0, z: 700}, pedestal: {size: [400, 400]}}
tool: {model: two-heads-400}
cartons: {oats: {size: [400, 260, 230], mass: 6}}
infeed: {at: {x: 400, y: -900, z: 700, yaw: 180}, width: 400}
pallets:
  A: {size: [1200, 800, 144], at: {x: 1300, y: -600, yaw: 90}, stack: main}
stacks:
  main: {layers: 2, patterns: [rows]}
patterns:
  rows: {column: {group: oats, orientation: lengthwise}}
"""
WIDE = CELL.replace("tool: {model: two-heads-400}", "tool: {model: one-field-400x300}")
PASS = Finding("reach", "pass", 9.0, 0.0, "deg", "room enough")
LOADED = Finding("load", "pass", 61.0, 100.0, "%", "borne")
HEAVY = Finding("load", "fail", 108.0, 100.0, "%", "too heavy")
NEAR = Finding("approach", "pass", 14.0, 10.0, "mm", "clear", between=("tool/beam", "carton/A/1/1"))
TIGHT = Finding("approach", "pass", 0.2, 0.1, "mm", "clear", between=("carton/A/1/2", "pallet/A"))
HIT = Finding("collision", "fail", -12.0, -0.1, "mm", "overlaps", between=("link/arm", "pallet/A"))


def cell_file(text=CELL, *settings):
    return CellFile("cell.yaml", text.encode(), settings)


def told(monkeypatch, findings):
    """A check that finds what `findings(placement)` says."""

    def check(cell):
        judged = tuple(Judged(p, findings(p), None) for p in cell.pallets[0].placements)
        return Result(cell.name, cell.sha256, judged)

    monkeypatch.setattr(groups, "check", check)


def surveyed(file, *lists):
    with Runner[WayJudged]() as runner:
        return survey_groups(file, lists, runner)


def test_the_ways_are_single_cartons_the_usual_rows_and_what_the_file_has():
    names = [laid.way.name for laid in laid_out(cell_file())]
    assert names == [
        "single cartons",
        "pair along",
        "pair along, in parts",
        "pair across",
        "row of three",
    ]
    lacking = {m.way.name: m.trouble for m in laid_out(cell_file()) if m.trouble}
    assert lacking.keys() == {"pair across", "row of three"}
    assert all("the tool cannot hold it" in reason for reason in lacking.values())


def test_a_row_that_the_file_has_under_its_own_name_is_not_tried_twice():
    own = "groups: {two: {row: {carton: oats, count: 2}}}\ninfeed"
    names = [laid.way.name for laid in laid_out(cell_file(CELL.replace("infeed", own, 1)))]
    assert names[:3] == ["single cartons", "two", "two, in parts"]
    assert "pair along" not in names


def test_mixed_takes_the_fewest_cycles_of_all():
    laid = laid_out(cell_file(WIDE))
    cycles = {
        m.way.name: len({p.cycle for p in m.file.cell().pallets[0].placements})
        for m in laid
        if m.file is not None
    }
    assert cycles["single cartons"] == 18
    assert {"pair along", "pair across", "mixed"} <= cycles.keys()
    assert cycles["mixed"] == min(cycles[name] for name in cycles if "parts" not in name)
    assert cycles["mixed"] < cycles["pair along"]


def test_a_way_that_comes_to_the_same_file_is_told_and_not_checked_again():
    """Two cartons side by side: one pair brings both, and parts bring nothing more."""
    text = CELL.replace("column: {group: oats, orientation: lengthwise}", "placements: [%s]")
    rows = ", ".join(f"{{group: oats, at: {{x: {x}, y: 400}}}}" for x in (200, 600))
    laid = {m.way.name: m for m in laid_out(cell_file(text % rows))}
    assert laid["pair along, in parts"].same_as == "pair along"
    assert laid["pair along, in parts"].file is None


def test_a_group_that_no_cartons_of_the_pattern_form_says_so():
    text = CELL.replace("column: {group: oats, orientation: lengthwise}", "placements: [%s]")
    rows = "{group: oats, at: {x: 200, y: 130}}, {group: oats, at: {x: 900, y: 600}}"
    laid = {m.way.name: m for m in laid_out(cell_file(text % rows))}
    assert laid["pair along"].file is None
    assert "no cartons of the pattern" in laid["pair along"].trouble


def test_any_list_of_groups_and_a_name_that_is_none():
    names = [m.way.name for m in laid_out(cell_file(WIDE), [["pair along", "pair across"]])]
    assert names == ["pair along + pair across", "pair along + pair across, in parts"]
    with pytest.raises(SurveyError, match='no group "pear"'):
        laid_out(cell_file(), [["pear"]])
    with pytest.raises(SurveyError, match="there at the start"):
        laid_out(cell_file(CELL, "pallets.A.done=2"))


def test_a_group_of_cartons_that_no_layer_has_is_told_apart_from_no_group_at_all():
    more = (
        "cartons: {oats: {size: [400, 260, 230], mass: 6}, box: {size: [300, 260, 230], mass: 5}}"
    )
    text = CELL.replace(CELL.splitlines()[3], more)
    own = "groups: {boxes: {row: {carton: box, count: 2}}}\ninfeed"
    laid = laid_out(cell_file(text.replace("infeed", own, 1)), [["boxes"]])
    assert [m.trouble for m in laid] == ["no layer has all of its cartons"] * 2


def test_numbers_are_those_of_the_findings_and_what_is_not_known_is_a_dash(monkeypatch):
    told(monkeypatch, lambda p: (PASS, LOADED if len(p.items) == 1 else HEAVY, NEAR, TIGHT))
    found, _ = surveyed(cell_file())
    by_name = {way.name: way.judged for way in found.ways}
    single, pair = by_name["single cartons"], by_name["pair along"]
    assert (single.load.value, pair.load.value) == (61.0, 108.0)
    assert single.fits
    assert len(pair.failing) == 6  # three pairs in each of two layers
    assert single.clearance.value == 14.0  # 0.2 mm is all that is asked for, close to rest
    assert single.hold == Measured(None, "", "the tool's file does not say how strongly it holds")
    assert single.rate.value is None  # no motion was found
    assert found.ways[found.best].name == "single cartons"
    text = groups_text(found)
    assert "hold -: the tool's file does not say how strongly it holds." in text
    assert "cartons/min -: no motion." in text
    assert "6 of 12 fail" in text
    assert "pair along: 6 of 12 placements fail (load 6)" in text


def test_an_overlap_counts_wherever_it_is():
    cell = cell_file().cell()
    placements = cell.pallets[0].placements
    judged = tuple(Judged(p, (PASS, NEAR, HIT), None) for p in placements)
    way = judged_way(cell, Result("", "", judged))
    assert way.clearance.value == -12.0
    assert not way.fits


def test_a_carton_that_nothing_holds_is_not_hidden_by_one_that_is_held():
    """It has no share in numbers; the share of another carton does not stand for it."""
    cell = cell_file().cell()
    held = Finding("hold", "pass", 40.0, 100.0, "%", "held")
    loose = Finding("hold", "fail", None, 100.0, "%", "held by nothing")
    judged = [Judged(p, (PASS, held), None) for p in cell.pallets[0].placements]
    judged[4] = Judged(judged[4].placement, (PASS, loose, held, HEAVY), None)
    way = judged_way(cell, Result("", "", tuple(judged)))
    assert way.hold == Measured(None, judged[4].placement.id, "over any limit: held by nothing")
    assert [each.checks for each in way.failing] == [("hold", "load")]


def test_what_has_no_finding_does_not_fit():
    cell = cell_file().cell()
    judged = tuple(Judged(p, (), None) for p in cell.pallets[0].placements)
    way = judged_way(cell, Result("", "", judged))
    assert not way.fits
    assert len(way.failing) == 18


@pytest.mark.parametrize(
    ("path", "lists", "settings"),
    [
        ("cells/oats-two-heads.yaml", (), ()),
        ("cells/biscuits-two-pallets.yaml", [["pair across"]], ()),
        ("tests/cells/accepted/pairs.yaml", [["pair"]], ["pallets.A.done=0"]),
        ("tests/cells/accepted/track.yaml", (), ()),
    ],
)
def test_in_every_way_each_carton_stands_where_it_stood(path, lists, settings):
    """Of its type, in its layer, no farther off than a group may shift it; none is lost."""
    file = CellFile(str(ROOT / path), (ROOT / path).read_bytes(), tuple(settings))
    before = standing(file.cell())
    made = [laid for laid in laid_out(file, lists) if laid.file is not None]
    assert made
    for laid in made:
        left = standing(laid.file.cell())
        assert len(left) == len(before)
        for *kind, x, y in before:
            twin = min(
                (each for each in left if each[:3] == tuple(kind)),
                key=lambda each, x=x, y=y: (each[3] - x) ** 2 + (each[4] - y) ** 2,
            )
            assert abs(twin[3] - x) <= 0.005 + 1e-6
            assert abs(twin[4] - y) <= 0.005 + 1e-6
            left.remove(twin)


def standing(cell):
    """Pallet, layer, carton type and place of every carton."""
    return [
        (p.pallet, p.layer, carton.name, float(pose[0, 3]), float(pose[1, 3]))
        for pallet in cell.pallets
        for p in pallet.placements
        for carton, pose in p.carton_poses()
    ]


def judgement(**changes):
    none = Measured(None, "", "none")
    plain = WayJudged(
        9, 0, (), (("A", 9),), 9, Measured(8.0), "", none, none, none, "pass"
    )  # fmt: skip
    return replace(plain, **changes)


def ways_of(*judged):
    return tuple(WayFound(f"way {k}", (), False, "", "", True, j) for k, j in enumerate(judged))


def test_the_best_passes_as_a_whole_before_it_is_fast():
    slow = judgement(rate=Measured(9.0), rate_verdict="fail", verdict="fail")
    bad = judgement(rate=Measured(20.0), failing=(None,), verdict="fail")
    ways = ways_of(bad, slow, judgement(), judgement(cycles=(("A", 6),)), None)
    assert groups._best(ways) == 3
    assert groups._best(ways[:2]) == 1
    assert groups._best(ways[:1]) is None
    line = groups_line(GroupsSurvey("c", "", 10.0, ways[:2], 1))
    assert "It does not keep up with the line." in line
    assert groups_line(GroupsSurvey("c", "", 10.0, ways[:1], None)).startswith("BEST: none")


def test_an_answer_comes_back_from_the_survey_file_as_it_was(monkeypatch):
    told(monkeypatch, lambda p: (PASS, HEAVY, HIT))
    found, _ = surveyed(cell_file())
    for way in found.ways:
        if way.judged is not None:
            assert from_json(json.loads(json.dumps(to_json(way.judged)))) == way.judged


def test_the_picture_shows_every_way(monkeypatch):
    told(monkeypatch, lambda p: (PASS, LOADED))
    found, _ = surveyed(cell_file())
    drawn = groups_picture(found)
    assert all(f">{way.name}</text>" in drawn for way in found.ways)


def test_the_command_on_a_real_cell(monkeypatch, tmp_path, capsys):
    """One layer of two cartons: a pair and two singles, each checked; the best passes again."""
    monkeypatch.chdir(tmp_path)
    rows = ", ".join(f"{{group: oats, at: {{x: {x}, y: 400}}}}" for x in (400, 800))
    text = CELL.replace("layers: 2", "layers: 1")
    text = text.replace("column: {group: oats, orientation: lengthwise}", f"placements: [{rows}]")
    Path("cell.yaml").write_text(text, encoding="utf-8")
    files = ["--results", "r.json", "--picture", "p.svg", "--report", "p.html"]
    files += ["--best", "best.yaml"]
    assert main(["survey", "groups", "cell.yaml", "--jobs", "1", *files]) == 0
    out = capsys.readouterr().out
    data = json.loads(Path("r.json").read_text(encoding="utf-8"))
    ways = {way["name"]: way["judged"] for way in data["ways"]}
    assert ways["pair along"]["cycles"] == [["A", 1]]
    assert ways["pair along"]["rate"]["value"] > ways["single cartons"]["rate"]["value"] > 0.0
    assert ways["pair along"]["load"]["value"] > ways["single cartons"]["load"]["value"] > 0.0
    assert out.splitlines()[-1].startswith("BEST: pair along: 2 cartons in 1 cycles")
    assert "cycles alone: no line stated" in out
    assert main(["check", "best.yaml", "--quiet"]) == 0
    page = Path("p.html").read_text(encoding="utf-8")
    assert "<strong>BEST</strong><span>pair along: 2 cartons in 1 cycles" in page
    assert "--tone: var(--pass)" in page
    assert not list(Path().glob("*.survey"))
