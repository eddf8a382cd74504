"""What is remembered from one cell to the next: every answer is that of the cell that asks."""

import math
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import envelope.cell.load as load_module
import envelope.checks.cast as cast_module
from envelope.cell.load import load, load_text
from envelope.cell.model import Pallet, Support, Tolerances
from envelope.checks.cast import cast_of
from envelope.checks.stacking import stacking
from envelope.motion.options import tasks_of
from envelope.palletizing import order
from envelope.palletizing.group import AsTaught
from envelope.remembered import remembered

CELL = Path(__file__).parents[2] / "cells" / "biscuits-two-pallets.yaml"
_ANYTHING = {  # a value for what is None or empty in the cell
    "max_height": 1.0,
    "max_load": 50.0,
    "stated_offset": (0.01, 0.02),
    "taught": (AsTaught(0.0, (0.0, 0.01, 0.0, 0.0, 0.0, 0.0)),),
    "labels": ("+x",),
    "approach": (1.0, 0.0),
}


@dataclass(frozen=True, slots=True)
class _Asked:
    """What the remembered functions are asked about."""

    pallet: Pallet
    support: Support
    tolerances: Tolerances


@cache
def _asked():
    cell = load(CELL, ["pallets.left.done=3"])
    pallet = replace(cell.pallets[0], placements=cell.pallets[0].placements[:12])
    return _Asked(pallet, cell.support, replace(cell.tolerances, carton_size=0.002))


def _changed(value, name=""):
    """The same value with one thing in it changed, in each way there is."""
    if name == "added":
        yield "root of squares" if value == "sum" else "sum"
    elif name == "fixture":
        yield replace(value, kind="obstacle")  # its solid has no part in the stack
    elif is_dataclass(value):
        for field in fields(value):
            for other in _changed(getattr(value, field.name), field.name):
                yield replace(value, **{field.name: other})
    elif isinstance(value, np.ndarray):
        for at in np.ndindex(value.shape):
            other = value.copy()
            other[at] = np.nextafter(other[at], np.inf)
            yield other
    elif isinstance(value, tuple) and value:
        for k, entry in enumerate(value[:2]):
            for other in _changed(entry, name):
                yield (*value[:k], other, *value[k + 1 :])
        if name == "placements":
            yield value[1:]
    elif isinstance(value, bool):
        yield not value
    elif isinstance(value, int):
        yield value + 1
    elif isinstance(value, float):
        yield float(np.nextafter(value, np.inf))
        yield value + 0.003
    elif isinstance(value, str):
        yield value + "x"
    else:
        yield _ANYTHING[name]


def _every_change():
    return [other for other in _changed(_asked()) if _is_a_group(other.pallet)]


def _is_a_group(pallet):
    """Whether its groups can be put down at all (a carton more than there is cannot)."""
    return all(max(p.items) < len(p.group.items) for p in pallet.placements)


@cache
def _calls():
    """A remembered function that tells how often it was worked out."""
    worked_out = []

    @remembered(most=2000)
    def told(asked):
        worked_out.append(1)
        return len(worked_out)

    return told, worked_out


def test_each_thing_that_changes_is_asked_anew_and_asked_again_is_not():
    told, worked_out = _calls()
    answers = [told(asked) for asked in (_asked(), *_every_change())]
    assert len(answers) > 100
    assert answers == list(range(1, len(answers) + 1))
    assert [told(asked) for asked in (_asked(), *_every_change())] == answers
    assert len(worked_out) == len(answers)


def test_stacking_never_answers_for_another_pallet():
    first = stacking(_asked().pallet, _asked().support, _asked().tolerances)
    differing = 0
    for other in _every_change():
        found = stacking(other.pallet, other.support, other.tolerances)
        plain = stacking.__wrapped__(other.pallet, other.support, other.tolerances)
        assert found == plain
        differing += dict(found) != dict(first)
    assert differing > 5


def test_stacking_is_answered_once_for_pallets_that_are_alike():
    first, second = (load(CELL, [f"arm.at.x={x}"]) for x in (10, 20))
    for one, other in zip(first.pallets, second.pallets, strict=True):
        assert one is not other
        found = stacking(one, first.support, first.tolerances)
        assert stacking(other, second.support, second.tolerances) is found


def _told_apart(cast):
    """All of a cast that checks look at."""
    parts = [getattr(cast.parts, name) for name in cast.parts.__slots__]
    return (
        cast.actors,
        [(b.name, b.pose.tobytes()) for b in cast.bodies],
        [part.tobytes() for part in parts],
    )


SETTINGS = [
    "arm.at.x=12",
    "arm.at.yaw=5",
    "pallets.left.at.x=-650",
    "pallets.left.at.z=10",
    "pallets.left.done=2",
    "pallets.left.size=[1201, 800, 144]",
    "pallets.left.overhang=2",
    "stacks.main.layers=3",
    "support.settle=1",
    "support.least_area=0.7",
    "tolerances.carton_size=1",
    "tolerances.carton_height=1",
    "tolerances.added=root of squares",
    "infeed.queue=2",
]


