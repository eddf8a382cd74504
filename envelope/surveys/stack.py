"""How many layers pass, and what stops the next one."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any

from ..cell.errors import CellError
from ..cell.model import Cell
from ..cell.variants import CellFile
from ..checks.finding import Finding, Judged, failing
from ..verify import check
from .errors import SurveyError
from .judging import Judgement, Request, judge_cell, summed
from .ranges import Range, all_variants, read_range
from .results import Column, Height, StackSurvey, Stop
from .runner import Progress, Runner

MOST_LAYERS = 60  # tried on the way to a height; a stack of more is a slip of the keyboard
_AT_ONCE = 4  # heights of a column that are judged before it is seen whether it goes on
_STOPS = 20  # placements that are told for the first height that fails


@dataclass(frozen=True, slots=True)
class AskedHeights:
    """What a stack survey is asked for.

    Attributes:
        ranges: Other keys that are ranged (mounting heights, say); may be empty.
        layers: Numbers of layers to be tried.
        up_to: Only stacks that are no higher over the floor than this [mm]; None: all.
        complete: Try all of them, also above the first that fails.
    """

    ranges: tuple[Range, ...]
    layers: tuple[int, ...]
    up_to: float | None = None
    complete: bool = False


@dataclass(slots=True)
class _Rising:
    """A column on its way up."""

    settings: tuple[str, ...]
    layers: tuple[int, ...]
    heights: list[Height]
    trouble: str = ""

    def first_failing(self) -> Height | None:
        return next((h for h in self.heights if h.fails), None)


def survey_stack(
    file: CellFile, asked: AskedHeights, runner: Runner[Height], progress: Progress | None = None
) -> StackSurvey:
    """Try stacks of rising height for every variant of a cell.

    Args:
        file: The cell; all stacks on its pallets get the same number of layers.
        asked: Layers and ranges.
        runner: Does the work, and keeps what is done.
        progress: Called with (heights settled, heights in all).

    Raises:
        SurveyError: If ranges are wrong or the runner cannot go on.
        CellError: If no variant is a cell.
    """
    as_it_stands = file.cell()
    settings = all_variants(asked.ranges) if asked.ranges else [()]
    columns = [_Rising(each, asked.layers, []) for each in settings]
    if asked.up_to is not None:
        for column in columns:
            _limit(file, column, asked.up_to)
    _refuse_none(file, columns)
    _climb(file, asked, runner, columns, progress)
    _explain(file, runner, columns)
    made = tuple(_column(column, asked.ranges) for column in columns)
    return StackSurvey(as_it_stands.name, as_it_stands.sha256, asked.ranges, made)


def _limit(file: CellFile, column: _Rising, up_to: float) -> None:
    """Keep only the numbers of layers whose stacks are no higher than a limit [mm]."""
    kept: list[int] = []
    for layers in column.layers:
        try:
            top = top_of(file.cell((*column.settings, *_layered(file, layers))))
        except CellError:
            top = 0.0  # is told when it is judged
        if top > up_to:
            break
        kept.append(layers)
    if not kept:
        raise SurveyError(f"not even {column.layers[0]} layers stay below {up_to:g} mm")
    column.layers = tuple(kept)


def _refuse_none(file: CellFile, columns: Sequence[_Rising]) -> None:
    """Make sure that there is something to judge. Raises CellError if no variant is a cell."""
    first_error: CellError | None = None
    for column in columns:
        # The least may be fewer than stand already, the most higher than is allowed.
        for layers in dict.fromkeys((column.layers[-1], column.layers[0])):
            try:
                file.cell((*column.settings, *_layered(file, layers)))
            except CellError as error:
                first_error = first_error or error
            else:
                return
    if first_error is not None:
        raise first_error


def _climb(
    file: CellFile,
    asked: AskedHeights,
    runner: Runner[Height],
    columns: Sequence[_Rising],
    progress: Progress | None,
) -> None:
    """Judge heights from the bottom up, all columns abreast, until each has one that fails."""
    total = sum(len(column.layers) for column in columns)

    def told(done: int, _: int) -> None:
        if progress is not None:
            progress(settled + done, total)

    while True:
        open_ = [c for c in columns if asked.complete or c.first_failing() is None]
        waiting = [
            (column, layers)
            for column in open_
            for layers in column.layers[len(column.heights) : len(column.heights) + _AT_ONCE]
        ]
        left = sum(len(column.layers) - len(column.heights) for column in open_)
        settled = total - left
        if not waiting:
            return
        requests = [_request(file, column, layers, values=False) for column, layers in waiting]
        for (column, _), height in zip(waiting, _run(file, runner, requests, told), strict=True):
            column.heights.append(height)


def _explain(file: CellFile, runner: Runner[Height], columns: Sequence[_Rising]) -> None:
    """Say in numbers what stops each column at its first height that fails."""
    stopped = [
        (column, place)
        for column in columns
        for place, height in enumerate(column.heights)
        if height is column.first_failing()
    ]
    requests = [
        _request(file, column, column.heights[place].layers, values=True)
        for column, place in stopped
    ]
    for (column, place), height in zip(stopped, _run(file, runner, requests, None), strict=True):
        column.heights[place] = height


# --- one height -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class HeightRequest:
    """One stack height of one variant."""

    layers: int
    request: Request


def _layered(file: CellFile, layers: int) -> tuple[str, ...]:
    return tuple(f"stacks.{name}.layers={layers}" for name in file.stacks())


def _request(file: CellFile, column: _Rising, layers: int, *, values: bool) -> HeightRequest:
    settings = (*column.settings, *_layered(file, layers))
    return HeightRequest(layers, Request(settings, values, None if values else 0))


def _run(
    file: CellFile,
    runner: Runner[Height],
    requests: Sequence[HeightRequest],
    progress: Progress | None,
) -> list[Height]:
    work: Any = partial(judge_height, file)
    names = [each.request.name for each in requests]
    return runner.run(work, requests, names=names, progress=progress)


def judge_height(file: CellFile, asked: HeightRequest) -> Height:
    """Judge one height; this runs in workers."""
    try:
        cell = file.cell(asked.request.settings)
    except CellError as error:
        return Height(asked.layers, 0.0, Judgement("not a cell", trouble=error.problems[0].found))
    if not asked.request.values:
        return Height(asked.layers, top_of(cell), judge_cell(cell, asked.request))
    placements = check(cell).placements
    judgement = summed(cell, placements, values=True)
    return Height(asked.layers, top_of(cell), judgement, _stops(placements))


def top_of(cell: Cell) -> float:
    """Height of the highest stack over the floor [mm]."""
    return max(
        (
            round(float(pallet.world_from_pallet[2, 3] + placement.z) * 1e3, 3)
            for pallet in cell.pallets
            for placement in pallet.placements
        ),
        default=0.0,
    )


def _stops(placements: Sequence[Judged]) -> tuple[Stop, ...]:
    """What fails, from the bottom up, each placement by its worst finding."""
    failed = [judged for judged in placements if failing(judged)]
    failed.sort(key=lambda judged: (judged.placement.layer, judged.placement.order))
    return tuple(_stop(judged) for judged in failed[:_STOPS])


def _stop(judged: Judged) -> Stop:
    bad = [f for f in judged.findings if failing(f)]
    worst = min(bad, key=_below)
    place = judged.placement
    between = worst.between or ("", "")
    return Stop(
        place.id,
        place.layer,
        worst.check,
        _rounded(worst.value),
        _rounded(worst.limit),
        worst.unit,
        worst.message,
        worst.segment or "",
        between,
    )


def _below(finding: Finding) -> tuple[bool, float]:
    """How far a finding is from its limit; what has no number comes last."""
    if finding.value is None or finding.limit is None:
        return True, 0.0
    return False, -abs(finding.value - finding.limit)


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)


def height_to_json(height: Height) -> Any:
    """As plain data for the survey file."""
    return asdict(height)


def height_from_json(data: Any) -> Height:
    """Back from plain data. Raises TypeError, KeyError."""
    told: list[Any] = [{**stop, "between": tuple(stop["between"])} for stop in data["stops"]]
    stops = tuple(Stop(**stop) for stop in told)
    return Height(data["layers"], data["top"], Judgement(**data["judgement"]), stops)


# --- the answer -----------------------------------------------------------------------------------


def _column(column: _Rising, ranges: Sequence[Range]) -> Column:
    values = (setting.partition("=")[2] for setting in column.settings)
    settings = tuple((each.key, value) for each, value in zip(ranges, values, strict=True))
    heights = tuple(column.heights)
    trouble = "" if any(h.is_cell for h in heights) else heights[0].judgement.trouble
    return Column(settings, heights, column.layers[len(heights) :], trouble)


def read_layers(text: str) -> tuple[int, ...]:
    """Numbers of layers: "1:14", "2:10:2", "5,6,7" or "9". Raises SurveyError."""
    parts = text.count(":")
    found = read_range("--layers", f"{text}:1" if parts == 1 else text)
    layers = tuple(int(number) for number in found.numbers)
    if any(number != whole for number, whole in zip(found.numbers, layers, strict=True)):
        raise SurveyError(f"--layers: {text!r} has numbers that are not whole")
    if layers[0] < 1 or layers[-1] > MOST_LAYERS:
        raise SurveyError(f"--layers: {text!r} must lie between 1 and {MOST_LAYERS}")
    return layers


def without_layers(ranges: Sequence[Range]) -> None:
    """Make sure that no other range sets layers. Raises SurveyError."""
    for each in ranges:
        if each.key.startswith("stacks.") and each.key.endswith(".layers"):
            raise SurveyError(f"{each.key}: layers are ranged with --layers")
