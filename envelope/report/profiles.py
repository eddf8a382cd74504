"""Profiles over the order: how much room each placement has, check by check."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ..cell.model import Cell
from ..checks.finding import Finding, Judged, Result, Verdict
from .deciding import worst_first
from .numbers import written

WIDTH, HEIGHT = 900.0, 220.0  # of the drawing
LEFT, RIGHT, TOP, BOTTOM = 64.0, 16.0, 14.0, 40.0
_MOST_ROOM = 60.0  # [mm or deg]: more room than this is not told apart
_LEAST_ROOM = -30.0
_NEAR = ("approach", "collision")
_SETTLING = 1.0  # [mm]: where less is asked for, the group is coming to rest beside its neighbour
_TICKS = 5
_MARK = 6.0  # half a mark, and a little: marks stay inside the drawing
_KNOWN = ("stacking", "reach", "approach", "offset", "collision")


@dataclass(frozen=True, slots=True)
class Point:
    """One placement; edge: whether its value lies beyond the drawing, "over" or "under"."""

    x: float
    y: float
    id: str
    verdict: Verdict
    label: str
    edge: str


@dataclass(frozen=True, slots=True)
class Level:
    """A height worth naming: y, and what it is."""

    y: float
    label: str
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Band:
    """A layer's stretch of the order."""

    x: float
    width: float
    label: str


@dataclass(frozen=True, slots=True)
class Profile:
    """One drawing."""

    title: str
    words: str
    unit: str
    points: tuple[Point, ...]
    ticks: tuple[Level, ...]
    limits: tuple[Level, ...]
    bands: tuple[Band, ...]
    trouble: str


Pick = Callable[[Judged], Finding | None]
Value = Callable[[Finding], float | None]


def profiles(cell: Cell, result: Result) -> list[Profile]:
    """Clearance, joint margin, and whatever else was measured against a limit."""
    margin = cell.clearances.margin * 1e3
    found = [
        _profile(
            result,
            "Room beyond the clearance asked for",
            "The smallest over the motion of each placement. Left out where nothing is wrong: "
            "intended contact, the last millimetres before rest, and the arm near itself.",
            "mm",
            nearest,
            _room,
            ((0.0, "limit", True), (margin, f"marginal below {written(margin, 1)} mm", False)),
        )
    ]
    turning = all(cell.mounted.arm.chain.turning())
    asked = math.degrees(cell.mounted.joint_margin)
    unit = "deg" if turning else "deg or mm"
    # one line serves both units only where the same number is asked for in both
    one = turning or abs(asked - cell.mounted.slide_margin * 1e3) < 1e-6
    line = ((asked, f"asked for {written(asked, 1)}", False),) if one else ()
    found.append(
        _profile(
            result,
            "Joint margin",
            "Least room of any joint to its usable range over the motion of each placement.",
            unit,
            _joint,
            lambda finding: finding.value,
            ((0.0, "limit", True), *line),
        )
    )
    names = dict.fromkeys(f.check for j in result.placements for f in j.findings)
    found += [_against_limit(result, name) for name in names if name not in _KNOWN]
    return [profile for profile in found if profile.points]


def _against_limit(result: Result, check: str) -> Profile:
    """A check the worst finding of which is told as a share of its limit."""
    return _profile(
        result,
        f"{check.capitalize()}, as a share of its limit",
        "The finding nearest to its limit at each placement.",
        "%",
        lambda judged: next(
            (f for f in worst_first(judged.findings) if f.check == check and _share(f)), None
        ),
        _share,
        ((100.0, "limit", True),),
        (0.0, 150.0),
    )


def _share(finding: Finding) -> float | None:
    """How much of what is allowed is used [%]; also where the limit is a least value."""
    value, limit = finding.value, finding.limit
    if value is None or not limit:
        return None
    passes = finding.verdict in ("pass", "marginal")
    if (
        finding.unit.startswith("%")
        or finding.verdict == "not checked"
        or passes == (value < limit)
    ):
        return value / limit * 100.0
    return limit / value * 100.0 if value else None


def nearest(judged: Judged) -> Finding | None:
    """The approach or collision finding with the least room to the clearance asked for.

    What passes by design close to its limit is left out: contact that is meant, the last
    millimetres before rest, and links that stand as near to each other as they are built.
    """
    near = [
        f
        for f in judged.findings
        if f.check in _NEAR
        and f.unit == "mm"
        and f.value is not None
        and f.limit is not None
        and (f.verdict != "pass" or (f.limit >= _SETTLING and not _of_arm_alone(f)))
    ]
    return min(near, key=lambda f: _room(f) or 0.0, default=None)


