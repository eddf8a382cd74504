"""Rate: whether the cell keeps up with the line, pallet changes included, and the queue fits."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby

from ..cell.model import Cell, Line
from .dominating import spent
from .finding import Finding, Judged, Result, Verdict
from .production import Run, longest_queue, run
from .throughput import LayerRate, Queue, Rate
from .turns import Job, jobs_of

_EXACT = 1e-9  # of a rate: rounding that does not decide
_SLOW = 0.1  # share of the cycles, the slowest, of which is told what dominates them
_TOLD = 6  # of what dominates
CARTONS, PALLETS = "for cartons", "for an empty pallet"  # what the arm waits for
WAITING = "waiting for cartons"
_PART = "The rate is that of the whole cell: it was not judged."
_ROUNDED = (
    "Cycles are shorter in the rate where corners are rounded; the motions in the results file, "
    "and what they ask of arm and grip, are those with a stop at every corner."
)


def rate_of(cell: Cell, result: Result) -> Rate | None:
    """How many cartons a minute a cell brings that was checked, whether it states a line or not.

    Without a line the arm never waits: no index, no settle, no pallet change, full speed.

    Args:
        cell: The cell.
        result: What its check found.

    Returns:
        None where a placement has no motion, or where not all placements were checked. Whether
        what was found along the motions is good enough is another question: see the verdicts.
    """
    if result.rate is not None:
        return result.rate
    return _rated(cell, result.placements) if _is_whole(cell, result) else None


def sustained_rate(cell: Cell, judged: Sequence[Judged]) -> float | None:
    """The rate alone, without what it is made of: for many variants of a cell [cartons/min].

    Args:
        cell: The cell.
        judged: All its placements, in any order.

    Returns:
        None where a placement has no motion.
    """
    jobs = _jobs(cell, judged)
    return _sustained(jobs, _run(cell, jobs, 0.0)) if jobs else None


def with_rate(cell: Cell, result: Result) -> Result:
    """A result with what the rate check found; only with a note where a part was checked."""
    if not _is_whole(cell, result):
        return replace(result, notes=(*result.notes, _PART))
    rate, findings = check_rate(cell, result.placements)
    notes = (*result.notes, _ROUNDED) if cell.motion.blend_radius else result.notes
    return replace(result, notes=notes, findings=(*result.findings, *findings), rate=rate)


def _is_whole(cell: Cell, result: Result) -> bool:
    wanted = sum(len(pallet.placements) - pallet.done for pallet in cell.pallets)
    return len(result.placements) >= wanted


def check_rate(cell: Cell, judged: Sequence[Judged]) -> tuple[Rate | None, tuple[Finding, ...]]:
    """How many cartons a minute the cell brings, and whether that is what the line asks for.

    Cartons come evenly, and each kind when it is wanted.

    Errs: pallets count from what stands on them at the start; one that is part-built at the
    start is always so.

    Args:
        cell: The cell.
        judged: All its placements, with the motions that were chosen.

    Returns:
        No rate where a placement has no motion; findings only where the cell states a line.
    """
    rate, line = _rated(cell, judged), cell.line
    if line is None:
        return rate, ()
    if rate is None:
        return None, (_not_checked(line, judged),)
    return rate, (_of_rate(cell, line, rate), *_of_queue(cell, line, rate))


def _rated(cell: Cell, judged: Sequence[Judged]) -> Rate | None:
    jobs, line = _jobs(cell, judged), cell.line
    if not jobs:
        return None
    full = _run(cell, jobs, 0.0)
    every = list(full.regular())
    cartons = sum(job.turn.cartons for job in jobs)
    sustained = _sustained(jobs, full)
    working = sum(job.turn.seconds for job in jobs)
    rounds = len(every) / len(jobs)
    slowest = max(jobs, key=lambda job: round(job.turn.seconds, 9))  # the first of those alike
    waiting = (
        (CARTONS, sum(entry.hungry for entry in every) / rounds),
        (PALLETS, sum(entry.blocked for entry in every) / rounds),
    )
    return Rate(
        sustained,
        60.0 * cartons / working,
        None if line is None else line.rate * 60.0,
        cartons,
        len(jobs),
        working / len(jobs),
        sum(job.saved for job in jobs) / len(jobs),
        (slowest.turn.seconds, slowest.placement.id),
        tuple((name, seconds) for name, seconds in waiting if seconds > 0.0),
        _layers(full),
        _dominating(cell, jobs, full),
        None if line is None else _queue(cell, line, jobs, sustained),
    )


def _jobs(cell: Cell, judged: Sequence[Judged]) -> list[Job]:
    """The cycles in the order of work; none where a placement has no motion."""
    if any(entry.cycle is None for entry in judged):
        return []
    turn = {pallet.name: number for number, pallet in enumerate(cell.pallets)}
    placed = [(turn[entry.placement.pallet], entry.placement.order) for entry in judged]
    order = sorted(range(len(judged)), key=placed.__getitem__)
    return jobs_of(cell, [judged[k] for k in order])


def _run(cell: Cell, jobs: Sequence[Job], interval: float) -> Run:
    """Production at an interval of cartons; a group settles while detectors wait to be sure."""
    line = cell.line
    if line is not None:
        ready = max(line.settle_time, cell.infeed.detectors.on_delay)
        line = replace(line, settle_time=ready)
    return run([job.turn for job in jobs], line, interval)


def _sustained(jobs: Sequence[Job], full: Run) -> float:
    return 60.0 * sum(job.turn.cartons for job in jobs) / full.seconds


def _not_checked(line: Line, judged: Sequence[Judged]) -> Finding:
    lacking = [entry.placement.id for entry in judged if entry.cycle is None]
    more = f" and {len(lacking) - 1} more" if len(lacking) > 1 else ""
    message = f"no motion for {lacking[0]}{more}: pallets cannot be finished" if lacking else ""
    message = message or "there is nothing to be placed"
    return Finding("rate", "not checked", None, line.rate * 60.0, "cartons/min", message)


def _layers(made: Run) -> tuple[LayerRate, ...]:
    """The rate of each layer, last round, of an arm that never lacks cartons."""
    found: list[LayerRate] = []
    for (pallet, layer), entries in groupby(
        made.rounds[-1], key=lambda taken: (taken.turn.pallet, taken.turn.layer)
    ):
        taken = list(entries)
        seconds = sum(entry.turn.seconds + entry.hungry for entry in taken)
        cartons = sum(entry.turn.cartons for entry in taken)
        found.append(LayerRate(pallet, layer, 60.0 * cartons / seconds))
    return tuple(found)


def _dominating(cell: Cell, jobs: Sequence[Job], made: Run) -> tuple[tuple[str, float], ...]:
    """What the slowest cycles spend their time on, mean over them, the longest first."""
    last = made.rounds[-1]
    whole = [entry.turn.seconds + entry.hungry for entry in last]
    count = max(1, round(_SLOW * len(whole)))
    slowest = sorted(range(len(whole)), key=lambda k: (-round(whole[k], 6), k))[:count]
    seconds: dict[str, float] = {}
    for k in slowest:
        for name, amount in spent(cell, jobs[k].cycle).items():
            seconds[name] = seconds.get(name, 0.0) + amount / count
        seconds[WAITING] = seconds.get(WAITING, 0.0) + last[k].hungry / count
    told = [(name, amount) for name, amount in seconds.items() if amount > 0.0]
    return tuple(sorted(told, key=lambda entry: (-round(entry[1], 6), entry[0]))[:_TOLD])


def _queue(cell: Cell, line: Line, jobs: Sequence[Job], sustained: float) -> Queue:
    """The longest queue at the line's rate."""
    none = Queue(None, None, line.queue_length * 1e3, line.queue_places)
    if _misses(sustained, line):
        return none
    interval = 1.0 / line.rate
    made = _run(cell, jobs, interval)
    if not made.period:
        return none
    cartons, length = longest_queue(made, interval, cell.infeed.queue_gap, _behind(line, jobs))
    return Queue(cartons, length * 1e3, line.queue_length * 1e3, line.queue_places)


