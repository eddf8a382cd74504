"""Each shortcut of the clearance search against doing without it, and proof that it ran.

The plain search halves every piece of every pair evenly and asks for the distance each
time. What it costs is counted, so that a shortcut that does nothing is found out too.
"""

from pathlib import Path

import numpy as np
import pytest

import envelope.geometry.sweep as sweep
from envelope.cell.load import load
from envelope.checks.cast import cast_of
from envelope.checks.stretches import Planned
from envelope.checks.watch import Watch
from envelope.geometry.components import component_first
from envelope.geometry.distance import apart, gap
from envelope.geometry.queries import Limits, Pairs
from envelope.geometry.stage import Stage
from envelope.geometry.sweep import CAP, COARSE, FLOOR, SETTLED, certify
from envelope.motion.options import tasks_of
from envelope.verify import check
from tests.support.clearance_scenes import random_scene

SEEDS = range(12)
SAME = COARSE + 1e-5  # [m]: two proved brackets on one number overlap, so differ by no more
CELL = load(Path(__file__).parents[1] / "cells" / "accepted" / "single.yaml")


@pytest.fixture
def asked(monkeypatch):
    """Counts the pairs whose distance is asked for."""
    count = [0]

    def counted(first, second, cap, floor):
        count[0] += len(first.index)
        return apart(first, second, cap, floor)

    monkeypatch.setattr(sweep, "apart", counted)
    return count


def cost(asked, *args, **named):
    asked[0] = 0
    found = certify(*args, **named)
    return found, asked[0]


def scenes(first=0, seeds=SEEDS):
    for seed in seeds:
        scene = random_scene(np.random.default_rng(first + seed))
        yield scene, scene.stage(), scene.pairs()


def assert_overlapping(fast, plain, enough):
    """Brackets of the same numbers: neither may rule out the other, and signs agree."""
    assert (fast.lower <= plain.upper + 1e-9).all()
    assert (plain.lower <= fast.upper + 1e-9).all()
    assert ((fast.lower < 0) == (plain.lower < 0)).all()
    # within a bracket of the cap either word is right
    edge = (np.minimum(fast.upper, plain.upper) > enough - SAME) & (
        np.maximum(fast.lower, plain.lower) < enough + SAME
    )
    assert ((fast.near == plain.near) | edge).all()


