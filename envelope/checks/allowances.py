"""What the stated tolerances take off a clearance: the worst case beside the nominal one.

Each tolerance is a half-width by which the real cell may differ from the drawn one. What it
takes off is how far it can move two bodies towards each other along the direction in which
they are nearest: horizontal amounts count with the horizontal part of that direction, upright
ones with the upright part.

Errs: it is taken at the instant and for the body of the least nominal clearance; another that
is nominally farther off may come out nearer in the worst case by what their tolerances differ.

Source: common practice, no source (linear sum, or root of the sum of squares, as told).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from ..cell.model import Pallet, Tolerances
from ..palletizing.group import Group
from .answers import Watched
from .case import Case
from .cast import Actor


@dataclass(frozen=True, slots=True)
class Allowance:
    """How much one tolerance takes off a clearance [m]."""

    tolerance: str
    amount: float


def allowances(case: Case, entry: Watched) -> tuple[Allowance, ...]:
    """What each stated tolerance takes off a watched clearance, the largest first."""
    if entry.other is None or entry.gain is None:
        return ()  # beyond the cap, or the arm against itself: no tolerance bears on it
    level, upright = hypot(*entry.gain[:2]), abs(entry.gain[2])
    mover, other = case.cast.actors[entry.mover], case.cast.actors[entry.other]
    amounts: dict[str, float] = {}
    for name, across, along_z in _all(case, mover, other):
        amounts[name] = amounts.get(name, 0.0) + across * level + along_z * upright
    found = [Allowance(name, amount) for name, amount in amounts.items() if amount > 0.0]
    return tuple(sorted(found, key=lambda allowance: (-allowance.amount, allowance.tolerance)))


def total(found: tuple[Allowance, ...], tolerances: Tolerances) -> float:
    """All allowances together, added up as told [m]."""
    amounts = [allowance.amount for allowance in found]
    if tolerances.added == "sum":
        return sum(amounts)
    return sqrt(sum(amount * amount for amount in amounts))


Amount = tuple[str, float, float]
"""Name of a tolerance; how much it takes across (horizontally) and upright [m]."""


def _all(case: Case, mover: Actor, other: Actor) -> Iterator[Amount]:
    tolerances = case.cell.tolerances
    yield "arm repeatability", tolerances.arm_repeatability, tolerances.arm_repeatability
    if mover.role == "carried":
        yield from _of_group(tolerances, case.task.group)
    if other.role in ("placed", "own", "pallet"):
        yield from _of_stack(tolerances, case.pallet, other)
    if other.role in ("queue", "waiting"):
        yield "carton size", tolerances.carton_size, 0.0
        yield "carton height", 0.0, tolerances.carton_height


def _of_group(tolerances: Tolerances, group: Group) -> Iterator[Amount]:
    """Where the carried cartons may be instead, and how much larger."""
    low, high = group.extent()
    half_diagonal = hypot(*(high - low)[:2]) / 2
    yield "pick position", tolerances.pick_position, 0.0
    yield "pick skew", half_diagonal * float(np.sin(tolerances.pick_skew)), 0.0
    yield "carton size", tolerances.carton_size, 0.0
    yield "carton height", 0.0, tolerances.carton_height
    yield "group gap", tolerances.group_gap * (len(group.items) - 1), 0.0


def _of_stack(tolerances: Tolerances, pallet: Pallet, other: Actor) -> Iterator[Amount]:
    """Where the pallet and what stands on it may be instead."""
    lever = hypot(pallet.size[0], pallet.size[1])
    yield "pallet position", tolerances.pallet_position, 0.0
    yield "pallet yaw", lever * float(np.sin(tolerances.pallet_yaw)), 0.0
    yield "pallet height", 0.0, tolerances.pallet_height
    if other.role != "pallet":
        yield "carton size", other.growth, 0.0
        steps = other.layer if tolerances.added == "sum" else sqrt(other.layer)
        yield "carton height", 0.0, tolerances.carton_height * steps
