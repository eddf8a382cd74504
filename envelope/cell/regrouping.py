"""A cell file whose layers are taken in other groups: patterns written placement by placement."""

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from ..palletizing.pattern import Pattern, Release, Spot, Vector
from .errors import Key
from .variants import CellFile

_DIGITS = 4  # of a millimetre: far below what lets cartons overlap or part
_TURN = 6  # of a degree


def regrouped(
    file: CellFile, layers: Mapping[str, Sequence[Pattern]], groups: Mapping[str, Any]
) -> CellFile:
    """The file with the layers of its pallets taken as told, in the order told.

    New patterns are added, named after the old ones, which stay as they are; stacks name the
    new ones. Pallets that shared a stack get one each where their layers come to differ.

    Args:
        file: A valid cell file.
        layers: For each pallet its layers, from the bottom, as many as it has.
        groups: Groups to be added, as plain data of the cell file.

    Raises:
        CellError: A value cannot be changed where it stands.
    """
    data = file.data()
    changes: dict[str | Key, Any] = {("groups", name): part for name, part in groups.items()}
    patterns = _Patterns(data["patterns"])
    lists: dict[str, tuple[str, ...]] = {}
    for pallet, part in data["pallets"].items():
        old = data["stacks"][str(part["stack"])]["patterns"]
        made = layers[str(pallet)]
        names = [patterns.name(str(old[k % len(old)]), layer) for k, layer in enumerate(made)]
        lists[str(pallet)] = _period(names)
    for name, pattern in patterns.made.items():
        rows = [_row(spot) for spot in pattern]
        changes["patterns", name] = {"order": "as written", "placements": rows}
    changes.update(_stacks(data, lists))
    return file.with_values(changes)


class _Patterns:
    """The patterns that are new, each once, under names that are free."""

    def __init__(self, there: Mapping[Any, Any]) -> None:
        self._there = {str(name) for name in there}
        self.made: dict[str, Pattern] = {}

    def name(self, old: str, pattern: Pattern) -> str:
        """The name of a pattern that takes the place of an old one."""
        known = next((name for name, each in self.made.items() if each == pattern), None)
        if known is not None:
            return known
        name = free_name(f"{old} in groups", {*self._there, *self.made})
        self.made[name] = pattern
        return name


def free_name(name: str, taken: set[str]) -> str:
    """The name, with a number behind it where it is taken."""
    return next(
        tried
        for number in range(1, len(taken) + 2)
        if (tried := name if number == 1 else f"{name} {number}") not in taken
    )


def _period(names: Sequence[str]) -> tuple[str, ...]:
    """The shortest list that gives these names when it is repeated."""
    for length in range(1, len(names) + 1):
        if all(name == names[k % length] for k, name in enumerate(names)):
            return tuple(names[:length])
    return tuple(names)


def _stacks(data: Any, lists: Mapping[str, tuple[str, ...]]) -> Iterator[tuple[Key, Any]]:
    """Changes that give each pallet the patterns of its layers."""
    taken = {str(name) for name in data["stacks"]}
    given: dict[str, tuple[str, ...]] = {}
    for pallet, part in data["pallets"].items():
        stack, names = str(part["stack"]), lists[str(pallet)]
        if given.setdefault(stack, names) == names:
            yield ("stacks", stack, "patterns"), list(names)
            continue
        own = free_name(f"{stack} {pallet}", taken)
        taken.add(own)
        layers = data["stacks"][stack]["layers"]
        yield ("stacks", own), {"layers": layers, "patterns": list(names)}
        yield ("pallets", str(pallet), "stack"), own


def _row(spot: Spot) -> dict[str, Any]:
    """A spot as a placement of the cell file."""
    row: dict[str, Any] = {"group": spot.group.name}
    if spot.releases:
        parts = [{"cartons": [k + 1 for k in part.items], **_place(part)} for part in spot.releases]
        return {**row, "parts": parts}
    return {**row, **_place(spot)}


def _place(at: Spot | Release) -> dict[str, Any]:
    point = {"x": round(at.x * 1e3, _DIGITS), "y": round(at.y * 1e3, _DIGITS)}
    yaw = round(math.degrees(at.yaw), _TURN)
    if yaw:
        point["yaw"] = yaw
    return {"at": point} if at.approach is None else {"at": point, "approach": _side(at.approach)}


def _side(approach: Vector) -> Any:
    if approach == (0.0, 0.0):
        return "down"
    return [round(value, 9) for value in approach]
