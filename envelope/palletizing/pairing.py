"""The fewest cycles that take a layer: exact, by integer programming.

Every carton is brought by exactly one of the takings chosen, and the takings chosen have an
order in which none stands in another's way. That is set partitioning, with a cut for every
ring of takings that each have to come before the next.

Source: E. Balas, M. W. Padberg, "Set Partitioning: A survey", SIAM Review 18 (1976), for the
formulation; the cuts are the cycle inequalities of the linear ordering problem (M. Grötschel,
M. Jünger, G. Reinelt, Operations Research 32, 1984). Both from memory.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from importlib import import_module
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..geometry.frames import Array
from .order import ordered
from .pattern import Pattern, Vector
from .takings import Taking, overlapping

MOST_NODES = 20_000  # of the search tree in one solution; layers of pallets need a few


@dataclass(frozen=True, slots=True)
class Grouping:
    """How a layer is taken.

    Attributes:
        chosen: Indices of takings, in the order of their least carton.
        proved: Whether no choice among the takings given has fewer cycles.
    """

    chosen: tuple[int, ...]
    proved: bool


def fewest_cycles(
    count: int,
    takings: Sequence[Taking],
    barred: Collection[int] = (),
    together: Sequence[Collection[int]] = (),
) -> Grouping | None:
    """The fewest takings that bring every carton once, in some order.

    Of equally few cycles the one with fewest releases; of those, carton by carton in the
    layer's order, the taking that stands first in the list.

    Args:
        count: Cartons of the layer.
        takings: In the order in which ties are decided.
        barred: Takings that are chosen only where nothing else brings a carton.
        together: Sets of takings that may not all be chosen.

    Returns:
        None where some carton is in no taking, or no order leads through.
    """
    if count == 0:
        return Grouping((), True)
    problem = _Problem(count, takings, frozenset(barred), together)
    best = problem.solve(problem.cost, {})
    if best is None:
        return None
    return Grouping(problem.first_of_equals(best), problem.proved)


def in_order(chosen: Sequence[Taking], towards_arm: Vector) -> Pattern:
    """The spots of the takings chosen, in the order in which they are laid."""
    pairs = tuple(
        (first, second)
        for first, taking in enumerate(chosen)
        for second, other in enumerate(chosen)
        if first != second and taking.before & set(other.covers)
    )
    return ordered(tuple(taking.spot for taking in chosen), towards_arm, pairs)


@dataclass(slots=True)
class _Problem:
    """The integer program, with the cuts found so far."""

    count: int
    takings: Sequence[Taking]
    barred: frozenset[int]
    together: Sequence[Collection[int]]
    cuts: list[tuple[int, ...]] = field(default_factory=list[tuple[int, ...]])
    proved: bool = True
    cost: Array = field(default_factory=lambda: np.zeros(0))
    covering: list[list[int]] = field(default_factory=list[list[int]])

    def __post_init__(self) -> None:
        # A cycle outweighs all extra releases, a barred taking all cycles.
        cycle = self.count + 1
        self.cost = np.array(
            [
                cycle + taking.releases - 1 + (cycle * cycle if k in self.barred else 0)
                for k, taking in enumerate(self.takings)
            ],
            float,
        )
        self.covering = [
            [k for k, taking in enumerate(self.takings) if carton in taking.covers]
            for carton in range(self.count)
        ]
        self.cuts = [*overlapping(self.takings), *_each_first(self.takings, self.count)]
        self.cuts += [tuple(group) for group in self.together]

    def solve(
        self, objective: Array, fixed: dict[int, float], total: float | None = None
    ) -> tuple[int, ...] | None:
        """The best choice by an objective, with an order; total: what the cycles must cost."""
        if not all(self.covering):
            return None
        while True:
            answer = self._answer(objective, fixed, total)
            if answer.x is None:
                return None
            # Status 1 is a limit reached: there is a choice, but no proof.
            self.proved &= answer.status == 0
            chosen = tuple(int(k) for k in np.flatnonzero(np.asarray(answer.x) > 0.5))
            ring = _ring(self.takings, chosen)
            if not ring:
                return chosen
            self.cuts.append(ring)

    def _answer(self, objective: Array, fixed: dict[int, float], total: float | None) -> Any:
        # Imported here: loading scipy's solvers takes longer than most patterns.
        optimize: Any = import_module("scipy.optimize")
        sparse: Any = import_module("scipy.sparse")
        rows = [*self.covering, *self.cuts]
        at = np.repeat(np.arange(len(rows)), [len(row) for row in rows])
        entries = np.concatenate([np.asarray(row, int) for row in rows])
        shape = (len(rows), len(self.takings))
        matrix = sparse.csr_matrix((np.ones(len(at)), (at, entries)), shape=shape)
        lower = np.append(np.ones(self.count), np.full(len(self.cuts), -np.inf))
        upper = np.append(np.ones(self.count), [len(cut) - 1.0 for cut in self.cuts])
        constraints = [optimize.LinearConstraint(matrix, lower, upper)]
        if total is not None:
            constraints.append(optimize.LinearConstraint(self.cost[None], total, total))
        low, high = np.zeros(len(self.takings)), np.ones(len(self.takings))
        for index, value in fixed.items():
            low[index] = high[index] = value
        return optimize.milp(
            objective,
            integrality=np.ones(len(self.takings)),
            bounds=optimize.Bounds(low, high),
            constraints=constraints,
            options={"node_limit": MOST_NODES, "mip_rel_gap": 0.0},
        )

    def first_of_equals(self, best: tuple[int, ...]) -> tuple[int, ...]:
        """Of all choices of the same cost, carton by carton the one first in the list."""
        total = float(self.cost[list(best)].sum())
        fixed: dict[int, float] = {}
        taken: set[int] = set()
        chosen: list[int] = []
        for carton in range(self.count):
            if carton in taken:
                continue
            mine = next(k for k in best if carton in self.takings[k].covers)
            open_ones = [
                k for k in self.covering[carton] if not taken & set(self.takings[k].covers)
            ]
            if open_ones[0] != mine:
                rank = np.zeros(len(self.takings))
                rank[open_ones] = np.arange(len(open_ones))
                better = self.solve(rank, fixed, total)
                if better is not None:  # else the limit was reached: keep what there is
                    best = better
                    mine = next(k for k in best if carton in self.takings[k].covers)
            fixed[mine] = 1.0
            taken |= set(self.takings[mine].covers)
            chosen.append(mine)
        return tuple(chosen)


def _each_first(takings: Sequence[Taking], count: int) -> list[tuple[int, int]]:
    """Pairs of takings that would each have to come before the other: the shortest rings."""
    covers, after, before = (np.zeros((len(takings), count), bool) for _ in range(3))
    for k, taking in enumerate(takings):
        covers[k, list(taking.covers)] = True
        after[k, list(taking.after)] = True
        before[k, list(taking.before)] = True

    def meet(one: NDArray[np.bool_], other: NDArray[np.bool_]) -> NDArray[np.bool_]:
        return np.any(one[:, None] & other[None], axis=2)

    first = meet(before, covers) | meet(covers, after)
    pairs = np.argwhere(first & first.T & ~meet(covers, covers))
    return [(int(a), int(b)) for a, b in pairs if a < b]


def _ring(takings: Sequence[Taking], chosen: tuple[int, ...]) -> tuple[int, ...]:
    """A shortest ring of takings that each have to come before the next; empty if none."""
    of = {carton: k for k in chosen for carton in takings[k].covers}
    later: dict[int, set[int]] = {k: set() for k in chosen}
    for k in chosen:
        for carton in takings[k].before:
            later[k].add(of[carton])
        for carton in takings[k].after:
            later[of[carton]].add(k)
    best: tuple[int, ...] = ()
    for start in chosen:
        path = _way_back(later, start)
        if path and (not best or len(path) < len(best)):
            best = path
    return best


def _way_back(later: dict[int, set[int]], start: int) -> tuple[int, ...]:
    """The shortest way from a taking round to itself."""
    came: dict[int, int] = {}
    edge = [start]
    while edge:
        following: list[int] = []
        for here in edge:
            for there in sorted(later[here]):
                if there == start:
                    path = [here]
                    while path[-1] != start:
                        path.append(came[path[-1]])
                    return tuple(sorted(path))
                if there not in came:
                    came[there] = here
                    following.append(there)
        edge = following
    return ()
