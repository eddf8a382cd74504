"""Where the arm may stand, or what any other number of the cell file should be.

Reach first for all variants, in one batch; then verdicts for what may be as good as the best so
far; then values for the best; then how far the best may be off.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any, Literal

import numpy as np

from ..cell.errors import CellError
from ..cell.model import Cell
from ..cell.variants import CellFile
from .errors import SurveyError
from .judging import Judgement, Request, judge_variant, room_as_angle
from .plan import plan_of
from .ranges import Range, all_variants
from .reaching import mounting, reach_from
from .results import BaseSurvey, Tolerance, Variant
from .runner import Progress, Runner

MOUNTING = {"arm.at.x": "x", "arm.at.y": "y", "arm.at.z": "z", "arm.at.yaw": "yaw"}
VALUED = 20  # variants of which clearances are measured
_ROUNDS = (4, 8, 16, 32, 64, 128, 256)  # variants judged before the best so far counts anew
_FINER = 3  # times the step between the last good value and the first bad one is halved

Prefer = Literal["room", "rate"]


@dataclass(frozen=True, slots=True)
class Asked:
    """What a survey is asked for.

    Attributes:
        prefer: What decides between variants of which equally many placements fail.
        complete: Judge every placement of every variant, also where it cannot be the best.
    """

    ranges: tuple[Range, ...]
    prefer: Prefer = "room"
    complete: bool = False


@dataclass(slots=True)
class _Entry:
    """A variant on its way."""

    settings: tuple[str, ...]
    placements: int = 0
    reached: int | None = None
    room: float | None = None  # slides counted as angles
    turning: bool = True
    judgement: Judgement | None = None
    unreached: int = field(default=0)

    @property
    def whole(self) -> bool:
        return self.judgement is not None and self.judgement.depth in ("verdicts", "values")


def survey_base(
    file: CellFile, asked: Asked, runner: Runner[Judgement], progress: Progress | None = None
) -> BaseSurvey:
    """Judge all variants of a cell.

    Args:
        file: The cell.
        asked: Ranges, and what is preferred.
        runner: Does the work, and keeps what is done.
        progress: Called with (variants settled, variants in all).

    Raises:
        SurveyError: If ranges are wrong or the runner cannot go on.
        CellError: If no variant is a cell.
    """
    as_it_stands = file.cell()
    entries = [_Entry(settings) for settings in all_variants(asked.ranges)]
    if not any(len(pallet.placements) > pallet.done for pallet in as_it_stands.pallets):
        raise SurveyError("nothing to survey: every placement of the cell is already down")
    poses, solutions = _reach(file, asked.ranges, entries)
    work = _Work(file, asked, runner, entries, progress, as_it_stands.mounted.slide_worth())
    work.judge_all()
    ranked = work.ranked()
    if not ranked:
        file.cell(entries[0].settings)  # says what is wrong
        raise SurveyError("no variant could be judged")
    ranked = work.valued(ranked)
    return BaseSurvey(
        as_it_stands.name,
        as_it_stands.sha256,
        asked.prefer,
        asked.ranges,
        tuple(_variant(entry, asked.ranges) for entry in entries),
        tuple(ranked),
        work.tolerances(entries[ranked[0]]),
        plan_of(as_it_stands),
        poses,
        solutions,
    )


def _variant(entry: _Entry, ranges: Sequence[Range]) -> Variant:
    values = (setting.partition("=")[2] for setting in entry.settings)
    settings = tuple((each.key, value) for each, value in zip(ranges, values, strict=True))
    judgement, room = entry.judgement, entry.room if entry.turning else None
    return Variant(settings, entry.placements, entry.reached, room, judgement)


# --- reach ----------------------------------------------------------------------------------------


def _reach(file: CellFile, ranges: Sequence[Range], entries: list[_Entry]) -> tuple[int, int]:
    """Fill in what is reached; returns poses and answers solved. Raises CellError."""
    numbers: dict[tuple[str, ...], list[int]] = {}
    for number, entry in enumerate(entries):
        others = tuple(
            s for s, each in zip(entry.settings, ranges, strict=True) if each.key not in MOUNTING
        )
        numbers.setdefault(others, []).append(number)
    poses = solutions = 0
    first_error: CellError | None = None
    for others, group in numbers.items():
        try:
            cell = file.cell(others)
        except CellError as error:
            first_error = first_error or error
            for number in group:
                entries[number].judgement = Judgement("not a cell", trouble=error.problems[0].found)
            continue
        some = [entries[number] for number in group]
        made = _reach_of(cell, ranges, some)
        poses, solutions = poses + made[0], solutions + made[1]
    if first_error is not None and all(entry.judgement for entry in entries):
        raise first_error
    return poses, solutions


def _reach_of(cell: Cell, ranges: Sequence[Range], entries: list[_Entry]) -> tuple[int, int]:
    """Fill in what the arm of one cell reaches from the positions of some entries."""
    placements = sum(len(pallet.placements) - pallet.done for pallet in cell.pallets)
    for entry in entries:
        entry.placements = placements
    if getattr(cell.mounted.arm, "axis", None) is not None:
        return 0, 0  # a lift or track chooses where it stands: motion alone tells
    bases = np.stack([mounting(cell, _position(entry, ranges)) for entry in entries])
    found = reach_from(cell, bases)
    turning = all(cell.mounted.arm.chain.turning())
    for k, entry in enumerate(entries):
        entry.reached = int(found.reached[k])
        entry.unreached = placements - entry.reached
        room = float(found.room[k])
        entry.room = round(float(np.degrees(room)), 6) if np.isfinite(room) else None
        entry.turning = turning
    return found.poses, found.solutions


def _position(entry: _Entry, ranges: Sequence[Range]) -> dict[str, float]:
    return {
        MOUNTING[each.key]: float(setting.partition("=")[2])
        for each, setting in zip(ranges, entry.settings, strict=True)
        if each.key in MOUNTING
    }


# --- motion ---------------------------------------------------------------------------------------


class _Work:
    """Verdicts, values and tolerances, in an order that no worker has a say in."""

    def __init__(
        self,
        file: CellFile,
        asked: Asked,
        runner: Runner[Judgement],
        entries: list[_Entry],
        progress: Progress | None,
        slide_worth: float,
    ) -> None:
        self._judge: Any = partial(judge_variant, file)
        self._asked, self._runner, self._entries = asked, runner, entries
        self._progress, self._slide_worth = progress, slide_worth

    def _answers(self, requests: Sequence[Request], settled: int = 0) -> list[Judgement]:
        total = len(self._entries)

        def told(done: int, _: int) -> None:
            if self._progress is not None:
                self._progress(min(settled + done, total), total)

        names = [request.name for request in requests]
        return self._runner.run(self._judge, requests, names=names, progress=told)

    def judge_all(self) -> None:
        """Judge, round by round, what may be as good as the best of the rounds before."""
        order = sorted(
            (k for k, entry in enumerate(self._entries) if entry.judgement is None),
            key=lambda k: (self._entries[k].unreached, -(self._entries[k].room or 0.0), k),
        )
        sizes = [*_ROUNDS]
        while order:
            least = self._least()
            if least is not None:
                order = [k for k in order if self._entries[k].unreached <= least]
            size = sizes.pop(0) if len(sizes) > 1 else sizes[0]
            now, order = order[:size], order[size:]
            requests = [Request(self._entries[k].settings, stop_after=least) for k in now]
            settled = len(self._entries) - len(order) - len(now)
            for k, judgement in zip(now, self._answers(requests, settled), strict=True):
                self._entries[k].judgement = judgement

    def _least(self) -> int | None:
        """The fewest failures so far; None where all are wanted or none is known."""
        known = [e.judgement.failed for e in self._entries if e.whole and e.judgement]
        return min(known) if known and not self._asked.complete else None

    def ranked(self) -> list[int]:
        """Numbers of the variants that were judged completely, the best first."""
        return sorted((k for k, e in enumerate(self._entries) if e.whole), key=self._rank)

    def _rank(self, number: int) -> tuple[float, ...]:
        judgement = self._entries[number].judgement
        assert judgement is not None  # asked of complete ones only
        room = round(room_as_angle(judgement, self._slide_worth), 3)
        rate = -np.inf if judgement.rate is None else round(judgement.rate, 3)
        goods = (room, rate) if self._asked.prefer == "room" else (rate, room)
        return (*judgement.failures, *(-good for good in goods), number)

    def valued(self, ranked: list[int]) -> list[int]:
        """Measure clearances of the best; returns the ranking, which stays as it was."""
        some = ranked[:VALUED]
        requests = [Request(self._entries[k].settings, values=True) for k in some]
        settled = len(self._entries) - len(some)
        for k, judgement in zip(some, self._answers(requests, settled), strict=True):
            self._entries[k].judgement = judgement
        return self.ranked()

    # --- tolerance --------------------------------------------------------------------------------

    def tolerances(self, best: _Entry) -> tuple[Tolerance, ...]:
        """How far the best may be off along each range of more than one value."""
        failures = best.judgement.failures if best.judgement else (0, False)
        good = {entry.settings: _as_good(entry, failures) for entry in self._entries}
        sides = [
            _Side(number, each, direction, best.settings, good)
            for number, each in enumerate(self._asked.ranges)
            if len(each.values) > 1
            for direction in (-1, 1)
        ]
        for _ in range(_FINER):
            open_ = [side for side in sides if side.bad is not None]
            requests = [Request(side.between(), stop_after=failures[0]) for side in open_]
            answers = self._answers(requests, len(self._entries) - len(requests))
            for side, found in zip(open_, answers, strict=True):
                side.take(found.depth == "verdicts" and found.failures <= failures)
        return tuple(_tolerance(*sides[k : k + 2]) for k in range(0, len(sides), 2))


def _as_good(entry: _Entry, failures: tuple[int, bool]) -> bool:
    """Whether no more fails; what was stopped or left out has more placements that do."""
    return entry.whole and entry.judgement is not None and entry.judgement.failures <= failures


class _Side:
    """The first value that is worse, to one side of the best along one range.

    Attributes:
        at, good, bad: Value of the best; the farthest found as good; the nearest found worse.
    """

    def __init__(
        self,
        number: int,
        each: Range,
        direction: int,
        settings: tuple[str, ...],
        known: dict[tuple[str, ...], bool],
    ) -> None:
        self.number, self.key, self._settings = number, each.key, settings
        own = settings[number].partition("=")[2]
        self.at = self.good = float(own)
        self.bad: float | None = None
        ahead = [v for v in each.values if (float(v) - self.at) * direction > 0.0]
        for value in sorted(ahead, key=lambda v: abs(float(v) - self.at)):
            if not known[self._with(value)]:
                self.bad = float(value)
                break
            self.good = float(value)

    def between(self) -> tuple[str, ...]:
        """The settings halfway between the last good value and the first that is worse."""
        return self._with(f"{self._middle():.6f}".rstrip("0").rstrip("."))

    def take(self, good: bool) -> None:
        """Note whether the value halfway is as good as the best."""
        if good:
            self.good = self._middle()
        else:
            self.bad = self._middle()

    def _middle(self) -> float:
        return round((self.good + (self.bad if self.bad is not None else self.good)) / 2.0, 6)

    def _with(self, value: str) -> tuple[str, ...]:
        mine = f"{self.key}={value}"
        return (*self._settings[: self.number], mine, *self._settings[self.number + 1 :])


def _tolerance(below: _Side, above: _Side) -> Tolerance:
    return Tolerance(
        below.key,
        round(below.at - below.good, 6),
        round(above.good - above.at, 6),
        None if below.bad is None else round(below.at - below.bad, 6),
        None if above.bad is None else round(above.bad - above.at, 6),
    )
