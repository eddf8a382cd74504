"""Loads that need no look at the motion, and states of many segments at once."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

import envelope.checks.beyond_doubt as beyond_doubt
from envelope.arm.flange_motion import flange_motion, flange_motions
from envelope.cell.load import load
from envelope.checks.beyond_doubt import borne
from envelope.checks.hanging import hangings, kinds
from envelope.checks.load_use import load_uses
from envelope.checks.loading import axis_loads, greatest_loads
from envelope.motion.burden import burden
from envelope.motion.profile import passes
from envelope.motion.states import _passes
from envelope.verify import check

CELLS = {
    "biscuits-two-pallets": ("stacks.main.layers=1",),
    "tea-on-a-lift": (),
    "cereal-pairs-long-tool": (),
    "flour-gantry": (),
}


@cache
def _planned(name):
    """A cell and some of its cycles, each with its group."""
    cell = load(f"cells/{name}.yaml", CELLS[name])
    some = [p.id for pallet in cell.pallets for p in pallet.placements][::7]
    judged = check(cell, placements=some).placements
    return cell, [(j.placement.group, j.cycle) for j in judged if j.cycle is not None]


def _rated(cell, **changes):
    """The cell, its arm rated otherwise."""
    arm = cell.mounted.arm
    arm = replace(arm, rating=replace(arm.rating, **changes))
    return replace(cell, mounted=replace(cell.mounted, arm=arm))


def _about_the_last(cell, cycles, factor, kind):
    """The cell with a limit about its last axis: so many times what any load there comes to."""
    arm = cell.mounted.arm
    most = [
        greatest_loads(arm, burden(cell.tool, k.group, k.turn, k.carried), arm.dof - 1)[
            kind == "inertias"
        ]
        for k in kinds(cycles)
    ]
    limit = ((arm.joints[-1].name, factor * max(most)),)
    return _rated(cell, **({"moments": (), "inertias": ()} | {kind: limit}))


@pytest.mark.parametrize("name", CELLS)
def test_no_state_has_more_than_any_posture_can(name):
    cell, cycles = _planned(name)
    arm, seen = cell.mounted.arm, 0
    for hanging in hangings(cell, cycles):
        load_ = burden(cell.tool, hanging.group, hanging.turn, hanging.carried)
        for joint in hanging.axes:
            found = axis_loads(arm, load_, hanging, joint)
            moment, inertia = greatest_loads(arm, load_, joint)
            assert found.still.max() <= 1.1 * moment
            assert found.inertia.max() <= 1.1 * inertia
            seen += 1
    assert seen


@pytest.mark.parametrize("kind", ["moments", "inertias"])
@pytest.mark.parametrize("name", CELLS)
def test_light_loads_are_answered_as_with_a_look_at_every_state(name, kind, monkeypatch):
    cell, cycles = _planned(name)
    light = beyond_doubt._light
    for factor in (0.01, 0.5, 1.5, 2.5):
        rated = _about_the_last(cell, cycles, factor, kind)
        found = borne(rated, cycles).tolist()
        skipped = [light(rated, k) for k in kinds(cycles)]
        assert all(skipped) == (factor > 2.0)  # the shortcut ran, and only where it may
        with monkeypatch.context() as patched:
            patched.setattr(beyond_doubt, "_light", lambda *_: False)
            assert borne(rated, cycles).tolist() == found
        uses = load_uses(rated, cycles, hangings(rated, cycles))
        assert all(use.utilisation <= 1.0 for use, good in zip(uses, found, strict=True) if good)


def test_a_limit_while_moving_is_never_passed_unseen():
    cell, cycles = _planned("biscuits-two-pallets")
    name = cell.mounted.arm.joints[0].name
    assert borne(cell, cycles).all()
    tight = _rated(cell, moving=((name, 1e-6),))
    assert not any(beyond_doubt._light(tight, kind) for kind in kinds(cycles))
    assert not borne(tight, cycles).any()


@pytest.mark.parametrize("name", ["biscuits-two-pallets", "tea-on-a-lift"])
def test_times_at_rows_are_those_of_each_segment_alone(name):
    _, cycles = _planned(name)
    lines = [s for _, c in cycles for s in c.segments if s.kind == "linear" and len(s.phases)]
    alike = {}
    for line in lines:
        alike.setdefault((len(line.joints), len(line.phases)), []).append(line.phases)
    together = 0
    for (count, _), phases in alike.items():
        plain = [passes(own, np.arange(float(count))) for own in phases]
        assert np.array_equal(_passes(np.stack(phases), count), plain)
        together = max(together, len(phases))
    assert together > 1


def test_two_accelerations_at_once_are_each_as_alone():
    cell, _ = _planned("tea-on-a-lift")
    chain, rng = cell.mounted.arm.chain, np.random.default_rng(1)
    q, v, *choices = rng.normal(size=(4, 50, chain.dof))
    for both, choice in zip(flange_motions(chain, q, v, choices), choices, strict=True):
        alone = flange_motion(chain, q, v, choice)
        for field in ("spin", "spin_change", "acceleration"):
            assert np.array_equal(getattr(both, field), getattr(alone, field))
