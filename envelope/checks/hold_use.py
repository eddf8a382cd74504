"""How much of the grip cycles use, carton by carton, in numbers for checks, sheets, surveys."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..arm.flange_motion import crossed
from ..cell.holding import HoldLimits
from ..cell.model import Cell, GripField, Tool
from ..geometry.frames import Array
from ..geometry.inertia import MassProperties
from ..motion.burden import of_carton
from ..motion.cycle import Cycle
from ..motion.grip import holding, tool_from_group
from ..motion.sealing import sealing
from ..palletizing.group import Group
from .grips import grip_shares, nothing
from .hanging import GRAVITY, Hanging, hangings
from .suction import Wrench, cup_force, shares

Situation = Literal["moving", "stopping", "with one cup lost"]
SITUATIONS: tuple[Situation, Situation, Situation] = ("moving", "stopping", "with one cup lost")
Grip = tuple[int, int, float]
UNKNOWN = "the tool's file does not say how strongly its cups hold"


@dataclass(frozen=True, slots=True)
class Strain:
    """The greatest share of its grip that a carton uses in one situation.

    Attributes:
        share: With the safety factor; infinite where nothing holds.
        mode: What would happen: "peels off", "slips" and the like.
        segment: Number of the segment, from 0; None where no motion is known.
        at: Seconds from the start of the cycle; None likewise.
    """

    share: float
    mode: str
    segment: int | None
    at: float | None


@dataclass(frozen=True, slots=True)
class CartonHold:
    """How one carton of a group is held.

    Attributes:
        item: Which, from 0.
        sealing: Cups that seal on it; cups: of the fields that hold it.
        force: What they hold together, straight off [N]; 0 without vacuum.
        strains: By situation, those that are judged.
        unjudged: Why nothing is judged, where nothing is.
    """

    item: int
    sealing: int
    cups: int
    force: float
    strains: tuple[tuple[Situation, Strain], ...]
    unjudged: str = ""


@dataclass(frozen=True, slots=True)
class HoldUse:
    """How one cycle's cartons are held."""

    cartons: tuple[CartonHold, ...]

    @property
    def utilisation(self) -> float:
        """The greatest share of any carton in any situation, safety factors included."""
        return max((s.share for c in self.cartons for _, s in c.strains), default=0.0)


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """Shares at states, shape (n,), and whether the first of two modes is the worse: (n,)."""

    shares: Array
    first: NDArray[np.bool_]
    modes: tuple[str, str]

    def mode(self, state: int) -> str:
        return self.modes[0 if self.first[state] else 1]


def hold_use(cell: Cell, group: Group, cycle: Cycle | None) -> HoldUse | None:
    """How a group's cartons are held; hanging straight and still where no cycle is known."""
    if cycle is not None:
        return hold_uses(cell, [(group, cycle)], hangings(cell, [(group, cycle)]))[0]
    if not cell.tool.holds:
        return None
    still: dict[tuple[int, Situation], Strain] = {}
    turn = group.turns[0]
    for item, carton in enumerate(group.items):
        force = np.array([[0.0], [0.0], [carton.carton.mass * GRAVITY]])
        wrench = Wrench(force, np.zeros((3, 1)))
        everything = [wrench] * len(group.items)
        for situation, seen in _strained(cell, group, turn, item, everything, everything):
            still[item, situation] = Strain(float(seen.shares[0]), seen.mode(0), None, None)
    return _use(_grips(cell.tool, group, turn), still)


def hold_uses(
    cell: Cell, cycles: Sequence[tuple[Group, Cycle]], states: Sequence[Hanging]
) -> list[HoldUse | None]:
    """The same for many cycles, whose states are known; None where the tool tells nothing."""
    if not cell.tool.holds:
        return [None for _ in cycles]
    found: list[dict[tuple[int, Situation], Strain]] = [{} for _ in cycles]
    for hanging in states:
        for item, situation, seen in _seen(cell, hanging):
            _collect(seen, hanging, (item, situation), cycles, found)
    uses: list[HoldUse | None] = []
    alike: dict[tuple[str, float], list[Grip]] = {}
    for (group, cycle), strains in zip(cycles, found, strict=True):
        key = (group.name, cycle.pick_turn)
        grips = alike[key] = alike.get(key) or _grips(cell.tool, group, cycle.pick_turn)
        uses.append(_use(grips, strains))
    return uses


