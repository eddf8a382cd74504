"""A stack survey finds what checking each height by hand finds."""

import json
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from envelope.cell.load import load
from envelope.cell.variants import read_cell_file
from envelope.cli.main import main
from envelope.report.stack_picture import stack_picture
from envelope.report.survey_text import stack_line, stack_text
from envelope.surveys.errors import SurveyError
from envelope.surveys.ranges import read_range
from envelope.surveys.runner import Runner
from envelope.surveys.stack import (
    AskedHeights,
    height_from_json,
    height_to_json,
    read_layers,
    survey_stack,
)
from envelope.verify import check
from tests.support.small_cell import TEXT

LAYERS = "6,7,9,10,11"
HEIGHTS = (read_range("arm.at.z", "300,600"),)


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    path = tmp_path_factory.mktemp("cell") / "small.yaml"
    path.write_text(TEXT, encoding="utf-8")
    return path


def survey(path, layers, ranges=(), settings=(), jobs=1, **more):
    file = read_cell_file(path, settings)
    with Runner(jobs=jobs) as runner:
        return survey_stack(file, AskedHeights(ranges, read_layers(layers), **more), runner)


@pytest.fixture(scope="module")
def found(small):
    return survey(small, LAYERS, HEIGHTS)


def by_hand(path, layers, settings=()):
    result = check(load(path, [*settings, f"stacks.main.layers={layers}"]))
    return [each for each in result.placements if each.verdict in ("fail", "not checked")]


def test_as_many_layers_pass_as_when_each_height_is_checked_by_hand(small, found):
    for column in found.columns:
        settings = [f"{key}={value}" for key, value in column.settings]
        passing = 0
        for layers in read_layers(LAYERS):
            failed = by_hand(small, layers, settings)
            if failed:
                break
            passing = layers
        assert column.serves == passing
        stop = column.stopped_at
        assert stop is not None, "nothing failed: the test asks for too little"
        assert stop.layers == layers
        assert stop.judgement.failed == len(failed)
        first = min(failed, key=lambda each: (each.placement.layer, each.placement.order))
        assert stop.stops[0].placement == first.placement.id
        values = [(f.check, round(f.value, 4)) for f in first.findings if f.value is not None]
        assert (stop.stops[0].check, stop.stops[0].value) in values


def test_heights_above_the_first_that_fails_are_left_out_and_told(small, found):
    column = found.columns[0]
    tried = [height.layers for height in column.heights]
    assert [*tried, *column.untried] == [6, 7, 9, 10, 11]
    assert column.untried, "nothing was left out: the shortcut did not run"
    assert all(height.passes for height in column.heights[: tried.index(column.stopped_at.layers)])


def test_tops_are_heights_over_the_floor(found):
    assert [height.top for height in found.columns[0].heights][:2] == [1644.0, 1894.0]


def test_a_limit_on_height_counts_the_pallet(small):
    for limit, most in ((894.0, 3), (893.9, 2)):
        low = survey(small, "1:12", up_to=limit)
        assert [height.layers for height in low.columns[0].heights] == list(range(1, most + 1))
    with pytest.raises(SurveyError, match="not even 1 layers stay below 200 mm"):
        survey(small, "1:12", up_to=200.0)


def test_layers_that_stand_already_are_no_reason_to_stop(small):
    found = survey(small, "1:3", settings=("stacks.main.layers=2", "pallets.A.done=5"))
    column = found.columns[0]
    assert [height.is_cell for height in column.heights] == [False, True, True]
    assert column.serves == 3
    assert column.trouble == ""


def test_answers_survive_the_survey_file(found):
    for column in found.columns:
        for height in column.heights:
            plain = json.loads(json.dumps(height_to_json(height)))
            assert height_from_json(plain) == height


def test_text_and_picture_tell_what_stops_the_next(found):
    stop = found.columns[found.best].stopped_at
    line = stack_line(found)
    assert line.startswith(f"BEST: {found.columns[found.best].serves} layers pass with arm.at.z=")
    assert stop.stops[0].placement in line
    assert stack_text(found).rstrip().endswith(line)
    root = ET.fromstring(stack_picture(found))
    told = [each.text for each in root.iter("{http://www.w3.org/2000/svg}title")][1:]
    assert len(told) == sum(len(c.heights) + bool(c.untried) for c in found.columns)
    assert any(stop.stops[0].placement in each for each in told)


@pytest.mark.parametrize(
    ("text", "layers"),
    [("1:4", (1, 2, 3, 4)), ("2:6:2", (2, 4, 6)), ("9", (9,)), ("3,1", (1, 3))],
)
def test_layers_are_read_as_written(text, layers):
    assert read_layers(text) == layers


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--layers", "0:4"], "between 1 and"),
        (["--layers", "1:400"], "between 1 and"),
        (["--layers", "1:2:0.5"], "not whole"),
        (["--layers", "5:2"], "smaller value first"),
        (["--vary", "stacks.main.layers=1:4:1"], "ranged with --layers"),
        (["--vary", "arm.at.q=1:4:1"], "arm.at.q"),
        (["--picture", "small.yaml"], "may not be written over"),
    ],
)
def test_what_is_wrong_is_told_and_nothing_is_written(
    small, tmp_path, monkeypatch, capsys, arguments, said
):
    monkeypatch.chdir(tmp_path)
    Path("small.yaml").write_bytes(small.read_bytes())
    assert main(["survey", "stack", "small.yaml", "--jobs", "1", *arguments]) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert said in out.err
    assert [path.name for path in Path().iterdir()] == ["small.yaml"]


def test_the_command_writes_results_and_picture(small, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    Path("small.yaml").write_bytes(small.read_bytes())
    outputs = [
        "--results",
        "r.json",
        "--picture",
        "s.svg",
        "--report",
        "p.html",
        "--quiet",
        "--jobs",
        "1",
    ]
    assert main(["survey", "stack", "small.yaml", "--layers", "1:2", *outputs]) == 0
    assert capsys.readouterr().out == "BEST: 2 layers pass; no more were asked for.\n"
    assert json.loads(Path("r.json").read_text(encoding="utf-8"))["survey"] == "stack"
    assert sorted(p.name for p in Path().iterdir()) == ["p.html", "r.json", "s.svg", "small.yaml"]
    page = Path("p.html").read_text(encoding="utf-8")
    assert "<strong>BEST</strong><span>2 layers pass" in page
    assert "All heights" in page
