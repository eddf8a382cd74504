"""Options tried ahead of their turn: the same motions and findings, in fewer batches."""

from pathlib import Path

import pytest

from envelope.cell.load import load
from envelope.checks import trials
from envelope.motion.options import Choices
from envelope.verify import check, verdicts

CELLS = Path(__file__).resolve().parents[2] / "cells"


def told(judged):
    """What is told of placements, motions and all."""
    return [
        (entry.placement.id, entry.findings, None if entry.cycle is None else entry.cycle.route)
        for entry in judged
    ]


def counted(monkeypatch, few):
    """Batches that are watched from now on, with so many tasks tried ahead at once."""
    batches = []
    plain = trials.watch_cycles

    def watch_cycles(cell, cast, planned, *, values):
        batches.append(len(planned))
        return plain(cell, cast, planned, values=values)

    monkeypatch.setattr(trials, "watch_cycles", watch_cycles)
    monkeypatch.setattr(trials, "_FEW", few)
    return batches


@pytest.mark.parametrize("closely", [False, True])
def test_options_tried_ahead_change_nothing_and_save_batches(monkeypatch, closely):
    cell = load(CELLS / "biscuits-two-pallets.yaml")

    def judged():
        return check(cell).placements if closely else [e for part in verdicts(cell) for e in part]

    with monkeypatch.context() as patch:
        plain_batches = counted(patch, few=0)
        plain = told(judged())
    with monkeypatch.context() as patch:
        batches = counted(patch, few=4)
        fast = told(judged())
    assert fast == plain
    assert len(batches) < len(plain_batches)
    assert max(batches) == max(plain_batches)


def test_what_was_guessed_is_what_comes_next(monkeypatch):
    asked = []
    plain = Choices.ahead

    def ahead(self, option, part, count):
        found = plain(self, option, part, count)
        asked.append((part, found))
        again = plain(self, option, part, count)
        assert again == found  # looking ahead uses nothing up
        return found

    monkeypatch.setattr(Choices, "ahead", ahead)
    list(verdicts(load(CELLS / "biscuits-two-pallets.yaml")))
    assert asked
    assert all(len({*found}) == len(found) for _, found in asked)
