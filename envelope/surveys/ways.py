"""Ways of grouping, before anything is checked: which groups, whole or in parts."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from ..cell.model import Cell
from ..cell.variants import CellFile
from ..palletizing.takings import MOST_IN_PARTS
from .carryable import Carryable, carryable
from .layers import SingleLayer, layers_of, refuse_part_built
from .pairing import written
from .regrouping import LayerSearch, Solver


@dataclass(frozen=True, slots=True)
class Way:
    """One way of grouping.

    Attributes:
        name: As it is shown.
        groups: Groups that may be carried; single cartons are what is left over.
        in_parts: Whether they may be put down in parts.
    """

    name: str
    groups: tuple[str, ...]
    in_parts: bool


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """A way laid out over the layers of a cell.

    Attributes:
        file: The cell file of it; None where there is none.
        trouble: Why not, or what is the same.
        same_as: Another way, listed before, that comes to the same file.
        proved: Whether no other choice of these groups takes fewer cycles.
    """

    way: Way
    file: CellFile | None
    trouble: str = ""
    same_as: str = ""
    proved: bool = True


def laid_out(file: CellFile, lists: Sequence[Sequence[str]] = ()) -> list[Laid]:
    """Every way of grouping, laid out in the fewest cycles.

    Args:
        file: A valid cell file.
        lists: Names of groups that may be carried together, each list a way; by default single
            cartons, the usual rows, each group of the file, and all of these mixed.

    Raises:
        SurveyError: If a pallet is part-built, or a name stands for no group.
        CellError: If the cell file cannot be changed.
    """
    file = file.with_values({}) if file.settings else file
    cell = file.cell()
    refuse_part_built(cell, "survey")
    every = carryable(file, cell, usual=True)
    every.only([name for names in lists for name in names])
    ways = list(_listed(lists) if lists else _usual(every))
    plan = _Plan(file, cell, every)
    made: list[Laid] = []
    for way in ways:
        laid = plan.laid(way)
        twin = next((m for m in made if m.file and laid.file and _same(m.file, laid.file)), None)
        made.append(laid if twin is None else Laid(way, None, "", twin.way.name, laid.proved))
    return made


def _listed(lists: Sequence[Sequence[str]]) -> Iterator[Way]:
    for names in lists:
        yield from _both(" + ".join(names), tuple(names))


def _both(name: str, groups: tuple[str, ...]) -> Iterator[Way]:
    yield Way(name, groups, False)
    yield Way(f"{name}, in parts", groups, True)


def _usual(every: Carryable) -> Iterator[Way]:
    """Single cartons, each group with what is left over, and all groups mixed."""
    yield Way("single cartons", tuple(group.name for group in every.singles), False)
    names = [group.name for group in every.several]
    for name in names:
        yield from _both(name, (name,))
    for name, _ in every.lacking:
        yield Way(name, (name,), False)
    if len(names) > 1:
        yield from _both("mixed", tuple(names))


def _same(one: CellFile, other: CellFile) -> bool:
    return one.content == other.content


class _Plan:
    """Lays ways out over the layers of one cell."""

    def __init__(self, file: CellFile, cell: Cell, every: Carryable) -> None:
        self._file, self._cell, self._every = file, cell, every

    def laid(self, way: Way) -> Laid:
        """A way laid out, or why there is none."""
        lacking = dict(self._every.lacking)
        held = [name for name in way.groups if name not in lacking]
        if not held:
            reasons = dict.fromkeys(lacking[name] for name in way.groups)
            return Laid(way, None, "; ".join(reasons))
        carried = self._every.only(held)
        if way.in_parts and all(len(g.items) > MOST_IN_PARTS for g in carried.several):
            most = f"groups of more than {MOST_IN_PARTS} cartons are not put down in parts"
            return Laid(way, None, most if carried.several else "one carton has no parts")
        solver = Solver(carried, way.in_parts)
        layers = layers_of(self._cell, carried.single_of())
        try:
            return self._solved(way, carried, solver, layers)
        except ValueError as error:
            return Laid(way, None, str(error))

    def _solved(
        self, way: Way, carried: Carryable, solver: Solver, layers: Sequence[SingleLayer]
    ) -> Laid:
        searches = [LayerSearch(layer, solver) for layer in layers]
        patterns = [(search.layer.pallet, search.pattern) for search in searches]
        used = {spot.group.name for _, pattern in patterns for spot in pattern}
        if carried.several and not used & {group.name for group in carried.several}:
            return Laid(way, None, "no cartons of the pattern stand as they do in it")
        proved = all(search.proved for search in searches)
        return Laid(way, written(self._file, carried, patterns), proved=proved)
