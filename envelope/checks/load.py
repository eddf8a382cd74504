"""Load: does the wrist bear tool and group, at the poses that the cycle takes?

Mass against the rated load, and against the load-versus-offset table at the centre of gravity's
distance from the flange; static moments and inertias about each wrist axis along the whole
motion, carried or empty. Moments while moving are worked out as well, and judged only where the
arm's rating states them: a rating's plain moments are static ones, and what an arm bears while
it accelerates is what its allowed inertias are for.
"""

from ..cell.model import Cell
from .case import Case
from .finding import Finding, Verdict
from .load_use import AxisUse, LoadUse, Peak, load_use

_MM = 1e3
_ROUNDING = 1e-9  # a share that is over by this little is not over


def check(case: Case) -> list[Finding]:
    """One finding where all is borne; else one for each limit that is passed or near."""
    rating = case.cell.mounted.arm.rating
    if rating.mass <= 0.0:
        text = "the arm's file states no rated load"
        return [Finding("load", "not checked", None, None, "%", text)]
    group = case.task.group
    use = case.effort.load if case.effort else load_use(case.cell, group, case.cycle)
    findings = [_mass(case.cell, use)]
    for axis in use.axes:
        for kind, peak in _peaks(axis):
            if peak.limit is not None:
                findings.append(_about_axis(case, axis.joint, kind, peak))
    notable = [finding for finding in findings if finding.verdict != "pass"]
    if notable:
        return notable
    if case.cycle is None:
        text = f"{findings[0].message}; without a motion, moments and inertias are not known"
        return [Finding("load", "not checked", findings[0].value, 100.0, "%", text)]
    return [_borne(case, use)]


def _peaks(axis: AxisUse) -> tuple[tuple[str, Peak], ...]:
    return (
        ("moment at rest", axis.moment),
        ("moment while moving", axis.moving),
        ("inertia", axis.inertia),
    )


def _verdict(cell: Cell, share: float) -> Verdict:
    if share > 1.0 + _ROUNDING:
        return "fail"
    return "marginal" if share > 1.0 - cell.load.margin + _ROUNDING else "pass"


def _mass(cell: Cell, use: LoadUse) -> Finding:
    """The mass against what is allowed at that distance of the centre of gravity."""
    verdict, mass = _verdict(cell, use.share), use.burden.mass
    text = f"{_hung(use)}, where {use.allowed:.1f} kg are allowed"
    rating = cell.mounted.arm.rating
    if use.allowed <= 0.0:
        text = (
            f"{_hung(use)}: beyond the {rating.table[-1][0] * _MM:.0f} mm of the arm's load table"
        )
    if verdict == "fail":
        if mass <= rating.mass and use.spare_offset > -use.distance:
            text += f"; too far out by {-use.spare_offset * _MM:.0f} mm"
        if use.allowed > 0.0:
            text += f"; too heavy by {-use.spare_mass:.1f} kg"
    elif verdict == "marginal":
        text += f"; {_spare(use)}"
    return Finding("load", verdict, use.share * 100.0, 100.0, "%", text)


def _hung(use: LoadUse) -> str:
    x, y, z = (value * _MM for value in use.burden.centre)
    return (
        f"{use.burden.mass:.1f} kg with the centre of gravity {use.distance * _MM:.0f} mm from the "
        f"flange ({x:.0f}, {y:.0f}, {z:.0f})"
    )


def _spare(use: LoadUse) -> str:
    """Spare mass and offset in words."""
    mass, offset = use.spare()
    out = "" if offset > 10.0 else f", or {offset * _MM:.0f} mm farther out"
    return f"spare {mass:.1f} kg{out}"


def _about_axis(case: Case, joint: str, kind: str, peak: Peak) -> Finding:
    """A moment or an inertia about a joint's axis against its limit."""
    limit = 0.0 if peak.limit is None else peak.limit
    unit = "kg m2" if kind == "inertia" else "N m"
    verdict = _verdict(case.cell, peak.share)
    mass, offset = abs(peak.spare_mass), abs(peak.spare_offset) * _MM
    over = f"too heavy by {mass:.1f} kg, or too far out by {offset:.0f} mm"
    left = f"spare {mass:.1f} kg, or {offset:.0f} mm farther out"
    segment = None if case.cycle is None else case.cycle.segments[peak.segment].name
    return Finding(
        "load",
        verdict,
        peak.share * 100.0,
        100.0,
        "%",
        f"{kind} about {joint}: {peak.value:.2f} of {limit:g} {unit}; "
        f"{over if verdict == 'fail' else left}",
        segment=segment,
        at=peak.at,
    )


def _borne(case: Case, use: LoadUse) -> Finding:
    """The finding where all is borne: what uses most, and what is spare."""
    text = f"{_hung(use)}: {use.share * 100:.0f} % of the {use.allowed:.1f} kg allowed there"
    worst = max(
        ((peak.share, axis.joint, kind, peak) for axis in use.axes for kind, peak in _peaks(axis)),
        key=lambda entry: entry[0],
        default=None,
    )
    if worst is not None and worst[3].limit is not None:
        share, joint, kind, _ = worst
        text += f"; {kind} about {joint} {share * 100:.0f} %"
    text += f"; {_spare(use)}"
    rating = case.cell.mounted.arm.rating
    stated = {"moments": rating.moments, "inertias": rating.inertias, "load table": rating.table}
    missing = [name for name, values in stated.items() if not values]
    if missing:
        text += f"; not in the arm's rating: {', '.join(missing)}"
    return Finding("load", "pass", use.utilisation * 100.0, 100.0, "%", text)
