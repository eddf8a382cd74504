"""What is pointed out where a finding is not about two bodies: the right place and length."""

import numpy as np
import pytest

from envelope.cell.load import load
from envelope.checks.finding import Finding
from envelope.scene.choose import Problem, tightest_of
from envelope.scene.instant import Scenery
from envelope.scene.mark import Mark, against_limit
from envelope.scene.problem_picture import _when
from envelope.scene.subjects import scene_of
from envelope.scene.views import detail_view
from envelope.verify import check
from tests.report import synthetic as made
from tests.scene.conftest import CELL

TWO = """  two:
    order: as written
    placements: [{group: tea, at: {x: 200, y: 150}}, {group: tea, at: {x: %s, y: 650}}]
"""


def pictured(check_name, placement, *settings, cell=CELL, unit=None):
    """The scene of a placement's first finding of a check that is no pass."""
    model = load(cell, settings)
    result = check(model, placements=[placement])
    judged = result.placements[0]
    finding = next(
        f for f in judged.findings
        if f.check == check_name and f.verdict != "pass" and unit in (None, f.unit)
    )  # fmt: skip
    pallet = next(p for p in model.pallets if p.name == judged.placement.pallet)
    return scene_of(Scenery(model, pallet), judged, finding, result.placements), finding, judged


def test_a_stack_that_is_too_high_is_measured_from_the_floor_to_its_top():
    scene, finding, _ = pictured(
        "stacking", "A/2/1", "stacks.main.layers=2", "pallets.A.max_height=600"
    )
    assert finding.value == pytest.approx(644.0)
    length = scene.mark.end - scene.mark.start
    np.testing.assert_allclose(length, [0.0, 0.0, 0.644], atol=1e-9)
    assert scene.mark.start[2] == pytest.approx(0.0)
    carton = scene.first[0].points
    assert (scene.mark.end[:2] > carton[:, :2].max(axis=0)).any()  # beside it, not inside
    assert scene.mark.text == "644 mm, allowed 600 mm"


def stacked(tmp_path, x):
    text = CELL.read_text().replace("patterns: [row]", "patterns: [row, two]") + TWO % x
    path = tmp_path / "cell.yaml"
    path.write_text(text)
    return path


def test_lack_of_support_points_at_the_corner_that_nothing_carries(tmp_path):
    scene, finding, _ = pictured(
        "stacking", "A/2/2", "stacks.main.layers=2",
        "patterns.row={placements: [{group: tea, at: {x: 200, y: 650}}]}",
        cell=stacked(tmp_path, 300), unit="corners",
    )  # fmt: skip
    assert finding.value == 2.0
    assert scene.mark.text == "2 corners carried, asked 3 corners"
    # the carton spans x 600..1000 of the world, what carries it 500..900
    assert scene.mark.middle[0] == pytest.approx(1.0)
    assert scene.mark.middle[2] == pytest.approx(0.144 + 0.25)
    assert scene.names[1] == "what carries it"
    assert len(scene.second) == 1


def test_a_wrong_offset_is_measured_between_the_two_centres():
    scene, finding, _ = pictured(
        "offset", "A/1/1", "stacks.main.layers=1",
        "groups={one: {row: {carton: tea, count: 1}, offset: [10, 5]}}",
        "patterns.row={column: {group: one}}",
    )  # fmt: skip
    assert np.linalg.norm(scene.mark.end - scene.mark.start) * 1e3 == pytest.approx(finding.value)
    carton = scene.first[0].points
    middle = (carton.min(axis=0) + carton.max(axis=0)) / 2
    np.testing.assert_allclose(scene.mark.start[:2], middle[:2], atol=1e-6)
    assert scene.mark.start[2] == pytest.approx(carton[:, 2].max())


def test_a_joint_that_is_too_slow_is_picked_out_by_its_link():
    scene, finding, _ = pictured(
        "reach", "A/1/1", "stacks.main.layers=1", "motion.linear_speed=3000"
    )
    assert finding.message.startswith("joint 2 ")
    assert scene.names[0] == "link upper arm"
    assert scene.mark.text.startswith("joint 2: ")
    assert scene.mark.text.endswith("limit 100")
    low, high = scene.first[0].points.min(axis=0), scene.first[0].points.max(axis=0)
    assert (scene.mark.middle > low - 0.05).all()
    assert (scene.mark.middle < high + 0.05).all()


def test_growth_of_a_row_is_shown_where_it_ends():
    scene, finding, _ = pictured(
        "stacking", "A/1/1", "stacks.main.layers=1", "tolerances.carton_size=5"
    )
    assert scene.swept_is == "where a row ends that has grown"
    way = -np.array(finding.gain)
    drawn, grown = ((body.points @ way).max() for body in (scene.first[0], scene.swept[0]))
    assert (grown - drawn) * 1e3 == pytest.approx(finding.value)  # it hangs over by growth alone


def test_the_second_line_tells_value_and_limit_of_what_is_no_distance():
    _, finding, judged = pictured(
        "stacking", "A/2/1", "stacks.main.layers=2", "pallets.A.max_load=50"
    )
    assert against_limit(finding, "allowed") == "54 kg, allowed 50 kg"
    assert "measured 54 kg, limit 50 kg" in _when(Problem(judged, finding))


def spot(value, limit, between):
    return Finding("collision", "pass", value, limit, "mm", "words", between=between, at=1.0)


def test_where_all_is_well_the_tightest_spot_is_no_intended_contact():
    touching = spot(-0.05, -0.1, ("carton/A/1/2", "pallet/A"))
    near = spot(31.0, 20.0, ("link/elbow", "obstacle/fence"))
    assert tightest_of(made.judged(1, touching, near)).finding is near
    assert tightest_of(made.judged(1, touching)).finding is touching


@pytest.mark.parametrize("along", [(1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.6, 0.0, 0.8)])
def test_a_detail_is_taken_from_the_side_of_its_length(along):
    towards = np.array([0.6, 0.5, -0.62])
    towards /= np.linalg.norm(towards)
    mark = Mark(np.zeros(3), 0.01 * np.array(along), "10 mm")
    view = detail_view(mark, towards, (400, 300))
    assert abs(view.towards @ along) < 1e-9
    assert view.towards[2] < 0.06  # never from below
    ends = view.project(mark.points)
    assert np.linalg.norm(ends[1] - ends[0]) == pytest.approx(view.pixels(0.01))
