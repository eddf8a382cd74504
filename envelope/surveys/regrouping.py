"""One layer taken in groups: the fewest cycles, without what was refused, in one of two orders."""

import math
from collections.abc import Collection
from dataclasses import dataclass, field

from ..checks.finding import Finding
from ..palletizing.group import Group
from ..palletizing.pairing import Grouping, fewest_cycles, in_order
from ..palletizing.pattern import Pattern, Spot, Vector
from ..palletizing.takings import SHIFT, Layer, Taking
from .carryable import Carryable
from .layers import SingleLayer

# What depends on which cartons of the layer stand already, so that another order may cure it.
_BY_ORDER = ("approach", "collision")


class Solver:
    """The fewest cycles of layers; equal layers are solved once.

    Args:
        carried: Which groups may be carried.
        in_parts: Whether groups may also be put down in parts.
        shift: How far a carton may stand off its place when it comes in a group [m].
    """

    def __init__(self, carried: Carryable, in_parts: bool = False, shift: float = SHIFT) -> None:
        self._groups: tuple[Group, ...] = (*carried.several, *carried.singles)
        self._in_parts, self._shift = in_parts, shift
        self._takings: dict[tuple[Pattern, Vector], tuple[Taking, ...]] = {}
        self._answers: dict[tuple[Pattern, Vector, frozenset[int]], Grouping | None] = {}

    def takings(self, layer: SingleLayer) -> tuple[Taking, ...]:
        """Every way to take a group from a layer."""
        key = (layer.spots, layer.towards_arm)
        if key not in self._takings:
            made = Layer(layer.spots, layer.towards_arm, self._shift)
            self._takings[key] = made.takings(self._groups, self._in_parts)
        return self._takings[key]

    def best(self, layer: SingleLayer, barred: Collection[int]) -> Grouping:
        """The fewest cycles. Raises ValueError where there is no way at all."""
        key = (layer.spots, layer.towards_arm, frozenset(barred))
        if key not in self._answers:
            found = fewest_cycles(len(layer.spots), self.takings(layer), barred)
            self._answers[key] = found
        found = self._answers[key]
        if found is None:
            raise ValueError(f"no order leads through layer {layer.number} of {layer.pallet}")
        return found


@dataclass(slots=True)
class LayerSearch:
    """The search for one layer.

    Attributes:
        barred: Takings that failed a check.
        turned: Whether the layer is laid from the other end of its rows.
        pattern: How it is taken now; order: the taking of each of its spots.
        proved: Whether nothing that is not barred takes fewer cycles.
    """

    layer: SingleLayer
    solver: Solver
    barred: set[int] = field(default_factory=set[int])
    turned: bool = False
    pattern: Pattern = ()
    order: tuple[int, ...] = ()
    proved: bool = False
    _failed_before: frozenset[int] = frozenset()
    _hopeless: frozenset[int] = frozenset()

    def __post_init__(self) -> None:
        self.solve()

    def solve(self) -> None:
        """Take the layer in the fewest cycles without what is barred."""
        found = self.solver.best(self.layer, self.barred)
        self.proved = found.proved
        self.turned = False
        self._lay(found.chosen)

    def _lay(self, chosen: Collection[int]) -> None:
        takings = self.solver.takings(self.layer)
        arm = self.layer.towards_arm
        of = {takings[k].spot: k for k in chosen}
        self.pattern = in_order(
            [takings[k] for k in chosen], from_other_end(arm) if self.turned else arm
        )
        self.order = tuple(of[spot] for spot in self.pattern)

    def taking(self, index: int) -> Taking:
        """A taking of the layer by its index."""
        return self.solver.takings(self.layer)[index]

    def spot(self, cycle: int) -> Spot:
        """What is put down in a cycle of the layer, from 0."""
        return self.pattern[cycle]

    @property
    def stuck(self) -> frozenset[int]:
        """Takings that are chosen although they fail: nothing else brings their cartons."""
        return frozenset(self.order) & self._hopeless

    def refuse(self, failed: dict[int, Finding]) -> frozenset[int]:
        """Go on after some cycles of the layer, by number from 0, have failed a check.

        Where another order may cure it, that comes first; then what fails is barred, and the
        layer is solved again. See `stuck` for whether that leads on.

        Returns:
            Takings that are barred now and were not before.
        """
        failing = frozenset(self.order[cycle] for cycle in failed)
        anyhow = frozenset(self.order[k] for k, f in failed.items() if f.check not in _BY_ORDER)
        if not anyhow and not self.turned and self._other_order():
            self._failed_before = failing
            return frozenset()
        before = self._failed_before if self.turned else failing
        fresh = anyhow - self.barred or (failing & before) - self.barred
        if not fresh:
            ways = (before - self.barred, failing - self.barred)
            fresh = min((way for way in ways if way), key=len, default=frozenset[int]())
        self._hopeless |= anyhow if fresh else failing
        self.barred |= fresh
        self.solve()
        return fresh

    def _other_order(self) -> bool:
        """Lay the same from the other end of its rows; whether that is another order."""
        before = self.pattern
        self.turned = True
        self._lay(self.order)
        return self.pattern != before


def from_other_end(towards_arm: Vector) -> Vector:
    """The direction that gives the same rows, each begun at its other end."""
    ax, ay = towards_arm
    along = abs(ax) >= abs(ay)
    minor = ay if along else ax
    major = abs(ax if along else ay)
    # `order.ordered` takes a direction of next to nothing for the greater side.
    other = -0.5 * major if minor >= -0.05 * math.hypot(ax, ay) else 0.5 * major
    return (ax, other) if along else (other, ay)
