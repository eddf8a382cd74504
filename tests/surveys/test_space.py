"""The operating space of a small cell, against another library's kinematics and distances."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from envelope.geometry.bodies import Box, Capsule, Cylinder
from envelope.surveys.space import operating_space
from envelope.surveys.space_clearance import FARTHEST, nearest
from envelope.surveys.space_views import outline
from envelope.verify import check
from tests.support import plain_scene as plain
from tests.support.small_cell import small

FENCE = """
surroundings:
  - name: fence
    kind: fence
    block: [2000, 40, 1500]
    at: {x: 1000, y: 900, z: 0}
  - name: lamp
    block: [200, 200, 200]
    at: {x: 1200, y: 100, z: 2600}
  - name: tree
    block: [200, 200, 2000]
    at: {x: -4000, y: 0, z: 0}
"""


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    return small(tmp_path_factory.mktemp("space"), more=FENCE)


@pytest.fixture(scope="module")
def result(run):
    return check(run.cell)


@pytest.fixture(scope="module")
def space(run, result):
    return operating_space(run.cell, result, 0.06)


def surface_points(body, rng, count=24):
    """Points of a body, in the frame that it is fixed in."""
    shape = body.shape
    if isinstance(shape, Box):
        points = np.sign(rng.uniform(-1, 1, (count, 3))) * shape.half
    elif isinstance(shape, Capsule):
        points = rng.normal(size=(count, 3))
        points *= shape.radius / np.linalg.norm(points, axis=1, keepdims=True)
        points[:, 2] += np.sign(rng.uniform(-1, 1, count)) * shape.half
    elif isinstance(shape, Cylinder):
        angle = rng.uniform(0, 2 * np.pi, count)
        end = np.sign(rng.uniform(-1, 1, count)) * shape.half
        points = np.stack([shape.radius * np.cos(angle), shape.radius * np.sin(angle), end], axis=1)
    else:
        points = np.asarray(shape.vertices)
    return points @ body.pose[:3, :3].T + body.pose[:3, 3]


@pytest.fixture(scope="module")
def cloud(run):
    """Points that arm, tool and cartons pass through, and the same of tool and cartons alone."""
    rng = np.random.default_rng(0)
    every, tool = [], []
    for pallet, releases, stretches in run.cycles():
        angle = run.turn_at_pick(releases, stretches)
        for stretch in stretches:
            pieces, _ = run.scene(pallet, releases, stretch, angle)
            frames = run.frames(run.samples(stretch)[::2])
            for piece in pieces:
                points = surface_points(piece.body, rng)
                at = frames[:, piece.link]
                world = np.einsum("nij,kj->nki", at[:, :3, :3], points) + at[:, None, :3, 3]
                every.append(world.reshape(-1, 3))
                if piece.role != "arm":
                    tool.append(world.reshape(-1, 3))
    return np.concatenate(every), np.concatenate(tool)


@pytest.mark.peer
def test_all_that_moves_is_inside(space, cloud):
    every, _ = cloud
    grid = space.swept.grid
    size = np.array([grid.side, grid.side, grid.height])
    cell = np.floor((every - np.array(grid.origin)) / size).astype(int)
    assert len(every) > 100_000
    assert space.swept.taken[tuple(cell.T)].all()
    low, high = space.swept.box()
    assert (every >= low).all()
    assert (every <= high).all()


@pytest.mark.peer
def test_heights_are_those_of_what_moves(space, cloud):
    """On the safe side, and by little."""
    every, tool = cloud
    assert 0.0 <= space.highest.height - every[:, 2].max() < 0.02
    assert 0.0 <= tool[:, 2].min() - space.lowest.height < 0.02
    assert space.lowest.body.startswith("carton/")
    assert space.lowest.segment in ("approach place", "withdraw")


@pytest.mark.peer
@pytest.mark.parametrize("axes", [(0, 1), (0, 2), (1, 2)])
def test_outlines_hold_all_that_moves_and_little_more(space, cloud, axes):
    every, _ = cloud
    seen = outline(space.swept, axes)
    rings = [shapely.Polygon(ring) for ring in seen.rings]
    signed = [r.area if shapely.is_ccw(r.exterior) else -r.area for r in rings]
    assert sum(signed) == pytest.approx(seen.area)
    covered = rings[0]
    for ring in rings[1:]:
        covered = covered.symmetric_difference(ring)
    points = shapely.points(every[:, axes[0]], every[:, axes[1]])
    shapely.prepare(covered)
    assert shapely.covers(covered, points).all()
    # every corner of the outline is near something that passed there
    near = shapely.STRtree(points)
    for ring in seen.rings:
        _, away = near.query_nearest(shapely.points(ring), return_distance=True, all_matches=False)
        assert np.median(away) < 0.02  # what was sampled has gaps
    cells = space.swept.taken.any(axis=3 - sum(axes))
    side = np.array([space.swept.grid.side, space.swept.grid.side, space.swept.grid.height])
    assert seen.area <= cells.sum() * side[axes[0]] * side[axes[1]] * 1.001


@pytest.mark.peer
def test_the_smallest_clearance_of_each_obstacle_is_bracketed(run, result):
    found = {entry.name: entry for entry in nearest(run.cell, result)}
    assert list(found) == [fixture.body.name for fixture in run.cell.fixtures]
    sampled = dict.fromkeys(found, np.inf)
    for pallet, releases, stretches in run.cycles():
        angle = run.turn_at_pick(releases, stretches)
        for stretch in stretches:
            pieces, still = run.scene(pallet, releases, stretch, angle)
            frames = run.frames(run.samples(stretch)[::4])
            for piece in (p for p in pieces if p.link):
                for other in (p for p in still if p.name in found):
                    for frame in frames:
                        low, high = plain.boxes(piece.body, frame[None, piece.link])
                        at = plain.boxes(other.body, np.eye(4)[None])
                        gap = np.maximum(at[0] - high, low - at[1]).max()
                        if gap < min(sampled[other.name], FARTHEST):
                            away = run.distance(piece, other, frame)
                            sampled[other.name] = min(sampled[other.name], away)
    assert found["obstacle/tree"].upper is None
    told = [name for name, entry in found.items() if entry.upper is not None]
    assert {"obstacle/fence", "obstacle/floor", "pedestal"} <= set(told)
    for name in told:
        entry = found[name]
        assert entry.upper - entry.lower <= 1.1e-3
        assert entry.lower <= sampled[name] + 1e-6
        assert sampled[name] <= entry.upper + 0.005  # samples lie apart
        assert entry.mover
        assert entry.placement in run.told


def test_what_has_no_motion_is_named(run, result):
    first, *others = result.placements
    lame = replace(result, placements=(replace(first, cycle=None), *others))
    found = operating_space(run.cell, lame, 0.1)
    assert any(first.placement.id in note for note in found.notes)
    assert operating_space(run.cell, result, 0.1).notes == ()


def test_rounded_corners_are_told_to_be_left_out(run, result):
    rounded = replace(run.cell, motion=replace(run.cell.motion, blend_radius=0.05))
    assert any("rounding" in note for note in operating_space(rounded, result, 0.1).notes)


def test_without_any_motion_the_base_is_left(run, result):
    still = replace(
        result, placements=tuple(replace(judged, cycle=None) for judged in result.placements)
    )
    found = operating_space(run.cell, still, 0.1)
    assert found.lowest is None
    assert found.highest.body == "link/base"
    assert 0.0 < found.swept.volume < 1.0
    assert all(entry.upper is None for entry in nearest(run.cell, still))
