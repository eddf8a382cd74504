"""Hold: do the grip fields in use hold every carton of the group, each on its own?

Judged where the tool's file says how strongly it holds: while moving as timed, while braking in
a stop begun at any instant, and with any one cup lost; each with its own safety factor. Looked at
at instants between which no joint goes farther than 2 deg, at both sides of every change of
acceleration. Corners that are rounded, and how a carton swings, are not in it.
"""

import math

from .case import Case
from .finding import Finding, Verdict
from .hold_use import SITUATIONS, CartonHold, HoldUse, Situation, Strain, hold_use

_ROUNDING = 1e-9  # a share that is over by this little is not over


def check(case: Case) -> list[Finding]:
    """One finding where all cartons are held; else one a carton and situation."""
    group = case.task.group
    use = case.effort.hold if case.effort else hold_use(case.cell, group, case.cycle)
    if use is None:
        return []
    findings: list[Finding] = []
    for carton in use.cartons:
        if carton.unjudged:
            text = f"{_name(case, carton)}: {carton.unjudged}"
            findings.append(Finding("hold", "not checked", None, None, "%", text))
        findings += [_strained(case, carton, *entry) for entry in carton.strains]
    notable = [finding for finding in findings if finding.verdict != "pass"]
    if notable:
        return notable
    if case.cycle is None:
        text = "hanging still, all is held; without a motion, more is not known"
        return [Finding("hold", "not checked", use.utilisation * 100, 100.0, "%", text)]
    return [_held(case, use)]


def _name(case: Case, carton: CartonHold) -> str:
    return f"{case.task.group.items[carton.item].carton.name} {carton.item + 1} of the group"


def _verdict(case: Case, share: float) -> Verdict:
    if share > 1.0 + _ROUNDING:
        return "fail"
    return "marginal" if share > 1.0 - case.cell.hold.margin + _ROUNDING else "pass"


def _safety(case: Case, situation: Situation) -> float:
    limits = case.cell.hold
    every = (limits.safety, limits.safety_stop, limits.safety_cup_lost)
    return every[SITUATIONS.index(situation)]


def _strained(case: Case, carton: CartonHold, situation: Situation, strain: Strain) -> Finding:
    """One carton in one situation."""
    verdict, asked = _verdict(case, strain.share), _safety(case, situation)
    segment = None
    if case.cycle is not None and strain.segment is not None:
        segment = case.cycle.segments[strain.segment].name
    value = strain.share * 100.0
    if math.isinf(strain.share):
        held = "held by nothing" if carton.sealing == 0 else "not held"
        text = f"{_name(case, carton)} is {held} {situation}: it {strain.mode}"
        if strain.mode == "no cup holds":
            text = f"{_name(case, carton)} is {held} {situation}: {strain.mode}"
        return Finding("hold", verdict, None, 100.0, "%", f"{text}{_cups(carton)}", segment=segment)
    times = asked / strain.share if strain.share > 0.0 else math.inf
    text = (
        f"{_name(case, carton)} {strain.mode} {situation}: held {times:.2f} times, "
        f"{asked:g} asked{_cups(carton)}"
    )
    return Finding("hold", verdict, value, 100.0, "%", text, segment=segment, at=strain.at)


def _cups(carton: CartonHold) -> str:
    """How many cups seal, and what they hold together."""
    if carton.force <= 0.0 and carton.sealing:
        return ""
    lost = carton.cups - carton.sealing
    left_out = f", {lost} over an edge or seam" if lost else ""
    return f"; {carton.sealing} of {carton.cups} cups seal{left_out}: {carton.force:.0f} N"


def _held(case: Case, use: HoldUse) -> Finding:
    """The finding where all is held: what is nearest to coming off."""
    every = [(c, *entry) for c in use.cartons for entry in c.strains]
    carton, situation, strain = max(every, key=lambda entry: entry[2].share)
    share = strain.share
    asked = _safety(case, situation)
    times = f"{asked / share:.1f} times" if share > 0.0 else "fully"
    text = (
        f"{_name(case, carton)} is held {times} {situation}, {asked:g} asked{_cups(carton)}; "
        f"past that it {strain.mode}"
    )
    return Finding("hold", "pass", share * 100.0, 100.0, "%", text)