def _of_arm_alone(finding: Finding) -> bool:
    return all(name.startswith("link/") for name in finding.between or ("",))


def _room(finding: Finding) -> float | None:
    if finding.value is None or finding.limit is None:
        return None
    return finding.value - finding.limit


def _joint(judged: Judged) -> Finding | None:
    """The reach finding that tells room of a joint; or that nothing reaches."""
    reach = [f for f in judged.findings if f.check == "reach"]
    lacking = next((f for f in reach if f.verdict == "fail" and f.unit == "mm"), None)
    room = next((f for f in reach if f.limit == 0.0 and f.segment is not None), None)
    return lacking or room or next(iter(reach), None)


def _profile(
    result: Result,
    title: str,
    words: str,
    unit: str,
    pick: Pick,
    value: Value,
    limits: Sequence[tuple[float, str, bool]],
    scale: tuple[float, float] | None = None,
) -> Profile:
    picked = [(k, judged, pick(judged)) for k, judged in enumerate(result.placements)]
    known = [(k, j, f, value(f)) for k, j, f in picked if f is not None]
    numbers = [v for _, _, _, v in known if v is not None and math.isfinite(v)]
    low, high = scale or _scale([*numbers, *(level for level, _, _ in limits)])
    step = (WIDTH - LEFT - RIGHT) / max(len(result.placements), 1)

    def height(amount: float) -> float:
        share = (min(max(amount, low), high) - low) / (high - low)
        return HEIGHT - BOTTOM - _MARK - share * (HEIGHT - TOP - BOTTOM - 2.0 * _MARK)

    points: list[Point] = []
    for k, judged, finding, amount in known:
        if amount is None:
            continue
        edge = "over" if amount > high else "under" if amount < low else ""
        told = f"{written(amount, 1)} {unit}" if finding.unit == unit else finding.message
        if title.startswith("Joint") and finding.unit != "deg" and amount < 0.0:
            told, edge, amount = finding.message, "under", low
        label = f"{judged.placement.id}: {told} ({judged.verdict})"
        x = LEFT + (k + 0.5) * step
        verdict = finding.verdict
        points.append(Point(x, height(amount), judged.placement.id, verdict, label, edge))
    missing = len(result.placements) - len(points)
    return Profile(
        title,
        words,
        unit,
        tuple(points),
        tuple(Level(height(tick), written(tick, 1)) for tick in _ticks(low, high)),
        tuple(Level(height(at), name, strong) for at, name, strong in limits if low <= at <= high),
        _bands(result, step),
        _trouble(points, missing, len(result.placements)),
    )


def _trouble(points: Sequence[Point], missing: int, total: int) -> str:
    """What the drawing does not show."""
    told: list[str] = []
    if any(point.edge for point in points):
        told.append("Marks along the lower or upper edge lie beyond the drawing.")
    if missing:
        told.append(f"{missing} of {total} placements have no such number.")
    return " ".join(told)


def _scale(numbers: Sequence[float]) -> tuple[float, float]:
    low = max(min(numbers), _LEAST_ROOM)
    high = min(max(numbers), _MOST_ROOM)
    space = max((high - low) * 0.08, 1.0)
    return low - space, high + space


def _ticks(low: float, high: float) -> list[float]:
    """Round numbers that divide a range into a few parts."""
    rough = (high - low) / _TICKS
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * k for k in (1.0, 2.0, 5.0, 10.0) if power * k >= rough)
    first = math.ceil(low / step)
    return [step * k for k in range(first, math.floor(high / step) + 1)]


def _bands(result: Result, step: float) -> tuple[Band, ...]:
    """A stretch for each layer of each pallet, in the order of the result."""
    several = len({judged.placement.pallet for judged in result.placements}) > 1
    found: list[Band] = []
    start = 0
    keys = [(j.placement.pallet, j.placement.layer) for j in result.placements]
    for k, key in enumerate(keys):
        if k + 1 == len(keys) or keys[k + 1] != key:
            name = f"{key[0]}/{key[1]}" if several else f"{key[1]}"
            found.append(Band(LEFT + start * step, (k + 1 - start) * step, name))
            start = k + 1
    return tuple(found)
