"""What is watched once, or not at all, against watching everything; and proof that it is less."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import envelope.checks.watch as watch_module
import envelope.geometry.candidates as candidates_module
from envelope.cell.load import load
from envelope.cell.model import Tolerances
from envelope.checks import approach, collision
from envelope.checks.case import Case
from envelope.checks.cast import cast_of
from envelope.checks.clearance import tightest
from envelope.checks.stretches import Planned
from envelope.checks.watch import Watch
from envelope.geometry.candidates import candidates
from envelope.geometry.intervals import Intervals
from envelope.geometry.stage import Stage, box_gap
from envelope.motion.options import tasks_of
from envelope.verify import check
from tests.support.clearance_scenes import random_scene

CELL = load(Path(__file__).parents[1] / "cells" / "accepted" / "single.yaml")
ASKS_MUCH = replace(
    CELL,
    clearances=replace(CELL.clearances, tool_to_placed=0.08, carried_to_placed=0.03),
)
TOLERANT = replace(CELL, tolerances=Tolerances(arm_repeatability=0.001))


@pytest.fixture(scope="module")
def planned():
    """Some cycles of the accepted cell, which share their picks."""
    result = check(CELL)
    cycles = {id(entry.cycle): entry.cycle for entry in result.placements if entry.cycle}
    tasks = tasks_of(CELL.pallets[0])
    return [Planned(t, c) for t, c in list(zip(tasks, cycles.values(), strict=False))[:6]]


def cast_for(planned):
    return cast_of(CELL, CELL.pallets[0], [plan.task for plan in planned])


def test_what_several_cycles_ask_alike_is_worked_out_once(planned, monkeypatch):
    cast, counted, certify = cast_for(planned), [], watch_module.certify

    def counting(stage, pairs, limits, **named):
        counted.append(len(limits.full))
        return certify(stage, pairs, limits, **named)

    monkeypatch.setattr(watch_module, "certify", counting)
    once = Watch(CELL, cast, planned).brackets()
    every = np.arange(10**6)
    monkeypatch.setattr(
        watch_module, "_once", lambda pairs, keys: (pairs, every[: len(keys)], every[: len(keys)])
    )
    assert once == Watch(CELL, cast, planned).brackets()
    assert counted[0] < 0.9 * counted[1]


def test_lists_with_the_same_sum_are_not_taken_for_the_same():
    lists = [[(1, 5), (2, 7)], [(1, 7), (2, 5)], [(1, 5), (2, 7)], [(2, 5), (1, 7)], [(4, 6)]]
    named = np.array([entry for entries in lists for entry in entries]).T
    counts = np.array([len(entries) for entries in lists])
    like = watch_module._first_alike(counts[None], named, np.cumsum(counts) - counts, counts)
    assert like.tolist() == [0, 1, 0, 3, 4]


@pytest.mark.parametrize("cell", [CELL, ASKS_MUCH])
def test_a_quick_verdict_finds_what_values_find_and_looks_at_less(cell, planned):
    watch = Watch(cell, cast_for(planned), planned)

    def key(entry):
        return entry.planned, entry.segment, entry.mover, entry.rule

    slow = {key(entry) for entry in watch.brackets() if entry.margin[0] < 0.0}
    quick = {key(entry) for entry in watch.brackets(values=False)}
    assert quick == slow
    assert bool(slow) == (cell is ASKS_MUCH)
    few, all_ = (len(watch.meetings.near_pairs(values=v)[0]) for v in (False, True))
    assert few < 0.95 * all_


class Counting:
    """A mover that counts the poses it is asked for."""

    def __init__(self, mover):
        self._mover, self.asked = mover, 0

    def __getattr__(self, name):
        return getattr(self._mover, name)

    def frames(self, q):
        self.asked += len(q)
        return self._mover.frames(q)


@pytest.mark.parametrize("seed", range(6))
def test_poses_are_those_of_the_joints_and_fewer_are_worked_out(seed):
    scene = random_scene(np.random.default_rng(seed))
    plain = scene.stage()
    mover = Counting(plain.mover)
    stage = Stage(mover, plain.parts, plain.link, plain.pieces)
    pieces = plain.pieces
    for at, corner in zip(stage.at, pieces.corners, strict=True):
        assert (stage.frames[at] == plain.mover.frames(corner)).all()
    inner = len(pieces.first) - (len(pieces.start) - 1)
    assert mover.asked == 2 * len(pieces.first) - inner
    intervals = Intervals.whole(stage, np.arange(len(pieces.first)))
    halfway = plain.mover.frames((pieces.first + pieces.last) / 2)
    before = mover.asked
    for wanted in ([0], [0, 0], [len(pieces.first) - 1, 0]):
        poses = intervals.poses_between(stage, np.array(wanted))
        assert poses[wanted] == pytest.approx(halfway[wanted], abs=1e-12)
    assert mover.asked - before == min(2, len(pieces.first))


@pytest.mark.parametrize("seed", range(6))
def test_pairs_in_lots_are_those_that_their_boxes_leave(seed, monkeypatch):
    scene = random_scene(np.random.default_rng(40 + seed))
    stage, pairs, limits = scene.stage(), scene.pairs(), scene.limits
    enough = 0.1 - limits.full
    found = candidates(stage, pairs, limits, enough)
    wanted = []
    for pair, segment in enumerate(pairs.segment.tolist()):
        query = pairs.query[pair]
        for piece in range(stage.pieces.start[segment], stage.pieces.start[segment + 1]):
            sides = [stage.boxes(int(p[pair])) for p in (pairs.first, pairs.second)]
            (low, high), (other_low, other_high) = ((a[:, piece], b[:, piece]) for a, b in sides)
            gap = float(box_gap(low, high, other_low, other_high))
            margin = gap - limits.full[query] if gap > 0.0 else -np.inf
            beyond = np.maximum(other_low - high, low - other_high).max()
            if margin < enough[query] and beyond < enough[query] + limits.full[query]:
                wanted.append((pair, piece))
    assert list(zip(found.pair.tolist(), found.interval.tolist(), strict=True)) == wanted
    monkeypatch.setattr(candidates_module, "_BLOCK", 2)
    again = candidates(stage, pairs, limits, enough)
    assert (found.pair == again.pair).all()
    assert (found.interval == again.interval).all()
    assert (found.lower == again.lower).all()


def test_findings_that_pass_amply_are_skipped_and_no_others(planned):
    cast = cast_for(planned)
    plan = planned[-1]
    watched = tuple(Watch(ASKS_MUCH, cast, [plan]).brackets(every=True))
    case = Case(ASKS_MUCH, CELL.pallets[0], cast, plan.task, 0, plan.cycle, watched, ())
    told = tightest(case, watched, "collision")
    singly = [f for entry in watched for f in tightest(case, [entry], "collision")]
    bad = [f for f in singly if f.verdict != "pass"]
    assert bad
    assert sorted(map(repr, (f for f in told if f.verdict != "pass"))) == sorted(map(repr, bad))
    assert len(told) < len(singly) / 2


@pytest.mark.parametrize("cell", [CELL, ASKS_MUCH, TOLERANT])
def test_what_no_check_will_tell_is_left_out_and_nothing_else(cell, planned):
    watch = Watch(cell, cast_for(planned), planned)
    few, every = watch.brackets(), watch.brackets(every=True)

    def findings(watched):
        cast, pallet = watch.cast, cell.pallets[0]
        for number, plan in enumerate(planned):
            own = tuple(entry for entry in watched if entry.planned == number)
            case = Case(cell, pallet, cast, plan.task, 0, plan.cycle, own, ())
            yield from approach.check(case)
            yield from collision.check(case)

    assert list(findings(few)) == list(findings(every))
    assert set(few) <= set(every)
    assert (len(few) < 0.6 * len(every)) == (cell is not TOLERANT)
