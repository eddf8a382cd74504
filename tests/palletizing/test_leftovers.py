"""What a batch leaves over, against counting by hand."""

from envelope.palletizing.leftovers import whole_counts
from tests.report import synthetic


def _placements(*cycles_and_items):
    from dataclasses import replace

    return [
        replace(synthetic.placement(n), cycle=cycle, items=items)
        for n, (cycle, items) in enumerate(cycles_and_items, start=1)
    ]


def test_counts_are_those_at_which_a_cycle_ends():
    """A pair, a single, a pair put down in two parts, a single."""
    made = _placements((1, (0, 1)), (2, (0,)), (3, (0,)), (3, (1,)), (4, (0,)))
    assert whole_counts(made) == [2, 3, 5, 6]


def test_a_part_built_pallet_counts_from_what_is_down():
    made = _placements((1, (0, 1)), (2, (0,)), (3, (0, 1)))
    assert whole_counts(made, done=1) == [3, 5]
    assert whole_counts(made, done=3) == []


def test_nothing_but_singles_leaves_nothing_over():
    assert whole_counts(_placements(*((n, (0,)) for n in range(1, 5)))) == [1, 2, 3, 4]
