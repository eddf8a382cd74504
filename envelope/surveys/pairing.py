"""The best way to take the layers of a cell in groups: fewest cycles, with every check passed."""

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ..cell.model import Cell
from ..cell.regrouping import regrouped
from ..cell.variants import CellFile
from ..checks.finding import Finding, Judged, Result, failing
from ..palletizing.pattern import Spot
from ..verify import check
from .carryable import Carryable, carryable
from .errors import SurveyError
from .layers import layers_of, refuse_part_built
from .regrouping import LayerSearch, Solver

Progress = Callable[[int, int], None]
_CARTON = re.compile(r"carton/(.+)/(\d+)/(\d+)(?:\.\d+)?")


@dataclass(frozen=True, slots=True)
class Place:
    """A group at a place, in words for people; x, y [mm] and yaw [deg] on the pallet."""

    group: str
    pallet: str
    layer: int
    x: float
    y: float
    yaw: float
    parts: int = 1


@dataclass(frozen=True, slots=True)
class Refusal:
    """A group that may not be taken there, and the check that says so."""

    place: Place
    check: str
    message: str


@dataclass(frozen=True, slots=True)
class LayerTaken:
    """How a layer is taken.

    Attributes:
        cartons: How many it has.
        before: Cycles that the cell file takes for it.
        cycles: Cycles that are taken now.
        counts: How often each group is carried.
        proved: Whether nothing but what was refused would take fewer cycles.
    """

    pallet: str
    layer: int
    cartons: int
    before: int
    cycles: int
    counts: tuple[tuple[str, int], ...]
    proved: bool


@dataclass(frozen=True, slots=True, eq=False)
class Pairing:
    """The best way found.

    Attributes:
        layers: Of all pallets, from the bottom.
        refused: Groups that were tried and failed a check, in the order of trying.
        stuck: Those of them without which some cartons cannot be brought at all.
        lacking: Groups that the tool cannot hold, and why.
        file: The cell file as it would be written.
        result: What the check of the whole of that file found.
    """

    cell_name: str
    layers: tuple[LayerTaken, ...]
    refused: tuple[Refusal, ...]
    stuck: tuple[Refusal, ...]
    lacking: tuple[tuple[str, str], ...]
    file: CellFile
    result: Result

    @property
    def passes(self) -> bool:
        """Whether the whole cell was checked, and nothing in it fails."""
        wanted = sum(layer.cycles for layer in self.layers)
        brought = {(j.placement.pallet, j.placement.cycle) for j in self.result.placements}
        good = self.result.verdict in ("pass", "marginal") and not self.stuck
        return good and len(brought) == wanted and all(j.findings for j in self.result.placements)


def pair(
    file: CellFile,
    names: Sequence[str] | None = None,
    *,
    in_parts: bool = False,
    jobs: int = 1,
    progress: Progress | None = None,
) -> Pairing:
    """Take the layers of a cell in groups: the fewest cycles with every check passed.

    A group that fails a check is refused in its layer and the layer is solved again, until
    everything passes or there is no other way. Where an approach or a clearance fails, the
    layer is first tried from the other end of its rows. What passes layer by layer is checked
    once more as a whole.

    Args:
        file: The cell file; its patterns may be of single cartons or of groups.
        names: Groups that may be carried; by default all of the file, or the usual rows.
        in_parts: Whether groups may also be put down in parts.
        jobs: Processes at work. The result does not depend on it.
        progress: Called with (placements checked, placements to be checked), round by round.

    Raises:
        SurveyError: If there is nothing to pair, or a name stands for no group.
        CellError: If the cell file cannot be changed.
    """
    file = file.with_values({}) if file.settings else file
    cell = file.cell()
    refuse_part_built(cell, "pair")
    carried = carryable(file, cell, names)
    if not carried.several:
        raise SurveyError(_nothing_to_carry(carried))
    solver = Solver(carried, in_parts)
    searches = [LayerSearch(layer, solver) for layer in layers_of(cell, carried.single_of())]
    return _Search(file, carried, searches, jobs, progress).finish(cell.name)


def written(
    file: CellFile, carried: Carryable, patterns: Sequence[tuple[str, tuple[Spot, ...]]]
) -> CellFile:
    """The cell file that takes layers, pallet by pallet from the bottom, as told."""
    by_pallet: dict[str, list[tuple[Spot, ...]]] = {}
    for pallet, pattern in patterns:
        by_pallet.setdefault(pallet, []).append(pattern)
    used = {spot.group.name: spot.group for _, pattern in patterns for spot in pattern}
    return regrouped(file, by_pallet, carried.added(tuple(used.values())))


def _nothing_to_carry(carried: Carryable) -> str:
    if carried.lacking:
        why = "; ".join(f'"{name}": {reason}' for name, reason in carried.lacking)
        return f"no group of more than one carton can be carried ({why})"
    return "no group of more than one carton is named; name one, or write one in groups"


