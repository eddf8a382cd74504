"""Who stands where: the picture must not show another instant than the one that was judged."""

import numpy as np
import pytest

from envelope.scene.instant import Scenery, between_rows, moment_of, segment_of
from envelope.scene.subjects import scene_of
from envelope.scene.sweep import swept


@pytest.fixture(scope="module")
def spot(clash):
    cell, result = clash
    judged = result.placements[0]
    finding = next(f for f in judged.findings if f.check == "collision" and f.verdict == "fail")
    return Scenery(cell, cell.pallets[0]), judged, finding


def test_what_is_not_down_yet_does_not_stand(spot):
    scenery, judged, finding = spot
    segment = segment_of(judged.cycle, finding)
    moment = moment_of(scenery.task("A/1/7"), judged.cycle, segment, finding.at)
    shown = scenery.at(moment)
    placed = {entry.name for entry in shown if entry.role == "placed"}
    assert placed == {f"carton/A/1/{k}" for k in range(1, 7)}
    assert [entry.name for entry in shown if entry.role == "carried"] == ["carton/A/1/7"]
    assert not any(entry.role == "waiting" for entry in shown)


def test_the_drawn_distance_is_the_one_that_was_proved(spot, sound):
    scenery, judged, finding = spot
    scene = scene_of(scenery, judged, finding, (judged,))
    assert scene.names == ("carton A/1/7", "carton A/1/5")
    assert scene.overlap is not None
    cell, result = sound
    judged = result.placements[0]
    moving = [f for f in judged.findings if f.check in ("approach", "collision") and f.between]
    near = [f for f in moving if f.upper is not None and f.value > 0][:8]
    assert len(near) >= 3
    scenery = Scenery(cell, cell.pallets[0])
    for finding in near:
        mark = scene_of(scenery, judged, finding, (judged,)).mark
        drawn = np.linalg.norm(mark.end - mark.start) * 1e3
        assert finding.value - 0.05 <= drawn <= finding.upper + 0.5


def test_the_swept_room_holds_the_carton_at_the_worst_instant(spot):
    scenery, judged, finding = spot
    segment = segment_of(judged.cycle, finding)
    moment = moment_of(scenery.task("A/1/7"), judged.cycle, segment, finding.at)
    hulls = swept(scenery, moment, segment, ())
    carton = next(entry for entry in scenery.at(moment) if entry.role == "carried")
    for corner in carton.facets.points:
        inside = [
            (planes[:, :3] @ corner + planes[:, 3]).max()
            for planes in (hull.planes() for hull in hulls)
        ]
        assert min(inside) < 3e-3  # hulls of copies side by side cut an arc a little


def test_joints_between_rows_lie_on_the_line():
    joints = np.array([[0.0, 1.0], [1.0, 3.0], [5.0, 3.0]])
    assert between_rows(joints, np.array([0.0, 0.5, 1.25, 2.0])).tolist() == [
        [0.0, 1.0], [0.5, 2.0], [2.0, 3.0], [5.0, 3.0],
    ]  # fmt: skip
