"""A layer drawn in characters, for the terminal."""

import math
from collections.abc import Sequence

from .footprint import Quad, bounds, rectangle
from .group import Placement

_ASPECT = 2.0  # a character is about twice as high as wide


class _Canvas:
    """Rows of characters over a rectangle of the pallet's frame, y upwards."""

    def __init__(self, box: tuple[float, float, float, float], columns: int) -> None:
        x0, y0, x1, y1 = box
        self._origin = (x0, y1)
        self._scale = (columns - 1) / max(x1 - x0, 1e-9)
        rows = max(round((y1 - y0) * self._scale / _ASPECT), 1) + 1
        self._cells = [[" "] * columns for _ in range(rows)]

    def at(self, x: float, y: float) -> tuple[int, int]:
        """Column and row of a point."""
        column = round((x - self._origin[0]) * self._scale)
        row = round((self._origin[1] - y) * self._scale / _ASPECT)
        return (
            min(max(column, 0), len(self._cells[0]) - 1),
            min(max(row, 0), len(self._cells) - 1),
        )

    def edge(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        """A side of a carton: its corners, and what is drawn between them."""
        (c0, r0), (c1, r1) = self.at(*start), self.at(*end)
        mark = "-" if r0 == r1 else "|" if c0 == c1 else "."
        steps = max(abs(c1 - c0), abs(r1 - r0), 1)
        for k in range(steps + 1):
            column, row = round(c0 + (c1 - c0) * k / steps), round(r0 + (r1 - r0) * k / steps)
            if self._cells[row][column] != "+":
                self._cells[row][column] = "+" if k in (0, steps) else mark

    def write(self, x: float, y: float, text: str) -> None:
        """A text centred on a point."""
        column, row = self.at(x, y)
        first = min(max(column - len(text) // 2, 0), len(self._cells[0]) - len(text))
        for k, letter in enumerate(text):
            self._cells[row][first + k] = letter

    def __str__(self) -> str:
        return "\n".join("".join(row).rstrip() for row in self._cells)


def tier_sheet(
    placements: Sequence[Placement], deck: tuple[float, float] | None = None, columns: int = 60
) -> str:
    """The cartons of some placements, seen from above, x to the right and y upwards.

    Each carton carries the number of its placement, the last part of the placement's id.

    Args:
        placements: Of one layer.
        deck: Length and width of the deck [m], drawn as the frame; None for none.
        columns: Width of the drawing.

    Returns:
        Lines without trailing blanks, without a newline at the end; "" of nothing.
    """
    marked: list[tuple[str, Quad]] = []
    for placement in placements:
        for carton, pose in placement.carton_poses():
            yaw = math.atan2(pose[1, 0], pose[0, 0])
            quad = rectangle((float(pose[0, 3]), float(pose[1, 3])), carton.size[:2], yaw)
            marked.append((placement.id.rsplit("/", 1)[-1], quad))
    frame = [] if deck is None else [rectangle((deck[0] / 2, deck[1] / 2), deck, 0.0)]
    quads = [quad for _, quad in marked]
    if not quads and not frame:
        return ""
    canvas = _Canvas(bounds([*frame, *quads]), columns)
    for quad in [*frame, *quads]:
        for k in range(4):
            canvas.edge(quad[k - 1], quad[k])
    for text, quad in marked:
        x0, y0, x1, y1 = bounds([quad])
        canvas.write((x0 + x1) / 2, (y0 + y1) / 2, text)
    return str(canvas)
