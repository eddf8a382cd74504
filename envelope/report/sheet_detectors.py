"""The set-up sheet: detectors at the infeed, and what they release."""

from collections.abc import Iterator, Sequence
from itertools import product
from textwrap import wrap

from ..cell.model import Cell
from ..checks.finding import Result
from ..motion.detectors import Seen, Sight, seen
from ..motion.setup import groups_of
from ..palletizing.group import Group
from .sheet import Block, Column, Number, Section, length
from .sheet_infeed_drawing import infeed_drawing
from .sheet_leftovers import left_over
from .sheet_wander import how_to_read, wandering

MOST = 5  # detectors whose every combination is listed
_WIDE = 60  # characters of the last column of the truth table


def detectors(cell: Cell, result: Result) -> Section:
    """Where cartons must be seen, what that releases, how far they may wander, what is left."""
    groups = groups_of(cell)
    told = seen(cell, groups)
    blocks = [_places(cell, groups, told)]
    if told.troubles:
        title = "** Detectors: WRONG AS PLANNED, DO NOT RUN **"
        blocks.append(Block(title, told.troubles))
    blocks += [_release(cell, group, told) for group in groups]
    blocks.append(_table(cell, groups, told))
    blocks.append(how_to_read(cell))
    blocks += [wandering(cell, group, told, result) for group in groups]
    blocks.append(left_over(cell, groups, told))
    return Section("detectors", tuple(blocks))


def _places(cell: Cell, groups: Sequence[Group], told: Seen) -> Block:
    own = cell.infeed.detectors
    lanes = any(detector.across is not None for detector in told.detectors)
    where = (
        "Where the middle of each beam sits, from the end stop's face, against the travel. "
        + (
            "Each looks at one carton from above or from below: y is across the belt, in the "
            "infeed frame. "
            if lanes
            else "Beams go across the belt, low enough to meet the lowest carton. "
        )
        + (
            "The cell states these positions."
            if own.positions is not None
            else "The cell states no positions: these see best, near the edges that lead."
        )
    )
    numbers: list[Number] = []
    for detector in told.detectors:
        key = f"detectors.{detector.name}"
        numbers.append(length(f"{key}.at", f"{detector.name} from stop", detector.at))
        if detector.across is not None:
            numbers.append(length(f"{key}.y", f"{detector.name} y", detector.across))
    settings = [
        length("detectors.tolerance", "sits within, +/-", own.tolerance),
        length("detectors.beam", "beam width", own.beam),
        Number("detectors.on delay", "on-delay", own.on_delay, "s", 2),
    ]
    if own.belt_speed is not None:
        settings.append(
            Number("detectors.belt speed", "belt speed", own.belt_speed * 1e3, "mm/s", 0)
        )
    reading = (
        "For each group, from and to: a beam with its middle between these is covered by the "
        "carton, whatever the tolerances do. Seen short by: a carton that stops up to so far "
        "before its place is seen already; the on-delay must last until it has come that way."
    )
    columns = (Column("positions", tuple(numbers)), Column("as planned for", tuple(settings)))
    drawing = infeed_drawing(groups, told)
    return Block("Detectors at the infeed", (where, reading), columns, drawing)


def _release(cell: Cell, group: Group, told: Seen) -> Block:
    """Where each carton of a group must be seen, and the ready signal in words."""
    sights = told.of_group(group.name)
    needs = told.needs[group.name]
    delay = f"{cell.infeed.detectors.on_delay:g} s"
    if needs:
        names = _listed([d.name for d in told.detectors if d.name in needs])
        ready = (
            f"Ready for {group.name}: {names} on, without a break for {delay}; AND the order asks "
            f"for {group.name} next; AND {'it was' if len(needs) == 1 else 'one of them was'} off "
            "since the last pick."
        )
    else:
        ready = f"NEVER READY for {group.name}: not every one of its cartons is seen."
    return Block(
        f"Group {group.name}: seen before the pick may start",
        (ready,),
        tuple(_seen_at(group, sight) for sight in sights),
    )


def _seen_at(group: Group, sight: Sight) -> Column:
    key = f"groups.{group.name}.seen.carton {sight.number}"
    numbers = [
        length(f"{key}.from", "from stop", sight.low),
        length(f"{key}.to", "to", sight.high),
    ]
    if sight.detector is not None:
        numbers.append(length(f"{key}.short", "seen short by", sight.early))
    if sight.least_delay is not None:
        numbers.append(Number(f"{key}.delay", "delay at least", sight.least_delay, "s", 2))
    by = f": {sight.detector}" if sight.detector else ": NOT SEEN"
    return Column(f"carton {sight.number} from the stop{by}", tuple(numbers))


def _listed(names: Sequence[str]) -> str:
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def _table(cell: Cell, groups: Sequence[Group], told: Seen) -> Block:
    """The ready signals as a truth table over the detectors."""
    names = [detector.name for detector in told.detectors]
    every = len(names) <= MOST
    head = "  ".join(f"{name:>3}" for name in names) + "   may be picked, if the order asks for it"
    lines = [head, "-" * len(head)]
    if every:
        for on in product((False, True), repeat=len(names)):
            lit = frozenset(name for name, lit in zip(names, on, strict=True) if lit)
            lines += _row(["1" if lit else "0" for lit in on], _answer(told, names, lit))
    else:
        for group in groups:
            needed = told.needs[group.name]
            marks = ["1" if name in needed else "-" for name in names]
            lines += _row(marks, group.name if needed else f"{group.name}: NEVER")
        lines += _row(["?"] * len(names), "any other combination: NONE")
    return Block(
        "Truth table of the detectors",
        ("1: on for the on-delay. 0: off." + ("" if every else " -: on or off."),
         *_choice(groups, told)),
        drawing=tuple(lines),
    )  # fmt: skip


def _row(marks: Sequence[str], text: str) -> list[str]:
    start = "  ".join(f"{mark:>3}" for mark in marks) + "   "
    room = max(20, 92 - len(start))
    parts = wrap(text, min(_WIDE, room), break_on_hyphens=False) or [""]
    return [start + parts[0], *(" " * len(start) + part for part in parts[1:])]


def _answer(told: Seen, names: Sequence[str], lit: frozenset[str]) -> str:
    """What one combination allows, or why it allows none."""
    allowed = told.allowed(lit)
    if allowed:
        return " or ".join(allowed)
    if not lit:
        return "NONE: nothing is there"
    last = max(names.index(name) for name in lit)
    gaps = [name for name in names[:last] if name not in lit]
    if gaps:
        return f"NONE: {_listed(gaps)} off, a carton is missing, jammed, or on its way"
    return "NONE: wait for the next carton"


def _choice(groups: Sequence[Group], told: Seen) -> Iterator[str]:
    """Why detectors alone cannot choose the group."""
    for less in groups:
        for more in groups:
            a, b = told.needs[less.name], told.needs[more.name]
            same = bool(b) and a == b
            if less is more or not a or not a <= told.may[more.name]:
                continue
            if same and less.name < more.name:
                yield (
                    f"{less.name} and {more.name} switch the same detectors on: these cannot tell "
                    "which of the two is there."
                )
            elif not same:
                yield (
                    f"{_listed(sorted(a))} {'is' if len(a) == 1 else 'are'} also on when "
                    f"{more.name} stands there: the pattern, not the detector, chooses between "
                    f"{less.name} and {more.name}."
                )
            if not told.stands_within(less, more):
                yield (
                    f"Cartons of {less.name} are not those of {more.name}, or stand elsewhere: "
                    f"with {more.name} at the stop, {less.name} must not be picked. The infeed has "
                    "to know which of them it brings."
                )