def shares_held(cell: Cell, hanging: Hanging) -> Iterator[Array]:
    """Shares of its grip that each carton uses in each situation that is judged, (states,) each.

    Nothing where a carton that hangs is not judged at all.
    """
    found = [(item, seen) for item, _, seen in _seen(cell, hanging)]
    if {item for item, _ in found} == set(hanging.carried):
        yield from (seen.shares for _, seen in found)


def _seen(cell: Cell, hanging: Hanging) -> Iterator[tuple[int, Situation, _Seen]]:
    """The strain on each carton that hangs, in each situation that is judged."""
    group, turn = hanging.group, hanging.turn
    calm = {item: _wrench(cell.tool, hanging, item, stop=False) for item in hanging.carried}
    stop = {item: _wrench(cell.tool, hanging, item, stop=True) for item in hanging.carried}
    for item in hanging.carried:
        listed = [calm.get(k) for k in range(len(group.items))]
        braked = [stop.get(k) for k in range(len(group.items))]
        for situation, seen in _strained(cell, group, turn, item, listed, braked):
            yield item, situation, seen


def _grips(tool: Tool, group: Group, turn: float) -> list[Grip]:
    """For each carton how many cups seal on it, how many it has, and their force at rest [N]."""
    grips: list[Grip] = []
    for item in range(len(group.items)):
        cups, count = sealing(tool, group, turn, item)
        force = 0.0 if tool.vacuum is None else float(cup_force(tool.vacuum, cups.area).sum())
        grips.append((len(cups.at), count, force))
    return grips


def _use(grips: Sequence[Grip], strains: dict[tuple[int, Situation], Strain]) -> HoldUse:
    cartons: list[CartonHold] = []
    for item, grip in enumerate(grips):
        mine: list[tuple[Situation, Strain]] = []
        for situation in SITUATIONS:
            if (item, situation) in strains:
                mine.append((situation, strains[item, situation]))
        why = "" if mine else UNKNOWN
        cartons.append(CartonHold(item, *grip, tuple(mine), why))
    return HoldUse(tuple(cartons))


def _collect(
    seen: _Seen,
    hanging: Hanging,
    key: tuple[int, Situation],
    cycles: Sequence[tuple[Group, Cycle]],
    found: list[dict[tuple[int, Situation], Strain]],
) -> None:
    """Keep the greatest share of one carton in one situation, cycle by cycle."""
    for stretch in hanging.stretches:
        state = stretch.first + int(seen.shares[stretch.first : stretch.stop].argmax())
        share, mode = float(seen.shares[state]), seen.mode(state)
        for number, segment in stretch.members:
            known = found[number].get(key)
            if known is None or share > known.share:
                start = float(cycles[number][1].segments[segment].times[0])
                at = start + float(hanging.times[state])
                found[number][key] = Strain(share, mode, segment, at)


def _wrench(tool: Tool, hanging: Hanging, item: int, *, stop: bool) -> Wrench:
    """What moves a carton in each state, in the frame of its top.

    Source: Newton's and Euler's equations of a rigid body (Craig, Introduction to Robotics,
    3rd ed., 2005, section 6.3, equations 6.15 and 6.16).
    """
    body: MassProperties = of_carton(tool, hanging.group, hanging.turn, item)
    pulled = hanging.stop_acceleration if stop else hanging.acceleration
    change = hanging.stop_spin_change if stop else hanging.spin_change
    spin, centre = hanging.spin, body.centre[:, None]
    moved = pulled + crossed(change, centre) + crossed(spin, crossed(spin, centre))
    moment = _times(body.inertia, change) + crossed(spin, _times(body.inertia, spin))
    top = tool.flange_from_tcp @ tool_from_group(tool, hanging.group, hanging.turn)
    top = top @ hanging.group.group_from_item(item)
    seen = top[:3, :3].T
    return Wrench(_times(seen, body.mass * (moved - hanging.gravity)), _times(seen, moment))


