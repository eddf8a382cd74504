"""Pairs of the arm's own links that are left out, against their distances; and that any are."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import envelope.checks.between_links as between_links_module
from envelope.arm.travel import Travel
from envelope.cell.load import arm_names, load, load_arm
from envelope.checks.between_links import BetweenLinks, between_links
from envelope.checks.cast import cast_of
from envelope.checks.stretches import Planned
from envelope.checks.watch import Watch
from envelope.geometry.bodies import Body, Mesh
from envelope.geometry.distance import separation
from envelope.geometry.solids import Solids
from envelope.geometry.stage import Pieces
from envelope.motion.options import tasks_of
from envelope.verify import check

FAR = 0.1
CELL = load(Path(__file__).parents[2] / "cells" / "biscuits-two-pallets.yaml")


@pytest.fixture(autouse=True)
def fresh(monkeypatch):
    monkeypatch.setattr(between_links_module, "_ARMS", {})


def ranges(arm):
    return tuple((joint.lower, joint.upper) for joint in arm.joints)


def parts_of(arm):
    parts = Solids.of([entry.body for entry in arm.bodies])
    return parts, np.array([entry.link for entry in arm.bodies])[parts.owner]


def motions(arm, rng, count=40, pieces=3, size=0.15):
    """Random motions within the ranges, of a few pieces each."""
    low, high = np.array(ranges(arm)).T
    turns = np.where(arm.chain.turning(), size, 0.1 * size)
    rows = [rng.uniform(low, high, (count, len(low)))]
    for _ in range(pieces):
        step = rng.uniform(-1.0, 1.0, (count, len(low))) * turns
        rows.append(np.clip(rows[-1] + step, low, high))
    first, last = (np.stack(part, axis=1).reshape(-1, len(low)) for part in (rows[:-1], rows[1:]))
    start = np.arange(count + 1) * pieces
    return Pieces(start, first, last, np.zeros((len(first), 2)))


def every_pair(link):
    return np.array([(a, b) for a in range(len(link)) for b in range(a) if link[a] != link[b]])


def least_distances(arm, pieces, pairs, samples=7):
    """The least sampled distance of parts along motions, shape (motions, pairs)."""
    parts, link = parts_of(arm)
    shares = np.linspace(0.0, 1.0, samples)[:, None]
    found = np.full((len(pieces.start) - 1, len(pairs)), np.inf)
    for number in range(len(found)):
        mine = slice(pieces.start[number], pieces.start[number + 1])
        q = np.concatenate(
            [
                a + shares * (b - a)
                for a, b in zip(pieces.first[mine], pieces.last[mine], strict=True)
            ]
        )
        poses = arm.chain.link_poses(q)[:, link]
        at = poses[..., :3, :3] @ parts.rotation
        place = (poses[..., :3, :3] @ parts.position[..., None])[..., 0]
        place += poses[..., :3, 3]
        many = np.repeat(np.arange(len(q)), len(pairs))
        first, second = np.tile(pairs.T, len(q))
        apart = separation(
            parts,
            first,
            at[many, first],
            place[many, first],
            parts,
            second,
            at[many, second],
            place[many, second],
        )
        found[number] = apart.upper.reshape(len(q), len(pairs)).min(axis=0)
    return found


@pytest.mark.parametrize("name", arm_names())
def test_parts_that_are_left_out_keep_their_distance(name):
    arm = load_arm(name)
    rng = np.random.default_rng(2)
    pieces, pairs = motions(arm, rng), every_pair(parts_of(arm)[1])
    near = between_links(arm, ranges(arm)).near(pieces, pairs, FAR)
    least = least_distances(arm, pieces, pairs)
    assert (least[~near] >= FAR - 1e-9).all()
    assert near[least < FAR].all()
    assert (~near).mean() > 0.05


def test_what_is_known_of_a_field_does_not_depend_on_who_asked_first():
    arm = load_arm("palletizer-3000-160")
    pieces = [motions(arm, np.random.default_rng(seed)) for seed in range(3)]
    pairs = every_pair(parts_of(arm)[1])
    one = between_links(arm, ranges(arm))
    together = [one.near(some, pairs, FAR) for some in pieces]
    assert between_links(load_arm("palletizer-3000-160"), ranges(arm)) is one
    for some, known in zip(pieces, together, strict=True):
        between_links_module._ARMS.clear()
        assert (between_links(arm, ranges(arm)).near(some, pairs, FAR) == known).all()


@pytest.mark.parametrize("degrees", [1e-4, 5.0, 15.0])
def test_a_motion_that_leaves_the_ranges_counts_as_near_everywhere(degrees):
    """By less than a field as well: nothing is known of what lies beyond an end."""
    arm = load_arm("palletizer-3000-160")
    pieces = motions(arm, np.random.default_rng(0), count=5)
    pairs = every_pair(parts_of(arm)[1])
    between = between_links(arm, ranges(arm))
    high = np.array(ranges(arm))[:, 1]
    assert not between.near(pieces, pairs, FAR).all(axis=1).any()
    for joint in (1, 2):
        last = pieces.last.copy()
        last[4, joint] = high[joint] + np.radians(degrees)
        left = between.near(replace(pieces, last=last), pairs, FAR)
        table = [f for f in between.fields if joint in f._joints]
        own = [pair for f in table for pair in f._pairs.tolist()]
        columns = [k for k, (a, b) in enumerate(pairs.tolist()) if [b, a] in own]
        assert columns
        assert left[1, columns].all()  # piece 4 is one of the second motion's


def test_triangles_of_joints_are_covered_with_all_three_corners():
    arm = load_arm("palletizer-3000-160")
    pairs = every_pair(parts_of(arm)[1])
    low, high = np.array(ranges(arm)).T
    middle = (low + high) / 2
    near = {}
    for third in (middle, high):
        pieces = Pieces(np.array([0, 1]), middle[None], middle[None], np.zeros((1, 2)), third[None])
        near[third is high] = between_links(arm, ranges(arm)).near(pieces, pairs, FAR)
    alone = Pieces(np.array([0, 1]), high[None], high[None], np.zeros((1, 2)))
    at_the_end = between_links(arm, ranges(arm)).near(alone, pairs, FAR)
    assert (near[True] >= at_the_end).all()
    assert near[True].sum() > near[False].sum()


def test_meshes_and_arms_of_very_many_parts_are_watched_motion_by_motion(monkeypatch):
    arm = load_arm("palletizer-3000-160")
    corners = np.array([[0.0, 0, 0], [0.1, 0, 0], [0, 0.1, 0], [0, 0, 0.1]])
    sides = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    mesh = Mesh(corners[sides], closed=True)
    entry = arm.bodies[-1]
    meshed = replace(
        arm,
        bodies=(
            *arm.bodies[:-1],
            replace(entry, body=Body(entry.body.name, mesh, entry.body.pose)),
        ),
    )
    link = parts_of(meshed)[1]
    pieces = motions(arm, np.random.default_rng(1), count=4)
    near = between_links(meshed, ranges(arm)).near(pieces, every_pair(link), FAR)
    of_mesh = (every_pair(link) >= len(link) - len(sides)).any(axis=1)
    assert near[:, of_mesh].all()
    assert not near[:, ~of_mesh].all()
    monkeypatch.setattr(between_links_module, "_MOST_PARTS", len(link) - 1)
    between_links_module._ARMS.clear()
    assert between_links(meshed, ranges(arm)).fields == ()


def test_joints_between_links_are_those_that_move_them_against_each_other():
    for name in arm_names():
        arm = load_arm(name)
        travel, rng = Travel(arm.chain), np.random.default_rng(3)
        q = rng.uniform(-1.0, 1.0, arm.dof)
        moved = q + np.diag(np.full(arm.dof, 0.3))
        poses = arm.chain.link_poses(np.vstack([q, moved]))
        for first in range(poses.shape[1]):
            for second in range(first):
                seen = np.linalg.inv(poses[:, first]) @ poses[:, second]
                changed = np.abs(seen[1:] - seen[0]).max(axis=(1, 2)) > 1e-9
                assert set(np.flatnonzero(changed)) <= set(travel.joints_between(first, second))


@pytest.mark.parametrize("values", [True, False])
def test_a_check_tells_the_same_of_what_is_near(values):
    result = check(CELL, placements=[p.id for p in CELL.pallets[0].placements[40:52]])
    cycles = {id(entry.cycle): entry.cycle for entry in result.placements if entry.cycle}
    first = {p.id: t for t in tasks_of(CELL.pallets[0]) for p in t.placements}
    plans = [
        Planned(first[entry.placement.id], entry.cycle)
        for entry in result.placements
        if entry.cycle and cycles.pop(id(entry.cycle), None)
    ]
    cast = cast_of(CELL, CELL.pallets[0], [plan.task for plan in plans])
    told, pairs = [], []
    for some in (cast, replace(cast, between=BetweenLinks(()))):
        watch = Watch(CELL, some, plans)
        pairs.append(len(watch.meetings.near_pairs(values=values)[0]))
        found = watch.brackets(values=values, every=True)
        told.append(
            {
                (e.planned, e.segment, e.mover, e.rule, e.other): e.margin
                for e in found
                if e.other is not None
            }
        )
    assert told[0].keys() == told[1].keys()
    for key, (lower, upper) in told[0].items():
        other_lower, other_upper = told[1][key]
        assert lower <= other_upper + 1e-9
        assert other_lower <= upper + 1e-9
    assert pairs[0] < 0.9 * pairs[1]
