"""The second opinion agrees over the example cells, and notices results that are wrong."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh

from envelope.cell.load import load
from envelope.cell.model import Cell
from envelope.checks.cast import SEGMENTS, cast_of
from envelope.checks.fcl_shapes import engine, shape_of
from envelope.checks.finding import Finding, Judged, Result
from envelope.checks.occasion import FINEST, Occasion
from envelope.checks.second_opinion import Opinion, second_opinion
from envelope.checks.stretches import Planned
from envelope.checks.watch import Watch
from envelope.geometry.bodies import Body, Box, Capsule, Cylinder, Hull, Mesh, frozen
from envelope.geometry.frames import pose
from envelope.motion.options import tasks_of
from envelope.verify import check
from tests.support.small_cell import TEXT

CELLS = Path(__file__).parents[2] / "cells"
MM = 1e-3


# --- the example cells ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "every"),
    [
        ("tea-five-layers", 6),
        ("tea-seven-layers", 18),
        ("oats-two-heads", 5),
        ("biscuits-two-pallets", 29),
    ],
)
def test_over_the_example_cells_both_engines_agree(name, every):
    cell = load(CELLS / f"{name}.yaml")
    names = {p.id for pallet in cell.pallets for p in pallet.placements[every - 1 :: every]}
    result = check(cell, placements=names)
    opinion = second_opinion(cell, result)
    assert [str(told) for told in opinion.disagreements] == []
    cycles = {id(j.cycle): j.cycle for j in result.placements if j.cycle is not None}
    rows = sum(len(s.joints) for cycle in cycles.values() for s in cycle.segments)
    assert opinion.asked > rows > 200
    assert opinion.pairs > 100 * opinion.asked


# --- wrong on purpose ----------------------------------------------------------------------------


def cell_of(folder: Path, *changes: tuple[str, str], more: str = "") -> Cell:
    text = TEXT
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path = folder / "cell.yaml"
    path.write_text(text + more)
    return load(path)


def thing(text: str) -> str:
    return f"surroundings:\n  - {{{text}}}\n"


@pytest.fixture(scope="module")
def sound(tmp_path_factory) -> tuple[Cell, Result]:
    """The small cell, whose cartons are set down at no gap, and its result."""
    cell = cell_of(tmp_path_factory.mktemp("sound"))
    return cell, check(cell)


def told(opinion: Opinion) -> set[tuple[str, str, tuple[str, str]]]:
    return {(d.placement, d.segment, d.pair) for d in opinion.disagreements}


def altered(result: Result, index: int, **changes) -> Result:
    judged = list(result.placements)
    judged[index] = replace(judged[index], **changes)
    return replace(result, placements=tuple(judged))


def without_findings(judged: Judged, *segments: str) -> tuple[Finding, ...]:
    return tuple(f for f in judged.findings if f.segment not in segments)


def test_a_sound_result_is_confirmed_though_its_cartons_touch(sound):
    cell, result = sound
    assert result.verdict == "pass"
    opinion = second_opinion(cell, result)
    assert opinion.disagreements == ()
    assert opinion.without == ()


@pytest.mark.parametrize(("shift", "noticed"), [(0.1, False), (0.3, True)])
def test_a_neighbour_that_stands_a_little_off_is_noticed(sound, tmp_path, shift, noticed):
    """Contact of 0.1 mm is allowed; 0.3 mm into the next carton is not, and all see it."""
    moved = cell_of(tmp_path, ("at: {x: 1000, y: 150}", f"at: {{x: 1000, y: {150 + shift}}}"))
    opinion = second_opinion(moved, sound[1])
    pair = ("carton/A/1/2", "carton/A/1/1")
    assert (("A/1/2", "approach place", pair) in told(opinion)) == noticed
    assert not [d for d in opinion.disagreements if d.segment == "withdraw"]


def test_a_carton_that_stands_elsewhere_is_run_into(sound, tmp_path):
    moved = cell_of(tmp_path, ("at: {x: 1000, y: 150}", "at: {x: 1000, y: 350}"))
    opinion = second_opinion(moved, sound[1])
    hit = [d for d in opinion.disagreements if d.pair == ("carton/A/1/2", "carton/A/1/1")]
    assert {d.segment for d in hit} >= {"approach place"}
    text = str(hit[0])
    assert all(part in text for part in ("A/1/2", hit[0].segment, "row ", " s, ", *hit[0].pair))


def test_a_thin_wire_between_two_rows_is_found(sound, tmp_path):
    """The crossing has two rows; the wire stands half way between them."""
    cell, result = sound
    crossing = next(s for s in result.placements[0].cycle.segments if s.name == "transfer")
    middle = crossing.joints[:2].mean(axis=0)[None]
    tcp = cell.mounted.arm.chain.flange_poses(middle)[0] @ cell.tool.flange_from_tcp
    x, y = tcp[:2, 3] / MM
    wire = cell_of(
        tmp_path,
        more=thing(
            f"name: wire, cylinder: {{diameter: 4, from: [{x}, {y}, 0], to: [{x}, {y}, 3500]}}, "
            "at: {x: 0, y: 0}"
        ),
    )
    opinion = second_opinion(wire, result)
    found = [d for d in opinion.disagreements if d.pair == ("carton/A/1/1", "obstacle/wire")]
    assert found
    assert found[0].segment == "transfer"
    assert 0.0 < found[0].row % 1.0 < 1.0


def test_a_motion_that_was_changed_after_the_check_is_noticed(sound):
    cell, result = sound
    cycle = result.placements[1].cycle
    number = next(n for n, s in enumerate(cycle.segments) if s.name == "approach place")
    segment = cycle.segments[number]
    joints = segment.joints.copy()
    joints[5, 1] += np.radians(8.0)  # the second joint dips at one row
    segments = list(cycle.segments)
    segments[number] = replace(segment, joints=frozen(joints))
    wrong = altered(result, 1, cycle=replace(cycle, segments=tuple(segments)))
    opinion = second_opinion(cell, wrong)
    assert {d.placement for d in opinion.disagreements} == {"A/1/2"}
    assert {d.segment for d in opinion.disagreements} == {"approach place"}
    assert any(5 in (np.floor(d.row), np.ceil(d.row)) for d in opinion.disagreements)


def test_an_overlap_that_is_not_there_is_noticed(sound):
    cell, result = sound
    findings = list(result.placements[0].findings)
    number = next(
        n for n, f in enumerate(findings) if f.segment == "transfer" and f.between is not None
    )
    pair = findings[number].between
    findings[number] = findings[number]._replace(value=-3.0, upper=-2.5, verdict="fail")
    opinion = second_opinion(cell, altered(result, 0, findings=tuple(findings)))
    assert told(opinion) == {("A/1/1", "transfer", pair)}
    assert "free" in opinion.disagreements[0].words


def test_a_finding_about_a_body_that_is_not_there_is_noticed(sound):
    cell, result = sound
    findings = list(result.placements[0].findings)
    number = next(
        n for n, f in enumerate(findings) if f.segment == "transfer" and f.between is not None
    )
    pair = (findings[number].between[0], "obstacle/ghost")
    findings[number] = findings[number]._replace(between=pair)
    opinion = second_opinion(cell, altered(result, 0, findings=tuple(findings)))
    assert told(opinion) == {("A/1/1", "transfer", pair)}


def test_a_result_of_another_cell_is_refused(sound, tmp_path):
    fewer = cell_of(tmp_path, ("      - {group: box, at: {x: 600, y: 150}}\n", ""))
    with pytest.raises(ValueError, match="A/1/3"):
        second_opinion(fewer, sound[1])


def test_what_has_no_motion_is_told_and_not_asked(sound):
    cell, result = sound
    opinion = second_opinion(cell, altered(result, 2, cycle=None))
    assert opinion.without == ("A/1/3",)
    assert 0 < opinion.asked < second_opinion(cell, result).asked


def test_progress_goes_cycle_by_cycle(sound):
    steps: list[tuple[int, int]] = []
    second_opinion(*sound, progress=lambda done, total: steps.append((done, total)))
    assert steps == [(1, 3), (2, 3), (3, 3)]


# --- an honest fail, and one that is hushed up ---------------------------------------------------


def test_a_fail_is_confirmed_and_one_that_is_hushed_up_is_noticed(tmp_path):
    """A post where the carton is put down: every motion runs into it."""
    post = "name: post, box: [100, 100, 300], at: {x: 2000, y: -50, z: 150}"
    cell = cell_of(tmp_path, more=thing(post))
    result = check(cell, placements={"A/1/1"})
    judged = result.placements[0]
    overlaps = [f for f in judged.findings if f.verdict == "fail" and (f.value or 0.0) < -0.1]
    assert overlaps
    assert second_opinion(cell, result).disagreements == ()
    hushed = altered(result, 0, findings=without_findings(judged, *SEGMENTS))
    wrong = second_opinion(cell, hushed)
    assert overlaps[0].between in {d.pair for d in wrong.disagreements}
    flattered = tuple(
        f._replace(value=1.0, upper=1.5) if f in overlaps else f for f in judged.findings
    )
    assert second_opinion(cell, altered(result, 0, findings=flattered)).disagreements


# --- meshes --------------------------------------------------------------------------------------


def mesh_cell(folder: Path, size: float, at: tuple[float, float, float]) -> Cell:
    trimesh.creation.icosphere(subdivisions=1, radius=size).export(folder / "ball.stl")
    x, y, z = at
    more = thing(f"name: ball, mesh: ball.stl, mesh_unit: mm, at: {{x: {x}, y: {y}, z: {z}}}")
    return cell_of(folder, more=more)


def test_a_mesh_in_the_way_is_asked_about_as_it_is(sound, tmp_path):
    ball = mesh_cell(tmp_path, 150.0, (2000.0, 0.0, 500.0))
    opinion = second_opinion(ball, sound[1])
    assert ("A/1/1", "obstacle/ball") in {(d.placement, d.pair[1]) for d in opinion.disagreements}
    honest = check(ball, placements={"A/1/1"})
    assert second_opinion(ball, honest).disagreements == ()


def test_being_wholly_inside_a_mesh_is_no_disagreement(tmp_path):
    """The engine's meshes are hollow; the check knows of the inside by itself."""
    hall = mesh_cell(tmp_path, 20000.0, (0.0, 0.0, 0.0))
    result = check(hall, placements={"A/1/1"})
    assert result.verdict == "fail"
    assert second_opinion(hall, result).disagreements == ()