def _times(matrix: Array, vectors: Array) -> Array:
    """A matrix, shape (3, 3), times vectors, shape (3, n)."""
    x, y, z = vectors
    return np.stack([row[0] * x + row[1] * y + row[2] * z for row in matrix.tolist()])


def _strained(
    cell: Cell,
    group: Group,
    turn: float,
    item: int,
    calm: Sequence[Wrench | None],
    braked: Sequence[Wrench | None],
) -> Iterator[tuple[Situation, _Seen]]:
    """A carton's shares in each situation that is judged.

    Args:
        cell: The cell.
        group: What is carried.
        turn: Turn of the tool over it [rad].
        item: Which carton.
        calm: What moves each carton of the group as timed; None where it no longer hangs.
        braked: The same in a stop.
    """
    limits, grip = cell.hold, _gripping(cell.tool, group, item, turn)
    if grip is not None:
        both = ((calm, limits.safety), (braked, limits.safety_stop))
        for situation, (wrenches, safety) in zip(SITUATIONS, both, strict=False):
            yield situation, _gripped(cell.tool, group, turn, item, grip, wrenches, safety)
    elif cell.tool.vacuum is not None:
        own, stop = calm[item], braked[item]
        if own is not None and stop is not None:
            yield from _sucked(cell, group, turn, item, own, stop, limits)


def _gripping(tool: Tool, group: Group, item: int, turn: float) -> GripField | None:
    """The jaws or fork that hold a carton; cups beside them count for nothing."""
    return next((f for f in holding(tool, group, item, turn) if f.grip is not None), None)


def _gripped(
    tool: Tool,
    group: Group,
    turn: float,
    item: int,
    grip: GripField,
    wrenches: Sequence[Wrench | None],
    safety: float,
) -> _Seen:
    row = [
        (k, wrench)
        for k, wrench in enumerate(wrenches)
        if wrench is not None and grip in holding(tool, group, k, turn)
    ]
    found = grip_shares(tool, group, turn, grip, item, row, safety)
    return _Seen(*found)


def _sucked(
    cell: Cell, group: Group, turn: float, item: int, calm: Wrench, stop: Wrench, limits: HoldLimits
) -> Iterator[tuple[Situation, _Seen]]:
    vacuum = cell.tool.vacuum
    assert vacuum is not None  # the caller has seen to it
    cups, _ = sealing(cell.tool, group, turn, item)
    force = cup_force(vacuum, cups.area)
    height = group.items[item].carton.size[2] / 2
    numbers = np.arange(len(force))

    def strain(wrench: Wrench, safety: float, kept: NDArray[np.bool_]) -> _Seen:
        if not kept.any():
            count = wrench.force.shape[1]
            return _Seen(*nothing(count, "no cup holds"))
        peel, slip = shares(cups.only(kept), force[kept], vacuum.friction, wrench, height, safety)
        return _Seen(np.maximum(peel, slip), peel >= slip, ("peels off", "slips"))

    yield "moving", strain(calm, limits.safety, numbers >= 0)
    yield "stopping", strain(stop, limits.safety_stop, numbers >= 0)
    if limits.one_cup_lost:
        lost = [
            strain(calm, limits.safety_cup_lost, numbers != k) for k in range(max(len(force), 1))
        ]
        yield "with one cup lost", _worst(lost)


def _worst(seen: Sequence[_Seen]) -> _Seen:
    """The worst of several, state by state."""
    worst = seen[0]
    for other in seen[1:]:
        more = other.shares > worst.shares
        worst = _Seen(
            np.where(more, other.shares, worst.shares),
            np.where(more, other.first, worst.first),
            worst.modes,
        )
    return worst