@pytest.mark.parametrize("setting", SETTINGS)
def test_a_cast_is_that_of_its_own_cell(setting, monkeypatch):
    before, cell = load(CELL), load(CELL, [setting])
    for one in (before, cell):
        made = [cast_of(one, p, tasks_of(p)) for p in one.pallets]
    monkeypatch.setattr(cast_module, "_standing", cast_module._standing.__wrapped__)
    plain = [cast_of(cell, p, tasks_of(p)) for p in cell.pallets]
    assert [_told_apart(c) for c in made] == [_told_apart(c) for c in plain]


def test_cartons_on_a_pallet_are_worked_out_once_wherever_the_arm_stands():
    first, second = (load(CELL, [f"arm.at.x={x}"]) for x in (10, 20))
    asked = [(cell.pallets[0], cell.tolerances, 0.0, True) for cell in (first, second)]
    one, other = (cast_module._standing(*arguments) for arguments in asked)
    assert one is other
    assert cast_module._standing(first.pallets[0], first.tolerances, 0.0, False) is not one


def test_a_file_is_read_once_and_no_variant_leaves_a_trace_in_it():
    text = CELL.read_bytes()
    load_module._read.cache_clear()
    for setting in ("arm.at.x=10", "patterns.rows.column.gap=4", "hold.safety=3"):
        cell = load_text(text, CELL, [setting])
        plain = load_text(text + b"\n", CELL, [setting])  # another text, read anew
        assert [p.placements for p in cell.pallets] == [p.placements for p in plain.pallets]
        assert cell.defaults == plain.defaults
        assert cell.hold == plain.hold
        assert (cell.mounted.world_from_base == plain.mounted.world_from_base).all()
    untouched = load_text(text, CELL)
    assert untouched.mounted.world_from_base[0, 3] == 0.0
    assert untouched.hold == type(untouched.hold)()
    assert load_module._read.cache_info().misses == 2
    assert load_text(text.replace(b"mass: 8", b"mass: 9"), CELL).cartons[0].mass == 9.0


def test_the_latest_answers_are_kept_and_no_more():
    worked_out = []

    @remembered(most=2)
    def doubled(value):
        worked_out.append(value)
        return 2 * value

    assert [doubled(k) for k in (1, 2, 1, 3, 1, 2)] == [2, 4, 2, 6, 2, 4]
    assert worked_out == [1, 2, 3, 2]


def test_what_is_equal_but_not_the_same_is_asked_anew():
    told = remembered(most=9)(str)
    assert [told(1), told(1.0), told(True), told(0.0), told(-0.0)] == [
        "1",
        "1.0",
        "True",
        "0.0",
        "-0.0",
    ]


def test_what_was_asked_and_then_changed_in_place_is_another_question():
    values = np.zeros(3)
    total = remembered(most=9)(np.sum)
    assert total(values) == 0.0
    values[1] = 5.0
    assert total(values) == 5.0


def test_errors_are_raised_each_time():
    asked = []

    @remembered(most=9)
    def refused(value):
        asked.append(value)
        raise ValueError(value)

    for _ in range(2):
        with pytest.raises(ValueError, match="7"):
            refused(7)
    assert asked == [7, 7]


def _plain_directions(towards_arm):
    """Axis that counts, way ahead and side, straight from the direction."""
    ax, ay = towards_arm
    along = abs(ax) >= abs(ay)
    ahead = -math.copysign(1.0, ax if along else ay)
    minor = ay if along else ax
    return along, ahead, 1.0 if minor >= -0.05 * math.hypot(ax, ay) else -1.0


def test_an_order_is_that_of_the_direction_it_is_asked_for():
    rng = np.random.default_rng(2)
    edges = [(x, y) for x in (0.0, -0.0, 1.0, -1.0) for y in (0.0, -0.0, 1.0, -1.0, 0.04, -0.06)]
    found = {}
    for ax, ay in [*edges, *((y, x) for x, y in edges), *rng.normal(size=(500, 2)).tolist()]:
        hx, hy = order._heading((ax, ay))
        along = abs(hx) > abs(hy)
        main, side = (hx, hy) if along else (hy, hx)
        assert (along, -main / 2.0, side) == _plain_directions((ax, ay))
        found[hx, hy] = _plain_directions((ax, ay))
    assert len(found) == len(set(found.values())) == 8


def test_arms_that_stand_nearly_alike_ask_for_one_order():
    order._ordered.cache_clear()
    for x in (0, 10, 20):
        load(CELL, [f"arm.at.x={x}"])
    asked = order._ordered.cache_info()
    assert asked.misses <= 4  # two pallets, two patterns
    assert asked.hits >= 2 * asked.misses
