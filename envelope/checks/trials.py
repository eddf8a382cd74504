"""The search for motions: options are tried, all tasks abreast, until one meets nothing."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from ..cell.model import Cell
from ..motion.cycle import Cycle, Segment
from ..motion.options import Choices, Option, Task, part_of
from ..motion.plan import Planner, Unplanned
from .answers import Watched
from .cast import Cast
from .stretches import Planned
from .watch import watch_cycles

_TRIALS = 40  # motions that are watched for one task before it fails


@dataclass(slots=True)
class Trial:
    """The search for one task's motion.

    Attributes:
        choices: What is left to try, in order.
        best: The motion to be judged.
        seen: What was watched along it; None where only its verdict is known.
        trouble: How many bodies meet on it what they must not, and how deep the worst is [m].
        met: What is met on it.
        lack: Why the most promising option had no motion at all.
    """

    task: Task
    choices: Choices
    best: Cycle | None = None
    seen: list[Watched] | None = None
    trouble: tuple[int, float] = (1 << 30, 0.0)
    met: list[Watched] = field(default_factory=list[Watched])
    lack: Unplanned | None = None
    current: Option | None = field(default=None)


def search(cell: Cell, cast: Cast, planner: Planner, trials: list[Trial], *, closely: bool) -> None:
    """Try options, all tasks abreast, until each has a motion that meets nothing.

    What one motion met rules out the other options that share the part that met it. The first
    motions mostly do, and are looked at closely at once; of the others the verdict comes first.
    """
    waiting = trials
    for number in range(_TRIALS):
        planned = _next_motions(planner, waiting)
        if not planned:
            return
        values = closely and number == 0
        watched = _by_cycle(cell, cast, [plan for _, plan in planned], values=values)
        waiting = []
        for (trial, plan), seen in zip(planned, watched, strict=True):
            met = [entry for entry in seen if entry.margin[0] < 0.0]
            failing = {entry.segment for entry in met}
            trouble = (len(met), -min((entry.margin[1] for entry in met), default=0.0))
            if trouble < trial.trouble:
                trial.best, trial.trouble, trial.met = plan.cycle, trouble, met
                trial.seen = seen if values else None
            if failing:
                for number in failing:
                    _rule_out(trial, plan.cycle.segments[number])
                waiting.append(trial)


def look_closely(cell: Cell, cast: Cast, trials: Sequence[Trial]) -> None:
    """Watch the motions that were chosen, where only their verdict is known."""
    chosen = [(t, t.best) for t in trials if t.best is not None and t.seen is None]
    planned = [Planned(trial.task, best) for trial, best in chosen]
    for (trial, _), seen in zip(chosen, _by_cycle(cell, cast, planned, values=True), strict=True):
        trial.seen = seen


def _next_motions(planner: Planner, trials: list[Trial]) -> list[tuple[Trial, Planned]]:
    """The next option of each trial that has a motion."""
    found: list[tuple[Trial, Planned]] = []
    asking = trials
    while asking:
        for trial in asking:
            trial.current = trial.choices.next()
        asking = [trial for trial in asking if trial.current is not None]
        wanted = [(t.task, t.current) for t in asking if t.current is not None]
        again: list[Trial] = []
        for trial, motion in zip(asking, planner.cycles(wanted), strict=True):
            if isinstance(motion, Unplanned):
                trial.lack = trial.lack or motion
                if trial.current is not None:
                    trial.choices.rule_out(trial.current, motion.part)
                again.append(trial)
            else:
                found.append((trial, Planned(trial.task, motion)))
        asking = again
    return found


def _rule_out(trial: Trial, segment: Segment) -> None:
    """Drop the options that share with the current one the part that failed."""
    if trial.current is not None:
        trial.choices.rule_out(trial.current, part_of(segment))


def _by_cycle(
    cell: Cell, cast: Cast, planned: Sequence[Planned], *, values: bool
) -> list[list[Watched]]:
    """What was watched, sorted to the cycles."""
    sorted_: list[list[Watched]] = [[] for _ in planned]
    if planned:
        for entry in watch_cycles(cell, cast, planned, values=values):
            sorted_[entry.planned].append(entry)
    return sorted_
