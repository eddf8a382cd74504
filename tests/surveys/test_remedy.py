"""Remedies: what is told as a cure passes a check of its own, and nothing smaller does."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from envelope.cell.load import load
from envelope.cell.variants import read_cell_file
from envelope.cli.main import main
from envelope.report.remedy import remedy_line, remedy_text
from envelope.surveys import remedy
from envelope.surveys.remedy import Attempt, attempt, find_remedies, tried_from_json, tried_to_json
from envelope.surveys.remedy_changes import Reach, Step, ladders_of
from envelope.surveys.runner import Runner
from envelope.verify import check

ACCEPTED = Path(__file__).parents[1] / "cells" / "accepted"
NEAR = Reach(move=100.0, height=0.0)

TEXT = """
name: Too far
arm: {model: spherical-1800-25, at: {x: 0, y: 0, z: 600}, pedestal: {size: [400, 400]}}
tool: {model: one-field-400x300}
cartons:
  tea: {size: [400, 300, 250], mass: 6}
infeed: {at: {x: -500, y: 800, z: 700, yaw: 90}}
pallets:
  A: {size: [1200, 800, 144], at: {x: 800, y: -400}, stack: main}
stacks:
  main: {layers: 1, patterns: [row]}
patterns:
  row:
    order: as written
    placements: [{group: tea, at: {x: 1000, y: 150}}, {group: tea, at: {x: 200, y: 650}}]