class _Search:
    """All layers on their way to a pass."""

    def __init__(
        self,
        file: CellFile,
        carried: Carryable,
        searches: list[LayerSearch],
        jobs: int,
        progress: Progress | None,
    ) -> None:
        self._file, self._carried, self._searches = file, carried, searches
        self._jobs, self._progress = jobs, progress
        self._refused: list[Refusal] = []
        self._why: dict[tuple[int, int], Refusal] = {}  # by layer search and taking

    def finish(self, name: str) -> Pairing:
        """Solve and check until all passes, or nothing leads on."""
        waiting = list(range(len(self._searches)))
        while True:
            everything = len(waiting) == len(self._searches)
            made = self._written()
            cell = made.cell()
            result = self._checked(cell, None if everything else waiting)
            waiting = self._refuse(result, cell)
            stuck = [(n, k) for n, s in enumerate(self._searches) for k in sorted(s.stuck)]
            if (everything and not waiting) or stuck:
                break
            if not waiting:
                waiting = list(range(len(self._searches)))
        layers = tuple(_taken(search) for search in self._searches)
        why = tuple(self._why[key] for key in stuck)
        refused = tuple(self._refused)
        return Pairing(name, layers, refused, why, self._carried.lacking, made, result)

    def _written(self) -> CellFile:
        patterns = [(search.layer.pallet, search.pattern) for search in self._searches]
        return written(self._file, self._carried, patterns)

    def _checked(self, cell: Cell, numbers: Sequence[int] | None) -> Result:
        """What the check finds: of the whole cell, or of some layers."""
        ids = None
        if numbers is not None:
            layers = {
                (s.layer.pallet, s.layer.number) for s in (self._searches[n] for n in numbers)
            }
            ids = [
                placement.id
                for pallet in cell.pallets
                for placement in pallet.placements
                if (placement.pallet, placement.layer) in layers
            ]
        return check(cell, placements=ids, jobs=self._jobs, progress=self._progress)

    def _refuse(self, result: Result, cell: Cell) -> list[int]:
        """Refuse what failed; returns the numbers of the layers that are taken otherwise now."""
        changed: list[int] = []
        for number, search in enumerate(self._searches):
            failed = _failed(search, result, cell)
            if not failed:
                continue
            told = {
                search.order[cycle]: _refusal(search, cycle, finding, cell)
                for cycle, finding in failed.items()
            }
            for index in sorted(search.refuse(failed)):
                self._why[number, index] = told.get(index) or self._why[number, index]
                self._refused.append(self._why[number, index])
            for index, refusal in told.items():
                self._why[number, index] = refusal
            changed.append(number)
        return changed


def _failed(search: LayerSearch, result: Result, cell: Cell) -> dict[int, Finding]:
    """What first fails in each cycle of a layer, by the cycle's number in it from 0."""
    layer = search.layer
    mine = [
        p
        for pallet in cell.pallets
        if pallet.name == layer.pallet
        for p in pallet.placements
        if p.layer == layer.number
    ]
    cycles = {cycle: k for k, cycle in enumerate(dict.fromkeys(p.cycle for p in mine))}
    failed: dict[int, Finding] = {}
    for judged in result.placements:
        placement = judged.placement
        if (placement.pallet, placement.layer) == (layer.pallet, layer.number):
            finding = first_failure(judged)
            if finding is not None:
                failed.setdefault(cycles[placement.cycle], finding)
    return failed


def first_failure(judged: Judged) -> Finding | None:
    """The first finding that is no pass; a placement without any counts as one."""
    if not judged.findings:
        return Finding("check", "not checked", None, None, "", "no check gave an answer")
    return next((f for f in judged.findings if failing(f)), None)


def _refusal(search: LayerSearch, cycle: int, finding: Finding, cell: Cell) -> Refusal:
    place = place_of(search.spot(cycle), search.layer.pallet, search.layer.number)
    return Refusal(place, finding.check, in_words(finding, cell))


def place_of(spot: Spot, pallet: str, layer: int) -> Place:
    """Where a group is put down, for people."""
    x, y = round(spot.x * 1e3, 1), round(spot.y * 1e3, 1)
    yaw = round(spot.yaw * 57.29577951308232, 1) + 0.0
    return Place(spot.group.name, pallet, layer, x, y, yaw, len(spot.parts()))


def in_words(finding: Finding, cell: Cell) -> str:
    """What a finding says, with cartons named by where they stand: numbers change with order."""
    if finding.between is None:
        return finding.message
    message = finding.message
    for name in finding.between:
        message = message.replace(name, _body(name, cell))
    here, there = (_body(name, cell) for name in finding.between)
    return f"{message} ({here} to {there})"


def _body(name: str, cell: Cell) -> str:
    match = _CARTON.fullmatch(name)
    if match is None:
        return name
    number = f"{match[1]}/{match[2]}/{match[3]}"
    for pallet in cell.pallets:
        for placement in pallet.placements:
            if placement.id == number:
                x, y = placement.x * 1e3, placement.y * 1e3
                group = placement.group.name
                return f"{group} at x {x:.0f}, y {y:.0f} of {match[1]}/{match[2]}"
    return name


def _taken(search: LayerSearch) -> LayerTaken:
    layer = search.layer
    counts = Counter(spot.group.name for spot in search.pattern)
    return LayerTaken(
        layer.pallet,
        layer.number,
        len(layer.spots),
        layer.cycles,
        len(search.pattern),
        tuple(sorted(counts.items())),
        search.proved,
    )
