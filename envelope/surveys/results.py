"""What surveys find, as frozen data, and as JSON: mm, deg, cartons/min."""

import json
import math
from dataclasses import dataclass, fields, is_dataclass
from typing import TYPE_CHECKING, Any, TypeAlias, cast

from .grouped import GroupsSurvey
from .judging import Judgement
from .plan import Outline
from .ranges import Range

if TYPE_CHECKING:
    from .remedy import RemedySurvey

    Survey: TypeAlias = "BaseSurvey | StackSurvey | ReachSurvey | GroupsSurvey | RemedySurvey"

FORMAT = 1
DECIMALS = 4


@dataclass(frozen=True, slots=True)
class Variant:
    """One variant of the cell, and how far it was looked into.

    Attributes:
        settings: Key and value of each ranged key, as written in the cell file.
        placements: How many placements it has (0 where it is not a cell).
        reached: Of these, of which the waypoints are in range of the joints: at most so many
            can pass. None where this was not asked first.
        waypoint_room: Least joint room at the waypoints; motion leaves as much or less [deg]. None
            of an arm with a slide too: mm and deg do not add up to one number.
        judgement: None where it cannot be as good as the best, so that it was not computed.
    """

    settings: tuple[tuple[str, str], ...]
    placements: int
    reached: int | None
    waypoint_room: float | None
    judgement: Judgement | None

    @property
    def complete(self) -> bool:
        """Whether every placement was judged."""
        return self.judgement is not None and self.judgement.depth in ("verdicts", "values")

    @property
    def failed(self) -> int | None:
        """How many placements fail; at least so many unless it is complete. None: unknown."""
        known = [self.placements - self.reached] if self.reached is not None else []
        if self.judgement is not None:
            if self.judgement.depth == "not a cell":
                return None
            known.append(self.judgement.failed)
        return max(known, default=None)

    def value(self, key: str) -> float:
        """The number a key is set to. Raises KeyError."""
        return float(dict(self.settings)[key])


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far the best may be off along one key before more fails, the others left as they are.

    Attributes:
        below, above: Largest departure that was tried and found as good, in the file's units.
        fails_below, fails_above: Least departure found worse; None where none was within the
            range that was surveyed.
    """

    key: str
    below: float
    above: float
    fails_below: float | None
    fails_above: float | None


@dataclass(frozen=True, slots=True)
class BaseSurvey:
    """Where the arm may stand, or what other values do.

    Attributes:
        sha256: Of the cell as it stands, without the ranged values.
        variants: All of them, the last range running fastest.
        ranked: Indices of the variants that were judged completely, the best first.
        plan: What stands in the cell as drawn.
        poses, solutions: How many tool poses the reach stage solved, and answers it looked at.
    """

    cell_name: str
    sha256: str
    prefer: str
    ranges: tuple[Range, ...]
    variants: tuple[Variant, ...]
    ranked: tuple[int, ...]
    tolerances: tuple[Tolerance, ...]
    plan: tuple[Outline, ...]
    poses: int
    solutions: int

    @property
    def best(self) -> Variant:
        """The best variant. Raises IndexError if none is a cell."""
        return self.variants[self.ranked[0]]


@dataclass(frozen=True, slots=True)
class Stop:
    """Why a placement fails: its worst finding, in the finding's own unit.

    Attributes:
        segment: Name of the segment it is met on; "" where it belongs to none.
        between: The two bodies, by scene name; both "" where there are none.
    """

    placement: str
    layer: int
    check: str
    value: float | None
    limit: float | None
    unit: str
    message: str
    segment: str = ""
    between: tuple[str, str] = ("", "")


@dataclass(frozen=True, slots=True)
class Height:
    """One number of layers, for one variant.

    Attributes:
        layers: How many.
        top: Height of the highest stack over the floor [mm].
        stops: What fails, from the bottom up; filled in for the first height that fails.
    """

    layers: int
    top: float
    judgement: Judgement
    stops: tuple[Stop, ...] = ()

    @property
    def is_cell(self) -> bool:
        """Whether there is such a cell; fewer layers than stand already are none."""
        return self.judgement.depth != "not a cell"

    @property
    def passes(self) -> bool:
        """Whether every placement was judged and nothing failed."""
        judged = self.judgement.depth in ("verdicts", "values")
        return judged and self.judgement.failures == (0, False)

    @property
    def fails(self) -> bool:
        """Whether it is a cell of which a placement fails, or the whole."""
        return self.is_cell and not self.passes


@dataclass(frozen=True, slots=True)
class Column:
    """All heights of one variant, from the bottom up.

    Attributes:
        untried: Numbers of layers that were not tried, a lower stack having failed.
        trouble: Why it is not a cell at any height.
    """

    settings: tuple[tuple[str, str], ...]
    heights: tuple[Height, ...]
    untried: tuple[int, ...] = ()
    trouble: str = ""

    @property
    def serves(self) -> int:
        """The most layers such that these and all fewer that were tried pass."""
        most = 0
        for height in self.heights:
            if height.fails or (most and not height.is_cell):
                break
            most = height.layers if height.passes else most
        return most

    @property
    def stopped_at(self) -> Height | None:
        """The first height that fails."""
        return next((height for height in self.heights if height.fails), None)


@dataclass(frozen=True, slots=True)
class StackSurvey:
    """How many layers pass, and what stops the next one."""

    cell_name: str
    sha256: str
    ranges: tuple[Range, ...]
    columns: tuple[Column, ...]

    @property
    def best(self) -> int:
        """Index of the column that serves most layers, the first of equals."""
        return max(range(len(self.columns)), key=lambda k: (self.columns[k].serves, -k))


@dataclass(frozen=True, slots=True)
class ReachMap:
    """What the arm reaches at one height, over a grid of places of the group's centre.

    Attributes:
        height: Of the group's top face over the floor [mm].
        layers: Pallet and layer whose placements lie at that height.
        group: Name of the group that hangs on the tool.
        turns: How many turns of the tool are in range at each place, by row (y) and column (x).
        room: Largest joint room over these turns [deg]; None where there is none. Room of a
            joint that slides counts as an angle.
        outlines: Placements of these layers.
    """

    height: float
    layers: tuple[tuple[str, int], ...]
    group: str
    turns: tuple[tuple[int, ...], ...]
    room: tuple[tuple[float | None, ...], ...]
    outlines: tuple[Outline, ...]

    def area(self, step: float, least: int = 1) -> float:
        """Area in which at least so many turns are in range [m2], the grid's step in mm."""
        places = sum(count >= least for row in self.turns for count in row)
        return places * (step / 1e3) ** 2