# --- its parts -----------------------------------------------------------------------------------


def touches(first, first_pose, second, second_pose) -> bool:
    fcl = engine()
    things = [
        fcl.CollisionObject(shape, fcl.Transform(at[:3, :3], at[:3, 3]))
        for shape, at in ((first, first_pose), (second, second_pose))
    ]
    return bool(fcl.collide(*things))


BOX = Box(frozen([0.1, 0.2, 0.3]))
CORNERS = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)]) * BOX.half
FLAT = [
    (BOX, 0.3),
    (Hull(frozen(CORNERS)), 0.3),
    (Cylinder(0.1, 0.3), 0.3),
    (Capsule(0.1, 0.2), 0.3),
]


@pytest.mark.parametrize(("shape", "top"), FLAT, ids=lambda value: type(value).__name__)
@pytest.mark.parametrize("smaller", [0.0, 0.00055, 0.02])
def test_bodies_end_where_they_do_less_what_is_taken_off(shape, top, smaller):
    body = shape_of(Body("body", shape), smaller)
    block = shape_of(Body("block", Box(frozen([0.05, 0.05, 0.05]))))
    reach = top - smaller + 0.05
    assert touches(body, np.eye(4), block, pose(z=reach - 1e-5))
    assert not touches(body, np.eye(4), block, pose(z=reach + 1e-5))