def even(scene, stage, pairs, halvings=5):
    """The plain search: every part of a 32nd of a piece, by its own distance alone."""
    count, pieces = 2**halvings, stage.pieces
    lower = np.full(len(scene.asked), np.inf)
    upper = lower.copy()
    width = 1.0 / count
    for pair in range(len(pairs.query)):
        one = pairs.take(np.array([pair]))
        query, segment = int(one.query[0]), int(one.segment[0])
        piece = np.repeat(np.arange(pieces.start[segment], pieces.start[segment + 1]), count)
        start = np.tile(np.arange(count) * width, len(piece) // count)
        first, second = (np.repeat(part, len(piece)) for part in (one.first, one.second))
        root = np.full(len(piece), stage.mover.common(stage.link[first[0]], stage.link[second[0]]))

        def posed(share, part, piece=piece, root=root):
            q = pieces.first[piece] + share[:, None] * (pieces.last[piece] - pieces.first[piece])
            return stage.posed(stage.mover.frames(q), np.arange(len(q)), part, root)

        def limit(share, piece=piece, query=query):
            height = pieces.to_go[piece, 0] * (1 - share) + pieces.to_go[piece, 1] * share
            return scene.limits.at(np.full(len(share), query), height)

        middle = start + width / 2
        found = apart(posed(middle, first), posed(middle, second), 10.0, -10.0)
        upper[query] = min(upper[query], (found.upper - limit(middle)).min())
        turning = (stage.turning(part, root, root >= 0) for part in (first, second))
        bend = 8 * sum(stage.stray(piece, each) for each in turning)
        along = component_first(found.direction)
        sides = [
            gap(posed(share, first), posed(share, second), along)
            for share in (start, start + width)
        ]  # fmt: skip
        bound = np.minimum(*sides) - bend * width**2 / 8 - scene.limits.full[query]
        lower[query] = min(lower[query], bound.min())
    return lower, upper


def test_the_search_agrees_with_halving_everything_and_asks_far_less(asked):
    plain_cost = fast_cost = 0
    for scene, stage, pairs in scenes():
        found, count = cost(asked, stage, pairs, scene.limits)
        lower, upper = even(scene, stage, pairs)
        assert (found.lower <= upper + 1e-9).all()
        shallow = found.near & (found.upper + found.limit >= FLOOR)
        assert (lower[shallow] <= found.upper[shallow] + 1e-9).all()
        assert (lower[~found.near] <= upper[~found.near]).all()
        assert (upper[~found.near] >= (CAP - scene.limits.full)[~found.near] - SAME).all()
        fast_cost += count
        pieces = np.diff(scene.pieces.start)[pairs.segment]
        plain_cost += 32 * int(pieces.sum())
    assert 0 < fast_cost < plain_cost / 4


def test_bounding_boxes_of_pieces_only_drop_what_is_far(asked, monkeypatch):
    fast = [cost(asked, stage, pairs, scene.limits) for scene, stage, pairs in scenes()]
    # boxes that hold everything prove nothing: every piece of every pair is looked at
    everything = np.full((3, 1), 1e3)
    monkeypatch.setattr(
        Stage,
        "boxes",
        lambda stage, part: (
            np.repeat(-everything, len(stage.pieces.first), axis=1),
            np.repeat(everything, len(stage.pieces.first), axis=1),
        ),
    )
    less = more = 0
    for (found, count), (scene, stage, pairs) in zip(fast, scenes(), strict=True):
        plain, other = cost(asked, stage, pairs, scene.limits)
        assert_overlapping(found, plain, CAP - scene.limits.full)
        less, more = less + count, more + other
    assert less < more


def test_probing_promising_pieces_first_changes_no_answer(asked, monkeypatch):
    fast = [cost(asked, stage, pairs, scene.limits) for scene, stage, pairs in scenes(50)]
    monkeypatch.setattr(sweep, "_PROBES", 0)
    differs = False
    for (found, count), (scene, stage, pairs) in zip(fast, scenes(50), strict=True):
        plain, other = cost(asked, stage, pairs, scene.limits)
        assert_overlapping(found, plain, CAP - scene.limits.full)
        differs |= count != other
    assert differs


def test_the_cap_changes_no_answer_below_it_and_spares_work(asked):
    less = more = 0
    for scene, stage, pairs in scenes(100):
        found, count = cost(asked, stage, pairs, scene.limits)
        plain, other = cost(asked, stage, pairs, scene.limits, cap=1.0)
        near = found.near
        assert ((found.lower - SAME <= plain.upper) | ~near).all()
        assert ((plain.lower <= found.upper + 1e-9) | ~near).all()
        assert ((found.lower < 0) == (plain.lower < 0)).all()
        beyond = (CAP - scene.limits.full)[~near]
        assert (plain.upper[~near] >= beyond - SAME).all()
        less, more = less + count, more + other
    assert less < 0.8 * more


def test_the_floor_changes_no_answer_above_it_and_spares_work(asked, monkeypatch):
    seeds = (3, 5, 6, 7, 8, 11)  # deep overlaps of hulls take the plain search minutes
    scenes_ = list(scenes(150, seeds))
    fast = [cost(asked, stage, pairs, scene.limits) for scene, stage, pairs in scenes_]
    monkeypatch.setattr(sweep, "FLOOR", -1.0)
    less = more = deep = 0
    for (found, count), (scene, stage, pairs) in zip(fast, scenes_, strict=True):
        plain, other = cost(asked, stage, pairs, scene.limits)
        assert ((found.lower < 0) == (plain.lower < 0)).all()
        told = found.near & (found.upper + found.limit < FLOOR)
        rest = found.near & ~told
        assert (np.abs(found.upper[rest] - plain.upper[rest]) <= SAME).all()
        assert (found.lower <= plain.upper + 1e-9).all()
        less, more, deep = less + count, more + other, deep + int(told.sum())
    assert deep >= 5
    assert less < more


def test_queries_do_not_lean_on_each_other(asked):
    """Pruning is by query: alone or among others, each has the same bytes."""
    for scene, stage, pairs in scenes(200):
        together = certify(stage, pairs, scene.limits)
        for query in range(len(scene.asked)):
            mine = pairs.take(pairs.query == query)
            zero = np.zeros(len(mine.query), np.intp)
            limits = Limits(
                scene.limits.full[[query]], scene.limits.rest[[query]],
                scene.limits.wanted[[query]], scene.limits.taper,
            )  # fmt: skip
            alone = certify(stage, Pairs(mine.segment, mine.first, mine.second, zero), limits)
            for name in ("lower", "upper", "near", "piece", "share", "limit", "direction"):
                one, other = getattr(alone, name)[0], getattr(together, name)[query]
                assert np.asarray(one).tobytes() == np.asarray(other).tobytes(), name


@pytest.mark.parametrize("block", [2, 7, 64])
def test_the_size_of_blocks_shows_nowhere(monkeypatch, block):
    whole = [certify(stage, pairs, scene.limits) for scene, stage, pairs in scenes(250)]
    monkeypatch.setattr(sweep, "_BLOCK", block)
    for found, (scene, stage, pairs) in zip(whole, scenes(250), strict=True):
        again = certify(stage, pairs, scene.limits)
        for name in found.__slots__:
            assert getattr(found, name).tobytes() == getattr(again, name).tobytes(), name


def test_the_order_of_pairs_shows_nowhere():
    rng = np.random.default_rng(0)
    for scene, stage, pairs in scenes(300):
        order = rng.permutation(len(pairs.query))
        found = certify(stage, pairs, scene.limits)
        again = certify(stage, pairs.take(order), scene.limits)
        for name in ("lower", "upper", "near", "piece", "share", "limit", "direction"):
            assert getattr(found, name).tobytes() == getattr(again, name).tobytes(), name
        assert (order[again.pair] == found.pair)[found.near].all()


# --- along whole cycles -------------------------------------------------------------------


@pytest.fixture(scope="module")
def planned():
    """Cycles as they are checked, a few tasks of the accepted cell."""
    result = check(CELL)
    cycles = {id(entry.cycle): entry.cycle for entry in result.placements if entry.cycle}
    tasks = tasks_of(CELL.pallets[0])
    return [
        Planned(task, cycle) for task, cycle in list(zip(tasks, cycles.values(), strict=False))[:6]
    ]


def answers(cast, plans, numbers=None, values=True):
    """Everything watched, by task and not by batch."""
    numbers = numbers or range(len(plans))
    found = Watch(CELL, cast, plans).brackets(values=values)
    named = [entry._replace(planned=numbers[entry.planned]) for entry in found]
    return sorted(map(repr, named))


def test_batches_of_tasks_show_nowhere(planned):
    cast = cast_of(CELL, CELL.pallets[0], [plan.task for plan in planned])
    together = answers(cast, planned)
    apart = [line for k, plan in enumerate(planned) for line in answers(cast, [plan], [k])]
    assert together == sorted(apart)
    backwards = list(reversed(range(len(planned))))
    assert answers(cast, [planned[k] for k in backwards], backwards) == together


def test_the_cull_of_segments_drops_nothing_near(planned):
    cast = cast_of(CELL, CELL.pallets[0], [plan.task for plan in planned])

    def watched(far=None):
        watch = Watch(CELL, cast, planned[:2])
        watch.meetings.far = far or watch.meetings.far
        found = watch.brackets()
        return len(watch.meetings.near_pairs()[0]), sorted(
            repr(entry) for entry in found if entry.other is not None
        )

    few, near = watched()
    everything, again = watched(far=1e9)
    assert near == again
    assert few < everything / 2


def test_settled_is_finer_than_all_other_widths():
    assert SETTLED < sweep.FINE < COARSE
