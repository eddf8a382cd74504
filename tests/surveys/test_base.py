"""A survey is right where each of its variants is what a check of that cell says."""

import json
import random
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from envelope.cell.load import load
from envelope.cell.variants import read_cell_file
from envelope.cli.main import main
from envelope.geometry.frames import pose
from envelope.report.survey_map import base_map
from envelope.report.survey_text import base_line, base_text
from envelope.surveys import pools
from envelope.surveys.base import Asked, survey_base
from envelope.surveys.errors import SurveyError
from envelope.surveys.judging import Request, judge_variant
from envelope.surveys.ranges import read_range
from envelope.surveys.reaching import Room
from envelope.surveys.runner import Runner
from envelope.verify import check
from tests.support.small_cell import TEXT

CELLS = Path(__file__).parents[2] / "cells"
RANGES = (read_range("arm.at.y", "0,150"), read_range("arm.at.x", "-700,-500,0,300"))


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    path = tmp_path_factory.mktemp("cell") / "small.yaml"
    path.write_text("# Remarks stay.\n" + TEXT, encoding="utf-8")
    return path


def survey(path, ranges, complete=False, settings=(), jobs=1):
    file = read_cell_file(path, settings)
    with Runner(jobs=jobs) as runner:
        return survey_base(file, Asked(ranges, complete=complete), runner)


@pytest.fixture(scope="module")
def found(small):
    return survey(small, RANGES)


def checked(path, variant):
    return check(load(path, [f"{key}={value}" for key, value in variant.settings]))


def failures(result):
    return sum(each.verdict in ("fail", "not checked") for each in result.placements)


def test_every_variant_is_what_a_check_of_that_cell_says(small, found):
    some = random.Random(5).sample(found.variants, 5)
    assert any(variant.complete for variant in some)
    for variant in some:
        result = checked(small, variant)
        assert variant.placements == len(result.placements) == 3
        if variant.reached is not None:
            assert failures(result) >= variant.placements - variant.reached
        if variant.complete:
            assert failures(result) == variant.failed
        elif variant.failed is not None:
            assert failures(result) >= variant.failed > found.best.failed


def test_values_are_those_of_a_check(small, found):
    best = found.best.judgement
    result = checked(small, found.best)
    assert best.depth == "values"
    assert best.marginal == result.count("marginal")
    findings = [f for judged in result.placements for f in judged.findings]
    rooms = [f.value for f in findings if f.check == "reach" and f.unit == "deg"]
    assert best.room == pytest.approx(min(rooms), abs=1e-5)
    apart = [
        f.value
        for f in findings
        # asked for in full; near rest less is, and any pattern comes near there
        if f.check in ("approach", "collision") and f.value is not None and f.limit >= 5.0
    ]
    assert best.clearance == pytest.approx(min(apart), abs=1e-3)
    cycles = [judged.cycle.seconds for judged in result.placements]
    assert best.rate == pytest.approx(60.0 * len(cycles) / sum(cycles), abs=1e-3)


def test_the_quick_reach_says_what_the_confirmed_one_says(small):
    for path in (small, CELLS / "biscuits-two-pallets.yaml", CELLS / "tea-five-layers.yaml"):
        cell = load(path)
        rng = np.random.default_rng(2)
        poses = np.array([pose(*at) for at in rng.uniform(-2.5, 2.5, (400, 4))])
        poses[:, :3, 1:3] *= -1.0  # the flange faces down
        quick, confirmed = Room(cell, confirmed=False).of(poses), Room(cell).of(poses)
        assert (quick > -np.inf).any()
        assert (quick >= confirmed).all()
        assert (quick == confirmed).mean() > 0.99


