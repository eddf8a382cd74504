"""Corners that may be rounded are watched over every way round them."""

from dataclasses import fields, replace

import numpy as np
import pytest

from envelope.cell.load import load
from envelope.cell.model import Clearances, Fixture
from envelope.checks.cast import cast_of
from envelope.checks.stretches import Planned, around_corners
from envelope.checks.watch import watch_cycles
from envelope.geometry.bodies import Body, Box, frozen
from envelope.geometry.frames import pose
from envelope.motion.options import tasks_of
from envelope.verify import check

PATH = "tests/cells/accepted/single.yaml"


@pytest.fixture(scope="module")
def sharp():
    cell = load(PATH)
    result = check(cell, placements=["A/2/3"])
    (judged,) = result.placements
    task = next(t for t in tasks_of(cell.pallets[0]) if t.placements[0].id == "A/2/3")
    return cell, Planned(task, judged.cycle)


def rounding(cell, radius):
    return replace(cell, motion=replace(cell.motion, blend_radius=radius))


def test_sharp_corners_need_no_second_look(sharp):
    cell, planned = sharp
    assert around_corners(cell, [planned]) is None


def test_every_corner_but_rest_is_rounded_and_the_sharp_way_is_part_of_it(sharp):
    cell, planned = sharp
    stretches = around_corners(rounding(cell, 0.05), [planned])
    segments = planned.cycle.segments
    rests = sum(s.to_go[-1] == 0.0 for s in segments)
    legs = sum(1 if s.kind == "linear" else len(s.joints) - 1 for s in segments)
    assert len(stretches.segments) == legs - 1 - rests
    tcp = cell.mounted.arm.chain.flange_poses
    for corner in range(len(stretches.segments)):
        rows = slice(*stretches.pieces.start[corner : corner + 2])
        first, last = stretches.pieces.first[rows], stretches.pieces.last[rows]
        assert (first[1:] == last[:-1]).all(axis=1).sum() >= len(first) - 2
        apart = tcp(first)[:, :3, 3][:, None] - tcp(first)[:, :3, 3][None]
        assert np.sqrt((apart**2).sum(axis=2)).max() <= 2.2 * 0.05


def test_a_post_that_only_a_rounded_corner_meets_is_met(sharp):
    """Just below the way across, just outside the way down: free for the sharp corner alone."""
    cell, planned = sharp
    number, transfer = next(
        (k, s) for k, s in enumerate(planned.cycle.segments) if s.name == "transfer"
    )
    end = transfer.joints[-1]
    rows = np.stack([end + 0.02 * (transfer.joints[-2] - end), end])
    flange = cell.mounted.arm.chain.flange_poses(rows)
    before, corner = cell.mounted.world_from_base @ flange @ cell.tool.flange_from_tcp
    came = (before - corner)[:2, 3] / np.linalg.norm((before - corner)[:2, 3])
    length, width, height = planned.task.group.items[0].carton.size
    reach = abs(corner[:2, 0] @ came) * length / 2 + abs(corner[:2, 1] @ came) * width / 2
    x, y = corner[:2, 3] + came * (reach + 0.012)
    top = corner[2, 3] - height - 0.005
    post = Body("post", Box(frozen([0.004, 0.004, 0.02])), frozen(pose(x, y, top - 0.02)))
    asked = {f.name: 0.0 for f in fields(Clearances) if f.name not in ("taper_height", "contact")}
    bare = replace(
        cell,
        fixtures=(*cell.fixtures, Fixture("obstacle", post)),
        clearances=replace(cell.clearances, **asked),
    )
    cast = cast_of(bare, bare.pallets[0], [planned.task])
    post_number = next(k for k, actor in enumerate(cast.actors) if actor.name == "post")

    def met(radius):
        found = watch_cycles(rounding(bare, radius), cast, [planned])
        carried = [w for w in found if cast.actors[w.mover].role == "carried"]
        return [w for w in carried if w.other == post_number and w.margin[0] < 0.0]

    assert met(0.0) == []
    hits = met(0.06)
    assert hits
    assert all(w.corner and w.segment == number for w in hits)
