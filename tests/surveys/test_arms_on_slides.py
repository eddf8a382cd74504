"""Surveys of arms that slide: mm where a slide has the least room, and compared with turns."""

from pathlib import Path

import pytest

from envelope.cell.variants import read_cell_file
from envelope.report.reach_map import reach_map
from envelope.report.survey_map import base_rows, room_unit
from envelope.report.survey_page import base_page
from envelope.report.survey_text import base_text, reach_text
from envelope.surveys.base import Asked, survey_base
from envelope.surveys.judging import Judgement, Request, judge_variant, room_as_angle
from envelope.surveys.ranges import read_range
from envelope.surveys.reach import AskedReach, survey_reach
from envelope.surveys.runner import Runner
from envelope.verify import check
from tests.support.slide_cells import GANTRY, slide_cell

CELLS = Path(__file__).parents[2] / "cells"
# Joint 1 reaches 1400 for the farthest placement, which stands at 1380 from where it counts.
NARROW = ("y: 0}}", "y: 0}, usable: {joint 1: [-1600, 1400]}}")


@pytest.fixture
def cell(tmp_path):
    slide_cell(tmp_path, GANTRY, NARROW)
    return tmp_path / "cell.yaml"


def surveyed(path, *ranges, prefer="room"):
    with Runner[Judgement](jobs=1) as runner:
        return survey_base(read_cell_file(path), Asked(ranges, prefer), runner)


def test_room_of_a_slide_is_told_in_mm_and_is_that_of_a_check(cell):
    found = surveyed(cell, read_range("arm.at.x", "-30:30:15"))
    by_x = {variant.value("arm.at.x"): variant for variant in found.variants}
    assert by_x[0.0].judgement.room == pytest.approx(20.0, abs=1e-6)
    assert by_x[-15.0].judgement.room == pytest.approx(5.0, abs=1e-6)
    assert by_x[-30.0].failed > 0
    for x in (0.0, -15.0):
        judgement = by_x[x].judgement
        result = check(read_cell_file(cell).cell((f"arm.at.x={x}",)))
        rooms = [f.value for p in result.placements for f in p.findings if f.check == "reach"]
        assert judgement.room_unit == "mm"
        assert judgement.room == pytest.approx(min(rooms), abs=1e-5)
    assert all(variant.waypoint_room is None for variant in found.variants)
    assert found.best.value("arm.at.x") == 30.0
    assert "50.0 mm" in base_text(found)
    assert room_unit(found) == "mm"
    units = {panel.unit for _, panels in base_rows(found) for panel in panels}
    assert "deg" not in units
    assert "joint room [mm]" in base_page(found)


def test_how_a_slide_compares_with_a_turn_is_as_asked_for(cell):
    """8 mm of a slide are more than 6 deg where 5 of each are asked for, less where 20 mm are."""
    mm = Judgement("verdicts", room=8.0, room_unit="mm")
    deg = Judgement("verdicts", room=6.0, room_unit="deg")
    file = read_cell_file(cell)
    for margin, more in ((5, True), (20, False)):
        worth = file.cell((f"arm.slide_margin={margin}",)).mounted.slide_worth()
        assert worth == pytest.approx(5.0 / margin)
        assert (room_as_angle(mm, worth) > room_as_angle(deg, worth)) is more
    assert room_as_angle(Judgement("verdicts"), 1.0) == -float("inf")


def test_room_of_a_way_that_there_is_not_does_not_count():
    """A placement may fail, too, for a joint that leaves its range on a way that is not taken."""
    where = ("arm.at.z=1227", "arm.at.y=285", "arm.at.x=226")  # a second layer that fails
    file = read_cell_file(CELLS / "tea-five-layers.yaml", ("stacks.main.layers=2", *where))
    reach = [f for p in check(file.cell()).placements for f in p.findings if f.check == "reach"]
    assert any("leaves its usable range" in f.message and f.value < 0.0 for f in reach)
    taken = [f.value for f in reach if "least room" in f.message]
    assert min(taken) > 0.0
    assert judge_variant(file, Request(())).room == pytest.approx(min(taken), abs=1e-5)


def test_the_reach_of_a_gantry_is_a_rectangle(cell):
    """Its field is that of its slides, in closed form; nothing of it depends on the turn."""
    step = 50.0
    with Runner(jobs=1) as runner:
        found = survey_reach(read_cell_file(cell), AskedReach(step=step, turns=4), runner)
    x, y = (1400.0 + 1600.0), 2200.0
    for each in found.maps:
        area = each.area(step)
        assert area == each.area(step, 4)
        assert (x - step) * (y - step) <= area * 1e6 <= (x + step) * (y + step)
    assert found.slide_worth == pytest.approx(1.0)
    said = "Joint room of a slide counts as an angle: 1 mm as 1 deg."
    assert said in reach_text(found)
    assert said in reach_map(found)


def test_verdicts_alone_have_the_room_of_the_check(cell):
    file = read_cell_file(cell)
    quick = judge_variant(file, Request(()))
    closely = judge_variant(file, Request((), values=True))
    assert (quick.room, quick.room_unit) == (closely.room, "mm")
