"""What is watched along a cycle: nothing may be left out because it looks far, or full of air."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from envelope.cell.load import load
from envelope.checks.cast import Actor, cast_of
from envelope.checks.inside import starting_inside
from envelope.checks.meetings import cap_of
from envelope.checks.stretches import Planned
from envelope.checks.watch import Watch
from envelope.geometry.bodies import Body, Box, Hull, Mesh
from envelope.geometry.frames import pose
from envelope.geometry.queries import Pairs
from envelope.geometry.solids import Solids
from envelope.geometry.sweep import CAP
from envelope.motion.cycle import Cycle, Segment
from envelope.motion.options import tasks_of

CELL = load(Path(__file__).parents[1] / "cells" / "accepted" / "single.yaml")
PALLET = CELL.pallets[0]
TASK = tasks_of(PALLET)[0]
READY = np.radians([30.0, 10.0, 20.0, 0.0, 60.0, 0.0])
FACES = [
    [0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
    [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3],
]  # fmt: skip


def block(half, closed=True):
    """A box of triangles, all turned alike."""
    signs = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], float)
    return Mesh((signs * half)[np.array(FACES)], closed)


def cycle(joints, name="transfer"):
    joints = np.array(joints, float)
    rows = len(joints)
    segment = Segment(name, "joint", joints, np.arange(rows, dtype=float), (), 0, np.zeros(rows))
    return Cycle(1, PALLET.name, "", TASK.group.turns[0], (0.0,), "", (segment,))


def watched(body, cell=CELL, joints=(READY, READY + 0.05), **batch):
    """What is watched of an arm that hardly moves, with a body standing about it."""
    cast = cast_of(cell, PALLET, [TASK])
    actors = (*cast.actors, Actor("extra", "fixed"))
    bodies = (*cast.bodies, body)
    parts = Solids.of(bodies)
    link = np.array([actor.link for actor in actors], dtype=np.intp)[parts.owner]
    cast = replace(cast, actors=actors, bodies=bodies, parts=parts, link=link)
    found = Watch(cell, cast, [Planned(TASK, cycle(joints))]).brackets(**batch)
    return cast, found


def met(cast, found):
    """Names of what comes nearer than asked to the extra body."""
    extra = len(cast.actors) - 1
    return {
        cast.actors[entry.mover].name
        for entry in found
        if entry.other == extra and entry.margin[0] < 0.0
    }


@pytest.mark.parametrize("values", [True, False])
@pytest.mark.parametrize("half", [3.0, 6.0])
def test_an_arm_that_is_inside_a_large_mesh_all_the_time_is_told(half, values):
    """Its triangles are metres away: farther than anything else that is watched."""
    assert half - 2.5 > CAP + 0.1  # the arm reaches no further from its base
    cast, found = watched(Body("hall", block(np.full(3, half))), values=values)
    names = met(cast, found)
    tools = {actor.name for actor in cast.actors if actor.role == "tool"}
    assert tools <= names
    assert any(name.startswith("link/") for name in names)
    inside = [entry for entry in found if entry.inside]
    assert inside
    assert all(cast.actors[entry.other].name == "extra" for entry in inside)


def test_a_mesh_that_is_not_closed_has_no_inside():
    cast, found = watched(Body("hall", block(np.full(3, 6.0), closed=False)))
    assert met(cast, found) == set()
    assert not any(entry.inside for entry in found)


def pyramid(size=0.3):
    """A hull whose bounding box has its centre outside of it."""
    return Hull(size * np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], float))


def starts(mover, at, mesh):
    """Whether a body on the first link at zero starts inside a mesh at the origin."""
    cast = cast_of(CELL, PALLET, [TASK])
    actors = (Actor("mover", "tool", 1), Actor("mesh", "fixed"))
    bodies = (Body("mover", mover, at), Body("mesh", mesh))
    parts = Solids.of(bodies)
    link = np.where(parts.owner == 0, 1, 0)
    cast = replace(cast, actors=actors, bodies=bodies, parts=parts, link=link)
    frames = cast.travel.frames(np.zeros((1, 6)))
    frames[:, 1] = np.eye(4)
    first, second = np.meshgrid(np.flatnonzero(parts.owner == 0), np.flatnonzero(parts.owner == 1))
    zero = np.zeros(first.size, np.intp)
    return starting_inside(cast, frames, Pairs(zero, first.ravel(), second.ravel(), zero))


def test_a_hull_beside_a_mesh_is_not_inside_because_its_box_is():
    # the corner of its box is in the mesh, its slanted face 40 mm away from it
    assert starts(pyramid(), pose(-0.15, -0.15, -0.15), block(np.full(3, 0.02))) == {}


def test_a_hull_wholly_inside_a_mesh_is_inside_though_its_box_is_not():
    """A pyramid in a pyramid-shaped mesh only a little larger."""
    corners = 0.32 * (np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]) - 0.01)
    faces = [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]
    mesh = Mesh(corners[np.array(faces)], True)
    assert starts(pyramid(0.29), np.eye(4), mesh) == {0: 1}


def test_a_slanted_triangle_beside_a_mesh_is_not_inside_because_its_box_is():
    flat = Mesh(0.3 * np.array([[[0, 0, 0], [1, 1, 0], [1, 0, 1]]], float), False)
    assert starts(flat, pose(-0.15, -0.15, -0.15), block(np.full(3, 0.02))) == {}
    assert starts(Box(np.full(3, 0.01)), np.eye(4), block(np.full(3, 0.02))) == {0: 1}


WIDE = (
    "tool_to_placed",
    "carried_to_guide",
    "carried_to_fixed",
    "arm_to_itself",
    "tool_to_fixed",
    "arm_to_any",
    "placing_gap",
)


@pytest.mark.parametrize("asked", WIDE)
def test_nothing_is_left_out_that_is_nearer_than_the_widest_clearance_asked_for(asked):
    clearances = replace(CELL.clearances, **{asked: 0.4})
    cell = replace(CELL, clearances=clearances)
    watch = Watch(cell, cast_of(cell, PALLET, [TASK]), [Planned(TASK, cycle((READY, READY)))])
    assert watch.meetings.far >= cap_of(clearances) >= 0.4 + clearances.margin


def test_an_arm_that_asks_for_much_room_to_itself_does_not_pass_with_less():
    far = Body("far", Box(np.full(3, 0.1)), pose(x=50.0))
    cell = replace(CELL, clearances=replace(CELL.clearances, arm_to_itself=0.4))
    _, asking = watched(far, cell)
    _, usual = watched(far)
    short = [entry for entry in asking if entry.rule.full == 0.4 and entry.margin[0] < 0.0]
    near = [entry for entry in usual if entry.rule.pair == "arm to itself" and entry.other]
    assert len(short) > len(near)