"""
# stands clear of the near carton as drawn, and in its way once the pallet is 60 mm nearer
POST = "surroundings:\n  - {name: post, block: [60, 100, 1000], at: {x: 740, y: 250}}\n"


@pytest.fixture(scope="module")
def far(tmp_path_factory):
    path = tmp_path_factory.mktemp("remedy") / "far.yaml"
    path.write_text(TEXT)
    return path


@pytest.fixture(scope="module")
def told():
    """What progress is told while `found` is looked for."""
    return []


@pytest.fixture(scope="module")
def found(far, told):
    with Runner() as runner:
        return find_remedies(
            read_cell_file(far), NEAR, runner, lambda done, total: told.append((done, total))
        )


def only(monkeypatch, *keys):
    """Fewer ladders, where what is asked does not depend on how many there are."""
    every = remedy.ladders_of
    monkeypatch.setattr(
        remedy, "ladders_of", lambda *asked: tuple(e for e in every(*asked) if e.key in keys)
    )


def verdict(path, *settings):
    return check(load(path, settings)).verdict


def test_what_is_told_as_a_cure_passes_a_check_of_its_own(far, found):
    assert verdict(far) == "fail"
    assert {ladder.key for ladder, _ in found.cures} == {"arm.at.x", "pallets.A.at.x"}
    for ladder, tried in found.cures:
        assert verdict(far, f"{ladder.key}={tried.step.value}") in ("pass", "marginal")


def test_a_step_less_does_not_cure(far, found):
    for ladder, tried in found.cures:
        less = ladder.step(tried.step.size - NEAR.fine)
        assert verdict(far, f"{ladder.key}={less.value}") == "fail"


def test_what_was_tried_in_vain_fails(far, found):
    vain = [rung for rung in found.rungs if rung.cure is None]
    assert {"motion.lift_off", "arm.at.y", "pallets.A.at.y"} <= {r.ladder.key for r in vain}
    for rung in vain:
        assert len(rung.tried) == len(rung.ladder.steps)
    last = next(rung for rung in vain if rung.ladder.key == "arm.at.y").tried[-1]
    assert verdict(far, f"arm.at.y={last.step.value}") == "fail"


def test_the_answer_does_not_depend_on_workers(far, found, monkeypatch):
    only(monkeypatch, "arm.at.x")
    with Runner(jobs=2) as runner:
        again = find_remedies(read_cell_file(far), NEAR, runner)
    assert again.rungs == tuple(r for r in found.rungs if r.ladder.key == "arm.at.x")
    assert len(again.cures) == 1


def test_a_change_that_cures_one_placement_and_spoils_another_is_no_cure(tmp_path):
    path = tmp_path / "post.yaml"
    path.write_text(TEXT + POST)
    assert verdict(path) == "fail"
    nearer = Attempt("pallets.A.at.x", Step("740", 60.0), ("A/1/1",))
    assert not any(
        f.verdict == "fail"
        for f in check(load(path, nearer.settings), placements=["A/1/1"]).placements[0].findings
    )
    told = attempt(read_cell_file(path), nearer)
    assert told.judged >= 2  # the one that was cured, and one that was not asked for first
    assert not told.cures
    assert told.trouble.startswith("A/1/2 ")


def test_what_no_cell_can_be_made_of_is_no_cure(far):
    told = attempt(read_cell_file(far), Attempt("stacks.main.layers", Step("0", 1.0), ("A/1/1",)))
    assert not told.cures
    assert told.judged == 0
    assert told.trouble


def test_fewer_cartons_come_last_however_small_the_change(found):
    ladder, tried = found.cures[0]
    fewer = replace(tried, cartons=found.cartons - 1, step=Step("x", 0.0))
    rung = replace(found.rungs[0], ladder=ladder, tried=(fewer,))
    survey = replace(found, rungs=(rung, *found.rungs))
    assert survey.cures[-1] == (ladder, fewer)
    assert "1 cartons instead of 2" in remedy_text(survey)


@pytest.mark.parametrize("name", ["single.yaml", "pairs.yaml", "track.yaml"])
def test_steps_start_from_what_stands_in_the_file(name):
    """Setting what is told to stand there changes nothing: no cure is told of another cell."""
    file = read_cell_file(ACCEPTED / name)
    cell = file.cell()
    ladders = [ladder for ladder in ladders_of(file, cell, NEAR) if ladder.unit == "mm"]
    assert len({ladder.key for ladder in ladders}) >= 7
    for ladder in ladders:
        same = file.cell((f"{ladder.key}={ladder.before}",))
        assert (same.mounted.world_from_base == cell.mounted.world_from_base).all()
        assert same.motion == cell.motion
        for one, other in zip(same.pallets, cell.pallets, strict=True):
            assert abs(one.world_from_pallet - other.world_from_pallet).max() < 1e-9


def test_other_groups_are_those_of_the_same_cartons():
    file = read_cell_file(ACCEPTED / "pairs.yaml")
    ladders = {e.key: e for e in ladders_of(file, file.cell(), NEAR) if e.kind == "group"}
    assert {step.value for step in ladders["patterns.columns.column.group"].steps} == {
        "pair", "derived",
    }  # fmt: skip


def test_an_answer_is_the_same_after_the_survey_file(found):
    for rung in found.rungs:
        for tried in rung.tried:
            assert tried_from_json(tried_to_json(tried)) == tried


def test_where_nothing_cures_it_says_so(far, capsys, monkeypatch):
    only(monkeypatch, "arm.at.x", "stacks.main.layers")
    status = main(["remedy", str(far), "--move", "50", "--height", "0", "--jobs", "1"])
    told = capsys.readouterr().out
    assert status == 1
    assert "NO CURE FOUND" in told


def test_the_cell_that_is_written_passes(far, capsys, monkeypatch):
    only(monkeypatch, "pallets.A.at.x")
    best = far.with_name("best.yaml")
    asked = ["remedy", str(far), "--move", "100", "--height", "0", "--jobs", "1", "--quiet"]
    assert main([*asked, "--best", str(best)]) == 0
    assert capsys.readouterr().out.startswith("SMALLEST CHANGE: ")
    assert main(["check", str(best), "--quiet"]) == 0
    assert main([*asked, "--best", str(best)]) == 2  # it is there already


def test_a_cell_that_passes_has_nothing_to_cure(far):
    with Runner() as runner:
        sound = find_remedies(read_cell_file(far, ("pallets.A.at.x=700",)), NEAR, runner)
    assert sound.rungs == ()
    assert "NOTHING TO CURE" in remedy_line(sound)


def test_what_still_fails_is_told_to_its_end(found):
    """The end of a finding on reach says by how much, and which way."""
    text = remedy_text(found)
    vain = [rung for rung in found.rungs if rung.cure is None]
    assert vain
    whole = " ".join(text.split())
    for rung in vain:
        last = rung.tried[-1]
        assert f"at {last.step.value}: {' '.join(last.trouble.split())}" in whole
    assert "..." not in text


def test_progress_never_falls_back(found, told):
    assert found.cures
    assert len({total for _, total in told}) == 2  # coarse steps, then finer ones as well
    assert all(a[0] <= b[0] and a[1] <= b[1] for a, b in pairwise(told))
    assert all(done <= total for done, total in told)
    assert told[-1][0] == told[-1][1]