def test_nothing_is_left_of_a_body_that_is_too_thin():
    for shape, _ in FLAT:
        assert shape_of(Body("body", shape), 0.11) is None
    with pytest.raises(ValueError, match="mesh"):
        shape_of(Body("mesh", Mesh(frozen(np.zeros((1, 3, 3))), closed=False)), 0.001)


def test_a_hull_has_an_inside_and_a_mesh_has_none():
    ball = trimesh.creation.icosphere(subdivisions=2, radius=0.5)
    speck = shape_of(Body("speck", Box(frozen([0.01, 0.01, 0.01]))))
    hull = shape_of(Body("hull", Hull(frozen(ball.vertices))))
    mesh = shape_of(Body("mesh", Mesh(frozen(ball.triangles), closed=True)))
    assert touches(hull, np.eye(4), speck, np.eye(4))
    assert not touches(mesh, np.eye(4), speck, np.eye(4))
    assert touches(mesh, np.eye(4), speck, pose(z=0.5))


@pytest.mark.parametrize("name", ["oats-two-heads", "biscuits-two-pallets"])
def test_who_takes_part_and_under_which_rule_is_as_in_the_check(name):
    """Told twice: here one by one, in the check from tables."""
    cell = load(CELLS / f"{name}.yaml")
    pallet = cell.pallets[0]
    names = {placement.id for placement in pallet.placements[7::40]}
    result = check(cell, placements=names)
    tasks = [t for t in tasks_of(pallet) if any(p.id in names for p in t.placements)]
    cycles = {j.cycle.number: j.cycle for j in result.placements if j.cycle is not None}
    planned = [Planned(task, cycles[task.number]) for task in tasks]
    cast = cast_of(cell, pallet, tasks)
    watch = Watch(cell, cast, planned)
    segment, first, second = watch.meetings.near_pairs()
    rules = [watch._rules[n] for n in watch._ruled(segment, first, second)]
    occasions = [
        Occasion.of(cell, cast, planned[p].task, planned[p].cycle, s) for p, _, s in watch.segments
    ]
    assert len(rules) > 500
    for number, a, b, rule in zip(segment, first, second, rules, strict=True):
        occasion, mover, other = occasions[number], cast.parts.owner[a], cast.parts.owner[b]
        assert mover in occasion.moving
        assert other in (*occasion.standing, *occasion.moving)
        assert occasion.is_watched(mover, other)
        assert occasion.in_order(mover, other) == (mover, other)
        assert occasion.rule(mover, other) == rule


