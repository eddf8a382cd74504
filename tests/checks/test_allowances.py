"""The worst case: what stated tolerances take off a clearance, by hand."""

from dataclasses import replace
from math import hypot, radians, sin, sqrt

import pytest

from envelope.cell.load import load
from envelope.cell.model import Tolerances
from envelope.checks.allowances import allowances
from envelope.checks.case import Case
from envelope.checks.cast import cast_of
from envelope.checks.clearance import tightest
from envelope.checks.stretches import Planned
from envelope.checks.watch import Watch
from envelope.motion.options import tasks_of
from envelope.verify import check

PATH = "tests/cells/accepted/single.yaml"
CELL = load(PATH, ["stacks.main.layers=2"])
PALLET = CELL.pallets[0]
TASK = next(task for task in tasks_of(PALLET) if task.placements[0].id == "A/2/3")
(JUDGED,) = check(CELL, placements=["A/2/3"]).placements


def case_of(cell):
    """The placement with everything watched around it."""
    cast = cast_of(cell, PALLET, [TASK])
    watched = tuple(Watch(cell, cast, [Planned(TASK, JUDGED.cycle)]).brackets(every=True))
    return Case(cell, PALLET, cast, TASK, 0, JUDGED.cycle, watched, ())


def findings(cell):
    case = case_of(cell)
    return [tightest(case, [entry], entry.rule.check)[0] for entry in case.watched]


def taken_off(cell, mover, other, gain):
    """Allowances in mm between the first bodies with these names, seen in one direction."""
    case = case_of(cell)
    names = [actor.name for actor in case.cast.actors]
    numbers = [next(k for k, n in enumerate(names) if n.startswith(s)) for s in (mover, other)]
    entry = case.watched[0]._replace(mover=numbers[0], other=numbers[1], gain=gain)
    return {a.tolerance: a.amount * 1e3 for a in allowances(case, entry)}


def stating(**tolerances):
    return replace(CELL, tolerances=Tolerances(**tolerances))


def test_without_tolerances_there_is_no_worst_case():
    assert all(f.worst_case is None and not f.allowances for f in findings(CELL))


def test_the_value_stays_nominal_and_the_worst_case_is_less_by_the_allowances():
    nominal = {(f.segment, f.between, f.limit): f.value for f in findings(CELL)}
    found = [f for f in findings(stating(arm_repeatability=0.001)) if f.worst_case is not None]
    assert len(found) >= 5
    for finding in found:
        assert finding.value == nominal[finding.segment, finding.between, finding.limit]
        ((name, amount),) = finding.allowances
        assert name == "arm repeatability"
        level, upright = hypot(*finding.gain[:2]), abs(finding.gain[2])
        assert amount == pytest.approx(level + upright, abs=1e-9)
        assert finding.worst_case == pytest.approx(finding.value - amount, abs=1e-6)


LEVEL, UP = (0.6, 0.8, 0.0), (0.0, 0.0, 1.0)


def test_a_pallet_that_lies_elsewhere_bears_on_what_stands_on_it():
    cell = stating(pallet_position=0.002, pallet_yaw=radians(0.1), pallet_height=0.003)
    lever = hypot(1.2, 0.8) * sin(radians(0.1)) * 1e3
    for other in ("carton/A/1/1", "pallet/A"):
        seen = taken_off(cell, "tool/plate", other, LEVEL)
        assert seen == pytest.approx({"pallet position": 2.0, "pallet yaw": lever})
        assert taken_off(cell, "tool/plate", other, UP) == pytest.approx({"pallet height": 3.0})
    assert taken_off(cell, "tool/plate", "conveyor/belt", LEVEL) == {}


def test_the_pick_bears_on_what_is_carried_alone():
    cell = stating(pick_position=0.001, pick_skew=radians(1.0), carton_size=0.002)
    skew = hypot(0.4, 0.3) / 2 * sin(radians(1.0)) * 1e3
    seen = taken_off(cell, "carton/tea.1", "conveyor/guide", LEVEL)
    assert seen == pytest.approx({"pick position": 1.0, "pick skew": skew, "carton size": 2.0})
    assert taken_off(cell, "tool/plate", "conveyor/guide", LEVEL) == {}
    assert taken_off(cell, "carton/tea.1", "conveyor/guide", UP) == {}


def test_heights_of_cartons_add_up_over_the_layers_and_rows_grow():
    cell = stating(carton_height=0.001, carton_size=0.002)
    assert taken_off(cell, "tool/plate", "carton/A/1/1", UP) == pytest.approx(
        {"carton height": 1.0}
    )
    assert taken_off(cell, "tool/plate", "carton/A/2/1", UP) == pytest.approx(
        {"carton height": 2.0}
    )
    assert taken_off(cell, "carton/tea.1", "carton/A/2/1", UP) == pytest.approx(
        {"carton height": 3.0}
    )
    (grown,) = taken_off(cell, "tool/plate", "carton/A/1/1", LEVEL).values()
    assert grown in (pytest.approx(4.0), pytest.approx(6.0), pytest.approx(8.0))


def test_root_of_squares_takes_off_less_than_the_sum():
    both = {"pallet_position": 0.003, "arm_repeatability": 0.004}
    linear = {(f.segment, f.between): f for f in findings(stating(**both))}
    for finding in findings(stating(**both, added="root of squares")):
        if len(finding.allowances) == 2:
            amounts = [amount for _, amount in finding.allowances]
            off = finding.value - finding.worst_case
            assert off == pytest.approx(sqrt(sum(a * a for a in amounts)))
            assert off < finding.value - linear[finding.segment, finding.between].worst_case


def test_what_may_touch_in_the_worst_case_fails_and_what_may_come_too_near_is_marginal():
    assert not any(f.verdict == "fail" for f in findings(CELL))
    plain = [f for f in findings(stating(arm_repeatability=1e-9)) if f.worst_case is not None]
    tight = min(plain, key=lambda f: f.value)
    part = hypot(*tight.gain[:2]) + abs(tight.gain[2])

    def told(worst):
        cell = stating(arm_repeatability=(tight.value - worst) / part / 1e3)
        same = [
            f
            for f in findings(cell)
            if (f.segment, f.between, f.limit) == (tight.segment, tight.between, tight.limit)
        ]
        (again,) = same
        return again

    assert told(tight.limit - 1.0).verdict == "marginal"
    assert told(0.5).verdict == "marginal"
    touching = told(-0.5)
    assert touching.verdict == "fail"
    assert touching.worst_case == pytest.approx(-0.5, abs=0.01)
    assert touching.value == tight.value