@dataclass(frozen=True, slots=True)
class ReachSurvey:
    """What the arm reaches with tool and group hanging straight down.

    Attributes:
        step: From one place of the grid to the next [mm].
        x, y: Places of the grid in the world [mm].
        tried: How many turns of the tool were tried at each place.
        base: Where the arm stands (x, y) [mm].
        slide_worth: What 1 mm of room of a slide counts as [deg]; None where all joints turn.
    """

    cell_name: str
    sha256: str
    step: float
    x: tuple[float, ...]
    y: tuple[float, ...]
    tried: int
    base: tuple[float, float]
    maps: tuple[ReachMap, ...]
    plan: tuple[Outline, ...]
    slide_worth: float | None = None


def as_json(survey: "Survey") -> str:
    """A survey as a file that other programs read; the same survey gives the same bytes."""
    kind = type(survey).__name__.removesuffix("Survey").lower()
    head = {"format": FORMAT, "survey": kind}
    lines: list[str] = []
    for field in fields(survey):
        value: Any = getattr(survey, field.name)
        if isinstance(value, tuple) and value and is_dataclass(cast(Any, value[0])):
            rows = ",\n".join(_dump(_plain(item)) for item in cast(tuple[Any, ...], value))
            lines.append(f"{_dump(field.name)}: [\n{rows}\n]")
        else:
            lines.append(f"{_dump(field.name)}: {_dump(_plain(value))}")
    return _dump(head)[:-1] + ",\n" + ",\n".join(lines) + "}\n"


def _dump(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _plain(value: Any) -> Any:
    """Dataclasses as mappings, tuples as lists, numbers rounded."""
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple):
        return [_plain(item) for item in cast(tuple[Any, ...], value)]
    if isinstance(value, float):
        return round(value, DECIMALS) + 0.0 if math.isfinite(value) else None
    return value
