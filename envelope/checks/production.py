"""Pallet after pallet, event by event: when cartons stand ready, and when the arm takes them.

Cartons come one at a time. One moves up to its place at the stop once it is there and the group
before it is lifted clear; each takes the index time, one after the other. When all cartons of a
group are in place and have settled, the arm, which waits at the start of its cycle, may go.

Errs: on the slow side. A belt that brings several cartons at once has a shorter index time each,
and an arm may wait nearer to the cartons than at the start of its cycle.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from ..cell.model import Line

_SAME = 1e-9  # [s]: rounds that differ less are the same
_ROUNDS = 300  # after which a run that has not become regular is given up
_PERIODS = 6  # rounds that a regular run may take to repeat, as with pallets that take turns


@dataclass(frozen=True, slots=True)
class Turn:
    """One cycle as production sees it.

    Attributes:
        pallet: Which pallet it builds.
        layer: Which layer of it.
        cartons: How many it takes from the infeed.
        length: Of the group along the infeed [m].
        seconds: From the start of the cycle to its end.
        clear: From the start until the next cartons may move up to the stop.
    """

    pallet: str
    layer: int
    cartons: int
    length: float
    seconds: float
    clear: float


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of one turn: instants [s] since the first carton came.

    Attributes:
        first: Number of its first carton among all that came, from 0.
        start: When the cycle started; clear and end: when the infeed was clear, and the arm back.
        hungry: How long the arm waited for cartons before it.
        blocked: How long it waited for a pallet.
    """

    turn: Turn
    first: int
    start: float
    clear: float
    end: float
    hungry: float
    blocked: float


@dataclass(slots=True)
class _State:
    """Instants that bear on what comes: arm, infeed, and each pallet."""

    arm: float
    clear: float
    placed: float
    carton: int
    pallets: dict[str, float]

    def since(self, origin: float) -> tuple[float, ...]:
        """The state as seen from an instant; what lies before it no longer matters."""
        pallets = (max(self.arm, ready) for ready in self.pallets.values())
        instants = (self.arm, self.clear, self.placed, *pallets)
        return tuple(instant - origin for instant in instants)


@dataclass(frozen=True, slots=True)
class Run:
    """Rounds over all pallets until they repeat.

    Attributes:
        rounds: Each with all its turns, from an empty infeed on.
        period: How many rounds at the end repeat those before, moved in time; 0: none do.
        seconds: Duration of a round, mean over a period; over the later half where none repeats.
    """

    rounds: tuple[tuple[Taken, ...], ...]
    period: int
    seconds: float

    def regular(self) -> Iterator[Taken]:
        """All turns of one period."""
        for entries in self.rounds[len(self.rounds) - max(1, self.period) :]:
            yield from entries


def run(turns: Sequence[Turn], line: Line | None, interval: float) -> Run:
    """Build all pallets round after round until a round repeats the one before.

    Times only ever add up and wait for the latest of several, so that from some round on each
    is the one before, moved by a constant.

    Args:
        turns: The cycles of one round, in the order of work; pallets one after the other.
        line: How cartons come; None for an arm that never waits.
        interval: Seconds between two cartons that come; 0 for cartons that are always there.

    Source: Baccelli, Cohen, Olsder and Quadrat, Synchronization and Linearity (1992), chapter 3,
    on such systems becoming periodic; from memory.
    """
    state = _State(0.0, 0.0, 0.0, 0, {turn.pallet: 0.0 for turn in turns})
    rounds: list[tuple[Taken, ...]] = []
    ends, seen = [0.0], list[tuple[float, ...]]()
    while len(rounds) < _ROUNDS:
        rounds.append(tuple(_round(turns, line, interval, state)))
        now = state.since(state.carton * interval if interval > 0.0 else state.arm)
        ends.append(state.arm)
        for period, before in enumerate(reversed(seen[-_PERIODS:]), start=1):
            if all(abs(a - b) <= _SAME for a, b in zip(before, now, strict=True)):
                return Run(tuple(rounds), period, (ends[-1] - ends[-1 - period]) / period)
        seen.append(now)
    half = len(rounds) // 2
    return Run(tuple(rounds), 0, (ends[-1] - ends[half]) / (len(rounds) - half))


def _round(
    turns: Sequence[Turn], line: Line | None, interval: float, state: _State
) -> Iterator[Taken]:
    """All turns once."""
    for number, turn in enumerate(turns):
        first, ready = state.carton, _ready(turn, line, interval, state)
        free = state.pallets[turn.pallet]
        start = max(state.arm, ready, free)
        hungry = max(0.0, ready - max(state.arm, free))
        blocked = max(0.0, free - state.arm)
        state.clear, end = start + turn.clear, start + turn.seconds
        yield Taken(turn, first, start, state.clear, end, hungry, blocked)
        state.arm = end
        last = number + 1 == len(turns) or turns[number + 1].pallet != turn.pallet
        if last and line is not None:
            _change(turn.pallet, line, state)


def _ready(turn: Turn, line: Line | None, interval: float, state: _State) -> float:
    """When the group of a turn stands still at the stop."""
    index, settle = (0.0, 0.0) if line is None else (line.index_time, line.settle_time)
    placed = state.placed
    for _ in range(turn.cartons):
        placed = max(placed, state.clear, state.carton * interval) + index
        state.carton += 1
    state.placed = placed
    return placed + settle if line is not None else state.arm


def _change(pallet: str, line: Line, state: _State) -> None:
    """The full pallet goes, an empty one comes; the arm waits if it may do nothing meanwhile."""
    ready = state.arm + line.pallet_change
    state.pallets[pallet] = ready
    if line.during_change == "wait":
        for name in state.pallets:
            state.pallets[name] = max(state.pallets[name], ready)


def longest_queue(made: Run, interval: float, gap: float, delay: float = 0.0) -> tuple[int, float]:
    """The most cartons on the infeed at once, and the greatest length that they take [m].

    A queue is longest just after a carton has come. Cartons count until their group is lifted
    clear; a group takes its whole length as soon as its first carton is there.

    Errs: on the long side. A delay at one instant puts off what comes after by no more than
    itself, and is taken to put off everything.

    Args:
        made: A run with cartons that come at the interval.
        interval: Seconds between two cartons.
        gap: Between groups on the infeed [m].
        delay: By which work may lie behind that of the run [s].
    """
    taken = [entry for entries in made.rounds for entry in entries]
    most, longest = 0, 0.0
    oldest, length = 0, -gap
    for newest, entry in enumerate(taken):
        length += entry.turn.length + gap
        for carton in range(entry.first, entry.first + entry.turn.cartons):
            while oldest < newest and taken[oldest].clear + delay < carton * interval:
                length -= taken[oldest].turn.length + gap
                oldest += 1
            most = max(most, carton + 1 - taken[oldest].first)
            longest = max(longest, length)
    return most, longest
