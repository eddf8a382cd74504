"""Pallet after pallet: by hand, and against a clock that ticks through the same production."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from envelope.cell.model import Line
from envelope.checks.production import Turn, longest_queue, run

LINE = Line(rate=0.2, queue_length=2.0, index_time=1.0, settle_time=1.0, pallet_change=30.0)
TURN = Turn("A", 1, 1, 0.4, 4.0, 2.0)


def cartons_of(turns) -> int:
    return sum(turn.cartons for turn in turns)


def test_by_hand_one_pallet_of_ten():
    """A cycle takes 4 s; the next carton is there 2 + 1 + 1 s after its start: just in time."""
    made = run([TURN] * 10, LINE, 0.0)
    assert made.period == 1
    assert made.seconds == pytest.approx(10 * 4.0 + 30.0)


def test_by_hand_the_infeed_is_what_holds_up():
    """A pair needs two cartons to move up: 2 + 2 x 1 + 1 s after the start of a cycle of 4 s."""
    made = run([replace(TURN, cartons=2)] * 10, LINE, 0.0)
    assert made.seconds == pytest.approx(9 * 5.0 + 4.0 + 30.0)
    assert [entry.hungry for entry in made.rounds[-1]] == pytest.approx([0.0] + [1.0] * 9)


def test_by_hand_two_pallets_take_turns():
    """The change of one, 30 s, passes while the other is built, 40 s."""
    turns = [TURN] * 10 + [replace(TURN, pallet="B")] * 10
    assert run(turns, replace(LINE, during_change="go on"), 0.0).seconds == pytest.approx(80.0)
    assert run(turns, LINE, 0.0).seconds == pytest.approx(140.0)
    slow = replace(LINE, during_change="go on", pallet_change=50.0)  # 10 s longer than the other
    assert run(turns, slow, 0.0).seconds == pytest.approx(100.0 - 10.0)


def test_one_pallet_cannot_go_on_during_its_change():
    waits, goes_on = (
        run([TURN] * 5, replace(LINE, during_change=way), 0.0) for way in ("wait", "go on")
    )
    assert waits == goes_on


def test_a_change_of_30_s_at_12_a_minute_needs_room():
    """Cartons come every 5 s; the arm needs 4 s and gains on them.

    The last carton of the pallet comes at 195 s, stands still at 197 s and is down at 201 s. The
    change ends at 231 s, and at 233 s the next carton is lifted clear. Seven came meanwhile, at
    200, 205 ... 230 s.
    """
    made = run([TURN] * 40, LINE, 5.0)
    assert made.period == 1
    assert made.seconds == pytest.approx(200.0)  # as fast as cartons come
    cartons, length = longest_queue(made, 5.0, 0.05)
    taken = [entry for entries in made.rounds for entry in entries]
    counted = max(waiting(taken, 5.0, at) for at in np.arange(0.0, 5.0 * len(taken), 0.5))
    assert cartons == counted == 7
    assert length == pytest.approx(7 * 0.45 - 0.05)


def waiting(taken, interval, at) -> int:
    """Cartons that have come and are not lifted clear at an instant."""
    return sum(
        carton * interval <= at + 1e-9 and at <= entry.clear + 1e-9
        for entry in taken
        for carton in range(entry.first, entry.first + entry.turn.cartons)
    )


def test_a_delay_makes_the_queue_longer_by_what_comes_meanwhile():
    made = run([TURN] * 40, LINE, 5.0)
    plain, late = (longest_queue(made, 5.0, 0.0, delay) for delay in (0.0, 20.0))
    assert late[0] == plain[0] + 4
    assert late[1] > plain[1]


def test_a_line_that_is_too_fast_has_no_regular_queue():
    made = run([TURN] * 40, LINE, 4.5)  # 180 s of cartons, 190 s of work
    assert made.period == 0


@dataclass
class Clock:
    """The same production, second by second, with no formula in it."""

    turns: list
    line: Line
    interval: int

    def starts(self, rounds: int) -> list[int]:
        came = at_stop = now = 0
        moving = settling = busy = None
        blocked_until = {turn.pallet: 0 for turn in self.turns}
        wanted, found, free_stop = list(self.turns) * rounds, [], 0
        number, waits = 0, 0
        while number < len(wanted):
            turn = wanted[number]
            while came * self.interval <= now and came <= 10_000:
                came += 1
            if busy is not None and now == busy[0]:
                last = number % len(self.turns) == 0 or wanted[number - 1].pallet != turn.pallet
                if last:
                    until = now + int(self.line.pallet_change)
                    blocked_until[wanted[number - 1].pallet] = until
                    if self.line.during_change == "wait":
                        waits = until
                busy = None
            if moving is not None and now == moving:
                at_stop, moving = at_stop + 1, None
                if at_stop == turn.cartons:
                    settling = now + int(self.line.settle_time)
            taken = sum(entry.cartons for entry in wanted[:number])
            wanting = moving is None and at_stop < turn.cartons and now >= free_stop
            if wanting and came > taken + at_stop:
                moving = now + int(self.line.index_time)
            ready = settling is not None and now >= settling and at_stop == turn.cartons
            if busy is None and ready and now >= max(waits, blocked_until[turn.pallet]):
                found.append(now)
                busy = (now + int(turn.seconds),)
                free_stop = now + int(turn.clear)
                at_stop, settling = 0, None
                number += 1
                continue
            now += 1
        return found


@pytest.mark.parametrize("seed", range(12))
def test_events_are_those_of_a_ticking_clock(seed):
    numbers = np.random.default_rng(seed)
    turns = []
    for pallet in ("A", "B")[: numbers.integers(1, 3)]:
        for _ in range(numbers.integers(2, 7)):
            seconds = int(numbers.integers(4, 12))
            clear = int(numbers.integers(1, seconds))
            cartons = int(numbers.integers(1, 4))
            turns.append(Turn(pallet, 1, cartons, 0.4, float(seconds), float(clear)))
    line = replace(
        LINE,
        index_time=float(numbers.integers(1, 3)),
        settle_time=float(numbers.integers(1, 3)),
        pallet_change=float(numbers.integers(1, 60)),
        during_change=("wait", "go on")[numbers.integers(0, 2)],
    )
    interval = int(numbers.integers(3, 15))
    made = run(turns, line, float(interval))
    rounds = min(len(made.rounds), 6)
    mine = [entry.start for entries in made.rounds[:rounds] for entry in entries]
    assert mine == Clock(turns, line, interval).starts(rounds)


@pytest.mark.parametrize("seed", range(20))
def test_the_longest_queue_is_the_one_counted_at_every_instant(seed):
    numbers = np.random.default_rng(100 + seed)
    turns = [
        Turn("A", 1, int(n), 0.4 * n, float(t), float(c))
        for n, t, c in zip(
            numbers.integers(1, 4, 12),
            numbers.integers(6, 12, 12),
            numbers.integers(1, 6, 12),
            strict=True,
        )
    ]
    full = run(turns, LINE, 0.0)
    interval = float(np.ceil(full.seconds / cartons_of(turns) + 0.5))
    made = run(turns, LINE, interval)
    assert made.period
    cartons, length = longest_queue(made, interval, 0.0)
    taken = [entry for entries in made.rounds for entry in entries]
    came = cartons_of(entry.turn for entry in taken)
    counted = max(waiting(taken, interval, at) for at in np.arange(0, came * interval, 0.5))
    assert cartons == counted
    assert length >= 0.4 * cartons - 1e-9


def test_without_a_line_the_arm_never_waits():
    made = run([TURN] * 7, None, 0.0)
    assert made.seconds == pytest.approx(28.0)