def _behind(line: Line, jobs: Sequence[Job]) -> float:
    """How far work falls behind the mean in the longest stretch at reduced speed [s]."""
    if line.reduced_share == 0.0:
        return 0.0
    least = min(job.turn.seconds / job.slow for job in jobs)
    return line.reduced_stretch * max(0.0, 1.0 - least)


def _misses(sustained: float, line: Line) -> bool:
    return sustained < line.rate * 60.0 * (1.0 - _EXACT)


def _of_rate(cell: Cell, line: Line, rate: Rate) -> Finding:
    asked, slow = line.rate * 60.0, rate.slowest_layer
    verdict: Verdict = "pass"
    if _misses(rate.sustained, line):
        verdict = "fail"
    elif rate.sustained < asked * (1.0 + line.margin) * (1.0 - _EXACT):
        verdict = "marginal"
    most, seconds = rate.dominating[0]
    message = (
        f"over full pallets, changes included; the slowest layer is {slow.pallet}/{slow.layer} at "
        f"{slow.rate:.2f} cartons/min, and the slowest cycles spend most on {most}, {seconds:.2f} s"
    )
    if any(pallet.done for pallet in cell.pallets):
        message += "; without the placements that are there at the start (done)"
    return Finding("rate", verdict, rate.sustained, asked, "cartons/min", message)


def _of_queue(cell: Cell, line: Line, rate: Rate) -> list[Finding]:
    """Whether the queue fits on the infeed; marginal where no further group would."""
    queue = rate.queue
    if queue is None or queue.length is None or queue.cartons is None:
        return [_endless(line, rate)]
    longest = max(float((g.extent()[1] - g.extent()[0])[:2].max()) for g in cell.groups)
    plural = "" if queue.cartons == 1 else "s"
    message = f"the longest on the infeed, {queue.cartons} carton{plural} at once"
    if queue.cartons > _standing(cell):
        message += f"; motions are checked with {_standing(cell)} there (infeed.queue)"
    room = _room(queue.available - queue.length, longest * 1e3)
    found = [Finding("rate", room, queue.length, queue.available, "mm", message)]
    if queue.places is not None:
        room = _room(float(queue.places - queue.cartons), 1.0)
        message = "what the longest queue needs, each carton its place"
        cartons, places = float(queue.cartons), float(queue.places)
        found.append(Finding("rate", room, cartons, places, "cartons", message))
    return found


def _room(spare: float, wanted: float) -> Verdict:
    """The verdict on room that is left over where some is wanted."""
    if spare < -1e-6:
        return "fail"
    return "marginal" if spare + 1e-6 < wanted else "pass"


def _standing(cell: Cell) -> int:
    """Cartons on the infeed that motions are checked against, those that are picked included."""
    return (cell.infeed.queue + 1) * max(len(group.items) for group in cell.groups)


def _endless(line: Line, rate: Rate) -> Finding:
    """The finding for a queue without a longest length."""
    available, short = line.queue_length * 1e3, line.rate * 60.0 - rate.sustained
    message = f"the queue grows without end, by {short:.2f} cartons/min"
    verdict: Verdict = "fail"
    if not _misses(rate.sustained, line):
        message = "the queue has not become regular; the rate is too near to the limit"
        verdict = "not checked"
    return Finding("rate", verdict, None, available, "mm", message)
