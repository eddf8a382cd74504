"""The search for motions: options are tried, all tasks abreast, until one meets nothing."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from ..cell.model import Cell
from ..motion.cycle import Cycle, Segment
from ..motion.options import Choices, Option, Part, Task, part_of
from ..motion.plan import Planner, Unplanned
from .answers import Watched
from .cast import Cast
from .stretches import Planned
from .watch import watch_cycles

_TRIALS = 40  # motions that are watched for one task before it fails
_FEW = 4  # tasks for which options are tried ahead: a batch of few costs little more than one
_AHEAD = 2  # options tried ahead for each of them


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
        current: The option that is tried.
        part: The part of it that met something when it was an earlier one.
        ahead: What was watched along options before their turn; only whether limits are kept.
    """

    task: Task
    choices: Choices
    best: Cycle | None = None
    seen: list[Watched] | None = None
    trouble: tuple[int, float] = (1 << 30, 0.0)
    met: list[Watched] = field(default_factory=list[Watched])
    lack: Unplanned | None = None
    current: Option | None = None
    part: Part | None = None
    ahead: dict[Option, list[Watched]] = field(default_factory=dict[Option, list[Watched]])


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
        if number and len(planned) <= _FEW:
            watched = _with_those_ahead(cell, cast, planner, planned)
        else:
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
                trial.part = part_of(plan.cycle.segments[min(failing)])
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


def _with_those_ahead(
    cell: Cell, cast: Cast, planner: Planner, planned: list[tuple[Trial, Planned]]
) -> list[list[Watched]]:
    """What is met along motions, each watched together with those likely to be tried after it.

    What failed last mostly fails again; each motion is judged by itself, whatever is beside it.
    """
    fresh = [(trial, plan) for trial, plan in planned if trial.current not in trial.ahead]
    batch = [(trial, trial.current, plan) for trial, plan in fresh]
    guessed = [
        (trial, option)
        for trial, _ in fresh
        if trial.current is not None and trial.part is not None
        for option in trial.choices.ahead(trial.current, trial.part, _AHEAD)
    ]
    motions = planner.cycles([(trial.task, option) for trial, option in guessed])
    for (trial, option), motion in zip(guessed, motions, strict=True):
        if not isinstance(motion, Unplanned):
            batch.append((trial, option, Planned(trial.task, motion)))
    watched = _by_cycle(cell, cast, [plan for _, _, plan in batch], values=False)
    for (trial, option, _), seen in zip(batch, watched, strict=True):
        if option is not None:
            trial.ahead[option] = seen
    return [trial.ahead[trial.current] for trial, _ in planned if trial.current is not None]


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