def test_no_joint_turns_far_between_what_is_asked(sound):
    cell, result = sound
    cycle = result.placements[0].cycle
    cast = cast_of(cell, cell.pallets[0], tasks_of(cell.pallets[0]))
    for segment in cycle.segments:
        task = tasks_of(cell.pallets[0])[0]
        occasion = Occasion.of(cell, cast, task, cycle, segment)
        rows = occasion.rows()
        joints = occasion.joints_at(rows)
        assert np.abs(np.diff(joints, axis=0)).max() <= FINEST + 1e-12
        whole = rows == np.round(rows)
        np.testing.assert_array_equal(joints[whole], segment.joints)
        for row in rows:
            assert occasion.row_at(occasion.instant_at(row)) == pytest.approx(row, abs=1e-9)


def test_of_a_cycle_that_brings_several_placements_each_answers_for_its_part():
    cell = load(CELLS.parent / "tests" / "cells" / "accepted" / "pairs.yaml")
    task = next(
        t for p in cell.pallets for t in tasks_of(p) if "A/3/3" in {x.id for x in t.placements}
    )
    whole = check(cell, placements={placement.id for placement in task.placements})
    names = [segment.name for segment in whole.placements[0].cycle.segments]
    assert names.count("approach place") == 4  # for each, down to it and then in
    opinions = [second_opinion(cell, replace(whole, placements=(j,))) for j in whole.placements]
    assert len(opinions) == 2
    assert all(opinion.asked > 0 and not opinion.disagreements for opinion in opinions)
    assert sum(opinion.asked for opinion in opinions) == second_opinion(cell, whole).asked


def test_a_finding_at_the_joint_of_two_segments_of_one_name_counts_for_both():
    cell = load(CELLS.parent / "tests" / "cells" / "accepted" / "pairs.yaml")
    whole = check(cell, placements={"A/3/3"})
    judged = whole.placements[0]
    first, second = (
        s for s in judged.cycle.segments if s.name == "approach place" and not s.release
    )
    joint = float(first.times[-1])
    assert joint == float(second.times[0])
    finding = next(
        f for f in judged.findings if f.segment == "approach place" and f.between is not None
    )
    deep = finding._replace(value=-5.0, upper=-4.5, at=joint, verdict="fail")
    opinion = second_opinion(cell, altered(whole, 0, findings=(*judged.findings, deep)))
    assert [(d.at, d.pair) for d in opinion.disagreements] == [(joint, finding.between)] * 2
