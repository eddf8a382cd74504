"""The set-up sheet: the infeed seen from the side, as lines of letters."""

from collections.abc import Sequence

from ..motion.detectors import Detector, Seen, Sight
from ..palletizing.group import Group

_ACROSS = 62  # characters for the way from the stop to the last carton's end
_WIDEST = 92  # characters that paper holds
_STOP = "stop|"
_SHORTEST = 3  # characters of a carton: its number between two ends


def infeed_drawing(groups: Sequence[Group], told: Seen) -> tuple[str, ...]:
    """Cartons of each group as they wait, and the detectors above them.

    Empty where beams do not go across the belt: then a view from the side hides cartons.
    """
    if not told.detectors or any(detector.across is not None for detector in told.detectors):
        return ()
    ends = [sight.carton.high[0] for sight in told.sights]
    far = max([*ends, *(detector.at for detector in told.detectors)])
    scale = _ACROSS / far
    lines = [*_names(told.detectors, scale), _marks(told.detectors, scale)]
    for group in groups:
        row = f"{_cartons(told.of_group(group.name), scale)}  {group.name}"
        lines.append(row if len(row) <= _WIDEST else f"{row[: _WIDEST - 3]}...")
    return (*lines, f"{'':<{len(_STOP)}}<-- travel")


def _column(at: float, scale: float) -> int:
    return len(_STOP) + int(at * scale)


def _names(detectors: Sequence[Detector], scale: float) -> list[str]:
    """Their names, each above its mark; on a further line where they would run together."""
    lines: list[str] = []
    for detector in detectors:
        column = _column(detector.at, scale)
        row = next((k for k, line in enumerate(lines) if len(line) < column), len(lines))
        if row == len(lines):
            lines.append("")
        lines[row] = f"{lines[row]:<{column}}{detector.name}"
    return lines[::-1]


def _marks(detectors: Sequence[Detector], scale: float) -> str:
    columns = {_column(detector.at, scale) for detector in detectors}
    return "".join("v" if k in columns else " " for k in range(max(columns) + 1))


def _cartons(sights: Sequence[Sight], scale: float) -> str:
    line = _STOP
    for sight in sights:
        low, high = (_column(x, scale) for x in (sight.carton.low[0], sight.carton.high[0]))
        width = max(high - max(low, len(line)), _SHORTEST)
        line = f"{line:<{low}}[{sight.number!s:=^{width - 2}}]"
    return line
