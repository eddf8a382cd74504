"""Which groups may be carried: those of the cell file, and the usual rows of two and three."""

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from ..cell.errors import CellError
from ..cell.model import Cell
from ..cell.regrouping import free_name
from ..cell.variants import CellFile
from ..palletizing.group import Carton, Group, Item
from .errors import SurveyError

# Along: one behind the other by the carton's length. Common practice, no source.
USUAL = (("pair along", 2, "x"), ("pair across", 2, "y"), ("row of three", 3, "x"))
_NEAR = 0.02  # [m]: cartons of a row stand no farther apart, and no more out of line
_LEVEL = 1e-3  # [rad]


@dataclass(frozen=True, slots=True, eq=False)
class Carryable:
    """Groups that layers may be taken in.

    Attributes:
        several: Groups of more than one carton, in the order in which ties are decided.
        singles: Groups of one, for each carton type at least one.
        written: Those of both that the cell file lacks, as its plain data.
        lacking: Groups that cannot be carried, and why.
    """

    several: tuple[Group, ...]
    singles: tuple[Group, ...]
    written: Mapping[str, Any]
    lacking: tuple[tuple[str, str], ...]

    def single_of(self) -> dict[Carton, Group]:
        """For each carton type the first group that carries one of it."""
        return {group.items[0].carton: group for group in reversed(self.singles)}

    def only(self, names: Collection[str]) -> "Carryable":
        """Only groups of these names; of cartons that none of them carries singly, all singles.

        Raises:
            SurveyError: A name stands for no group.
        """
        known = [group.name for group in (*self.several, *self.singles)] + [*dict(self.lacking)]
        for name in names:
            if name not in known:
                listed = ", ".join(f'"{one}"' for one in known)
                raise SurveyError(f'there is no group "{name}"; name some of {listed}')
        named = [group for group in self.singles if group.name in names]
        served = {group.items[0].carton for group in named}
        return Carryable(
            tuple(group for group in self.several if group.name in names),
            tuple(g for g in self.singles if g in named or g.items[0].carton not in served),
            self.written,
            tuple(entry for entry in self.lacking if entry[0] in names),
        )

    def added(self, groups: Sequence[Group]) -> dict[str, Any]:
        """What must be added to the cell file for some groups."""
        names = {group.name for group in groups}
        return {name: part for name, part in self.written.items() if name in names}


def carryable(
    file: CellFile, cell: Cell, names: Sequence[str] | None = None, *, usual: bool | None = None
) -> Carryable:
    """What may be carried.

    Args:
        file: The cell file.
        cell: The cell of it.
        names: Only these, and single cartons for what is left over; by default all.
        usual: Whether the usual rows belong to it; by default where the file writes no group of
            more than one carton.

    Raises:
        SurveyError: A name stands for no group.
    """
    cartons = tuple(
        dict.fromkeys(
            carton for p in cell.pallets for q in p.placements for carton, _ in q.carton_poses()
        )
    )
    own = [group for group in cell.groups if {i.carton for i in group.items} <= {*cartons}]
    several = [group for group in own if len(group.items) > 1]
    singles, written = _singles(cell, own, cartons)
    strange = [group.name for group in cell.groups if group not in own]
    lacking = [(name, "no layer has all of its cartons") for name in strange]
    if usual or (usual is None and not several) or _asks_usual(names, own):
        more, parts, unheld = _usual(file, cell, cartons)
        several += more
        written |= parts
        lacking += unheld
    every = Carryable(tuple(several), tuple(singles), written, tuple(lacking))
    return every if names is None else every.only(names)


def _asks_usual(names: Sequence[str] | None, own: Sequence[Group]) -> bool:
    return names is not None and bool({*names} - {group.name for group in own})


def _singles(
    cell: Cell, own: Sequence[Group], cartons: Sequence[Carton]
) -> tuple[list[Group], dict[str, Any]]:
    """Groups of one carton: the file's, or one for each type that has none."""
    singles = [group for group in own if len(group.items) == 1]
    written: dict[str, Any] = {}
    taken = {group.name for group in cell.groups}
    for carton in cartons:
        if any(group.items[0].carton == carton for group in singles):
            continue
        name = carton.name  # a carton's name stands for a group of one, unless it is taken
        if name in taken:
            name = free_name(f"single {carton.name}", taken)
            written[name] = {"row": {"carton": carton.name, "count": 1}}
        taken.add(name)
        # The door gives it its grip field; only its outline is asked for here.
        singles.append(Group(name, (Item(carton, 0.0, 0.0),), ((),)))
    return singles, written


def _usual(
    file: CellFile, cell: Cell, cartons: Sequence[Carton]
) -> tuple[list[Group], dict[str, Any], list[tuple[str, str]]]:
    """The usual rows that the file lacks: groups, plain data; which the tool cannot hold."""
    groups: list[Group] = []
    written: dict[str, Any] = {}
    lacking: list[tuple[str, str]] = []
    taken = {group.name for group in cell.groups} | {carton.name for carton in cell.cartons}
    for name, part, carton, row in _rows(cartons):
        if any(is_row(group, carton, *row) for group in cell.groups):
            continue
        own = free_name(name, taken)
        try:
            made = file.with_values({("groups", own): part}).cell()
        except CellError as error:
            lacking.append((own, f"the tool cannot hold it: {error.problems[0].found}"))
            continue
        groups.append(next(group for group in made.groups if group.name == own))
        written[own] = part
    return groups, written, lacking


def _rows(
    cartons: Sequence[Carton],
) -> Iterator[tuple[str, dict[str, Any], Carton, tuple[int, str]]]:
    """Name, plain data, carton, count and axis of each usual row."""
    for name, count, axis in USUAL:
        for carton in cartons:
            own = name if len(cartons) == 1 else f"{name} of {carton.name}"
            row = {"carton": carton.name, "count": count, "along": axis}
            yield own, {"row": row, "turns": [0, 180]}, carton, (count, axis)


def is_row(group: Group, carton: Carton, count: int, axis: str) -> bool:
    """Whether a group is a row of so many of a carton along its x or y, side by side."""
    if len(group.items) != count or any(item.carton != carton for item in group.items):
        return False
    main = 0 if axis == "x" else 1
    if any(abs(math.sin(item.yaw)) > _LEVEL for item in group.items):
        return False
    places = sorted(((item.x, item.y) for item in group.items), key=lambda place: place[main])
    return all(
        abs(there[main] - here[main] - carton.size[main]) < _NEAR
        and abs(there[1 - main] - here[1 - main]) < _NEAR
        for here, there in pairwise(places)
    )