def test_room_and_rate_are_of_motions_that_meet_nothing(small):
    """Of several motions that hit something, which one is told depends on how they are looked at.

    A post stands where the second carton comes to rest.
    """
    post = "\nsurroundings:\n  - {name: post, block: [60, 60, 900], at: {x: 2000, y: 250}}\n"
    path = small.with_name("post.yaml")
    path.write_text(small.read_text(encoding="utf-8") + post, encoding="utf-8")
    file = read_cell_file(path)
    quick, closely = (judge_variant(file, Request((), values=each)) for each in (False, True))
    assert 0 < quick.failed == closely.failed < quick.placements
    assert (quick.room, quick.rate, quick.whole) == (closely.room, None, "")
    result = check(file.cell())
    good = [p for p in result.placements if p.verdict in ("pass", "marginal")]
    rooms = [f.value for p in good for f in p.findings if f.check == "reach" and f.unit == "deg"]
    assert quick.room == pytest.approx(min(rooms), abs=1e-5)


def test_what_is_left_out_could_not_have_been_the_best(found):
    left_out = [variant for variant in found.variants if not variant.complete]
    assert left_out, "nothing was left out: the shortcut did not run"
    assert all(variant.failed > found.best.failed for variant in left_out)


def test_a_complete_survey_has_the_same_best_and_leaves_nothing_out(small, found):
    row = (read_range("arm.at.y", dict(found.best.settings)["arm.at.y"]), RANGES[1])
    everything = survey(small, row, complete=True)
    assert all(variant.complete for variant in everything.variants)
    assert everything.best.settings == found.best.settings
    assert everything.best.judgement == found.best.judgement


def test_a_variant_stops_once_it_fails_more_than_the_best(small):
    file = read_cell_file(small, ("pallets.A.at.x=2500",))
    judgement = judge_variant(file, Request((), stop_after=0))
    assert judgement.depth == "stopped"
    assert judgement.failed >= 1
    assert judgement.room is None
    assert judgement.rate is None


def test_the_best_is_tolerant_as_told(small, found):
    across = next(each for each in found.tolerances if each.key == "arm.at.x")
    at = found.best.value("arm.at.x")
    key = f"arm.at.y={dict(found.best.settings)['arm.at.y']}"
    assert across.fails_below is not None
    assert 0.0 < across.fails_below - across.below < 100.0
    for share, good in ((across.below, True), (across.fails_below, False), (-across.above, True)):
        cell = load(small, [key, f"arm.at.x={at - share}"])
        assert (failures(check(cell)) <= found.best.failed) is good


def test_a_finer_grid_around_the_best_finds_nothing_much_better(small, found):
    """Better by no more than the best differs from its neighbours on the coarse grid."""
    at = found.best.value("arm.at.x")
    beside = [v for v in found.variants if abs(v.value("arm.at.x") - at) <= 500.0 and v.complete]
    slope = max(abs(v.judgement.room - found.best.judgement.room) for v in beside)
    assert slope > 0.0
    y = read_range("arm.at.y", dict(found.best.settings)["arm.at.y"])
    around = read_range("arm.at.x", f"{at - 150:g}:{at + 150:g}:100")
    finer = survey(small, (y, around))
    assert finer.best.failed == found.best.failed
    assert finer.best.judgement.room <= found.best.judgement.room + slope


def test_text_and_map_tell_the_best_and_what_was_left_out(found):
    text = base_text(found)
    where = ", ".join(f"{key}={value}" for key, value in found.best.settings)
    assert base_line(found).startswith(f"BEST: {where}: 0 of 3 placements fail")
    assert text.rstrip().endswith(base_line(found))
    left_out = sum(not variant.complete for variant in found.variants)
    assert f"{left_out} of {len(found.variants)} variants: not computed in full" in text
    root = ET.fromstring(base_map(found))
    told = [each.text for each in root.iter("{http://www.w3.org/2000/svg}title")][1:]
    panels = len(told) // len(found.variants)
    assert panels == 4
    assert sum("not computed in full" in each for each in told) == panels * left_out
    names = {each.text for each in root.iter("{http://www.w3.org/2000/svg}text")}
    assert {"pallet/A", "best"} <= names


def test_a_variant_that_is_no_cell_is_told_and_the_others_are_judged(small):
    found = survey(small, (read_range("stacks.main.layers", "0,1"),))
    assert found.variants[0].judgement.depth == "not a cell"
    assert found.variants[1].complete
    assert "1 of 2 variants are no valid cell" in base_text(found)
    ET.fromstring(base_map(found))


