"""The operating space in words and numbers."""

import math
from collections.abc import Iterator
from textwrap import wrap
from typing import NamedTuple

import numpy as np

from ..geometry.sweep import FLOOR
from ..surveys.guard_hints import Hint
from ..surveys.space import Extreme, Space, Swept
from ..surveys.space_clearance import FARTHEST, Nearest
from ..surveys.space_views import Outline
from .text import printable

CAUTION = (
    "Planning estimate. Not a risk assessment and not a safety calculation. Stopping times and "
    "distances must be measured on the built cell. Guarding, separation and layout are for a "
    "competent person to settle under the current edition of the applicable standards, local "
    "codes and law; where a licensed or authorised professional is required, their judgement "
    "governs."
)
WHAT = (
    "Operating space (ISO 8373): what arm, tool and groups sweep doing this job, of the bodies as "
    "modelled. It is not the maximum space of the arm, and no safeguarded or restricted space."
)
_BAND = 0.25  # [m]: height of a row of the table


def as_text(
    name: str,
    space: Space,
    plan: Outline,
    near: tuple[Nearest, ...],
    hinted: tuple[Hint, ...] = (),
    width: int = 100,
) -> str:
    """The whole answer.

    Args:
        name: Of the cell.
        space: Its operating space.
        plan: The outline on the floor.
        near: What is nearest to each obstacle.
        hinted: What is hinted at about distances that concern people.
        width: Of the page, in letters.
    """
    lines = [name, "", *wrap(WHAT, width), *_facts(space, plan), "", *_bands(space.swept), ""]
    if near:
        lines += [*_nearest(near), ""]
    for hint in hinted:
        lines += wrap(f"Hint: {hint.lines[0]}", width, subsequent_indent="    ")
        for line in hint.lines[1:]:
            lines += wrap(line, width, initial_indent="    ", subsequent_indent="    ")
    lines += [""] if hinted else []
    for note in space.notes:
        lines += wrap(f"Note: {note}", width, subsequent_indent="    ")
    lines += wrap(CAUTION, width)
    return "".join(printable(line) + "\n" for line in lines)


def up(metres: float) -> int:
    """To whole mm, not less."""
    return math.ceil(round(metres * 1e3, 6))


def down(metres: float) -> int:
    """To whole mm, not more."""
    return math.floor(round(metres * 1e3, 6))


def where(extreme: Extreme) -> str:
    """What gets there and when, in words."""
    when = [part for part in (extreme.placement, extreme.segment) if part]
    return ", ".join([extreme.body, *when])


class Fact(NamedTuple):
    """One thing that it takes up: a number with its unit, or a span; and more about it."""

    name: str
    number: str
    unit: str
    more: str = ""


def facts(space: Space, plan: Outline) -> Iterator[Fact]:
    """What it takes up."""
    low, high = space.swept.box()
    yield Fact("greatest height", f"{up(space.highest.height)}", "mm", where(space.highest))
    if space.lowest is not None:
        lowest = f"{down(space.lowest.height)}"
        yield Fact("lowest of tool and groups", lowest, "mm", where(space.lowest))
    for axis, letter in enumerate("xy"):
        yield Fact(f"along {letter}", "", "", f"{down(low[axis])} to {up(high[axis])} mm")
    yield Fact("floor under it", f"{plan.area:.2f}", "m2")
    yield Fact("volume", f"{space.swept.volume:.2f}", "m3")


def exactness(space: Space) -> str:
    """How far it may be from the exact one."""
    return (
        "the solid contains the exact one, and no point of it is farther than "
        f"{up(space.swept.tolerance)} mm from that"
    )


def _facts(space: Space, plan: Outline) -> Iterator[str]:
    """The same as lines, values below each other."""
    yield ""
    for name, number, unit, more in facts(space, plan):
        if number:
            yield f"{name:<25}{number:>10} {unit}  {more}".rstrip()
        else:
            yield f"{name:<28} {more}"
    told = exactness(space)
    yield f"{told[:1].upper()}{told[1:]}."


def _bands(found: Swept) -> Iterator[str]:
    """The height profile in lines."""
    yield "height profile [mm]"
    yield f"{'between heights':>17}  {'x from':>7} {'to':>7}  {'y from':>7} {'to':>7}  {'m2':>6}"
    for (bottom, top, *ends), area in bands(found):
        yield (
            f"{bottom:>7} to {top:>6}  {ends[0]:>7} {ends[1]:>7}  "
            f"{ends[2]:>7} {ends[3]:>7}  {area:>6.2f}"
        )


def bands(found: Swept) -> Iterator[tuple[tuple[int, ...], float]]:
    """What is covered between heights: bottom, top, x and y from and to [mm], and area [m2]."""
    low, high = found.box()
    first = math.floor(low[2] / _BAND)
    edges = found.grid.edges(2)
    for band in range(math.ceil(high[2] / _BAND) - 1, first - 1, -1):
        bottom, top = band * _BAND, (band + 1) * _BAND
        levels = (edges[1:] > bottom + 1e-9) & (edges[:-1] < top - 1e-9)
        covered = found.taken[:, :, levels].any(axis=2)
        if not covered.any():
            continue
        ends: list[int] = []
        for axis, seen in enumerate((covered, covered.T)):
            cells = np.flatnonzero(seen.any(axis=-1))
            sides = found.grid.edges(axis)
            ends += [
                down(max(float(sides[cells[0]]), float(low[axis]))),
                up(min(float(sides[cells[-1] + 1]), float(high[axis]))),
            ]
        area = float(covered.sum()) * found.grid.side**2
        yield (round(bottom * 1e3), round(top * 1e3), *ends), area


def _nearest(near: tuple[Nearest, ...]) -> Iterator[str]:
    """A line for each obstacle, the nearest first."""
    yield "smallest clearance to what stands [mm], proved over all motion"
    first = max(len(found.name) for found in near)
    for found in sorted(near, key=lambda found: (found.lower, found.name)):
        when = ", ".join(part for part in (found.mover, found.placement, found.segment) if part)
        yield f"  {found.name:<{first}}  {clearance(found):<18}  {when}".rstrip()


def clearance(found: Nearest) -> str:
    """A clearance in words."""
    if found.upper is None:
        return f"more than {down(FARTHEST)}"
    if found.lower == -math.inf:
        return "inside it"
    if found.lower <= FLOOR:
        return f"deeper than {-down(FLOOR)}"
    low = math.floor(round(found.lower * 1e4, 6)) / 10
    return f"{low:g} to {math.ceil(round(found.upper * 1e4, 6)) / 10:g}"