def test_a_cell_too_slow_for_its_line_is_no_best_that_passes(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    Path("small.yaml").write_text(TEXT + "line: {rate: 60}\n", encoding="utf-8")
    assert main(["check", "small.yaml", "--quiet"]) == 1
    capsys.readouterr()
    arguments = ["survey", "base", "small.yaml", "--x", "0", "--jobs", "1", "--quiet"]
    assert main(arguments) == 1
    out = capsys.readouterr().out
    assert "0 of 3 placements fail" in out
    assert "The whole cell fails: rate" in out
    arguments = ["survey", "stack", "small.yaml", "--layers", "1", "--jobs", "1", "--quiet"]
    assert main(arguments) == 1
    assert "BEST: 0 layers pass; 1 does not: rate" in capsys.readouterr().out


def test_a_finished_pallet_is_nothing_to_survey(small):
    with pytest.raises(SurveyError, match="already down"):
        survey(small, RANGES, settings=("pallets.A.done=3",))


# --- the command ------------------------------------------------------------------------------


@pytest.fixture
def cell(small, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("small.yaml").write_bytes(small.read_bytes())
    return Path("small.yaml")


def test_the_command_writes_results_map_and_best_cell(cell, capsys):
    arguments = ["survey", "base", str(cell), "--x", "0:100:50", "--jobs", "1"]
    outputs = ["--results", "r.json", "--map", "m.svg", "--best", "b.yaml", "--report", "p.html"]
    assert main([*arguments, *outputs]) == 0
    out = capsys.readouterr()
    assert "BEST: arm.at.x=" in out.out
    assert "surveying" not in out.out
    results = json.loads(Path("r.json").read_text(encoding="utf-8"))
    assert len(results["variants"]) == 3
    best = dict(results["variants"][results["ranked"][0]]["settings"])
    written = Path("b.yaml").read_text(encoding="utf-8")
    assert "# Remarks stay." in written
    assert failures(check(load(Path("b.yaml")))) == 0
    assert load(Path("b.yaml")).mounted.world_from_base[0, 3] * 1e3 == float(best["arm.at.x"])
    assert ET.parse("m.svg").getroot().tag.endswith("svg")
    assert sorted(p.name for p in Path().iterdir()) == [
        "b.yaml",
        "m.svg",
        "p.html",
        "r.json",
        "small.yaml",
    ]
    page = Path("p.html").read_text(encoding="utf-8")
    assert "All variants" in page
    assert page.count("<tr>") == 4


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "nothing is ranged"),
        (["--x", "900:600:50"], "smaller value first"),
        (["--x", "0:100:50", "--vary", "arm.at.x=1:2:1"], "ranged twice"),
        (["--vary", "pallets.B.at.x=600:900:50"], 'there is no "B" in pallets'),
        (["--vary", "pallets.A.at.xx=600:900:50"], "pallets.A.at.xx"),
        (["--vary", "name.x=600:900:50"], "holds a single value"),
        (["--x", "0:10:5", "--cluster", "tcp://127.0.0.1:9"], "no Dask scheduler at"),
        (["--x", "0:10:5", "--results", "no/such/r.json"], "there is no folder"),
        (["--x", "0:10:5", "--best", "small.yaml"], "may not be written over"),
    ],
)
def test_what_is_wrong_is_told_and_nothing_is_written(cell, capsys, monkeypatch, arguments, said):
    monkeypatch.setattr(pools, "CONNECT", 1.0)
    before = cell.read_bytes()
    assert main(["survey", "base", str(cell), *arguments]) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert said in out.err
    assert [path.name for path in Path().iterdir()] == ["small.yaml"]
    assert cell.read_bytes() == before


def test_a_survey_that_finds_only_failures_says_so(cell, capsys):
    arguments = ["survey", "base", str(cell), "--x", "-3000:-3000:1", "--quiet", "--jobs", "1"]
    assert main([*arguments, "--set", "pallets.A.done=2"]) == 1
    assert "1 of 1 placements fail. First: A/1/3" in capsys.readouterr().out
