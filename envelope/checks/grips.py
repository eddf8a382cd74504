"""Jaws that squeeze cartons, and forks under them: what they must hold, and what they can."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..cell.holding import Clamp, Fork
from ..cell.model import GripField, Tool
from ..geometry.frames import Array, invert
from ..motion.grip import tool_from_group
from ..palletizing.group import Group
from .suction import Wrench

Found = tuple[Array, NDArray[np.bool_], tuple[str, str]]
"""Shares used at states, (n,); whether the first of two modes is the worse, (n,); the modes."""

_SQUARE = 1e-3  # sine of the turn at which a carton no longer lies square to the tool
_ONE_ROW = 1e-3  # [m]: by which cartons may lie off the row between two jaws


def grip_shares(
    tool: Tool,
    group: Group,
    turn: float,
    field: GripField,
    item: int,
    row: Sequence[tuple[int, Wrench]],
    safety: float,
) -> Found:
    """How much of what jaws or a fork can hold one carton uses, with the safety factor.

    Args:
        tool: The gripper.
        group: What it carries.
        turn: Turn of the tool over it [rad].
        field: With its jaws or fork.
        item: Which carton.
        row: All cartons that this field holds, with what moves each.
        safety: Factor.
    """
    places = {k: tool_from_group(tool, group, turn) @ group.group_from_item(k) for k, _ in row}
    count = row[0][1].force.shape[1]
    for place in places.values():
        if np.abs(place[:2, :2]).min() > _SQUARE:
            return nothing(count, "lies askew in the grip")
    if isinstance(field.grip, Clamp):
        return _clamped(group, field, field.grip, row, places, safety)
    assert isinstance(field.grip, Fork)
    wrench = next(wrench for k, wrench in row if k == item)
    size = group.items[item].carton.size
    return _forked(field, field.grip, wrench, places[item], size, safety)


def nothing(count: int, why: str) -> Found:
    """What is found where nothing holds, at a number of states."""
    return np.full(count, np.inf), np.ones(count, bool), (why, "")


def _clamped(
    group: Group,
    field: GripField,
    clamp: Clamp,
    row: Sequence[tuple[int, Wrench]],
    places: dict[int, Array],
    safety: float,
) -> Found:
    """A row of cartons between two jaws, held by friction on its end faces.

    Each jaw bears half the weight and what keeps the row from tipping along the squeeze (over
    its length), and half of what keeps it from turning about the squeeze, spread evenly over the
    face. What pushes the row along the squeeze takes that much off one jaw. Within the row, an
    inner face bears less of the weight, by the lightest carton.

    Errs: on the safe side: friction in several directions is added up as if in one, and the jaw
    that is relieved counts on both sides.

    Source: Coulomb's law; the sum of force and moment shares stays within the limit surface of
    sliding, which is convex (Goyal, Ruina and Papadopoulos, Wear 143, 1991), from memory.
    """
    count = row[0][1].force.shape[1]
    a = 0 if clamp.along == "x" else 1
    b = 1 - a
    halves = {k: np.abs(places[k][:2, :2]) @ _half(group, k) for k, _ in row}
    across = np.array([places[k][b, 3] for k, _ in row])
    if float(np.ptp(across)) > _ONE_ROW:
        return nothing(count, "is not in one row with the others between the jaws")
    low = max(float(places[k][b, 3] - halves[k][b]) for k, _ in row)
    high = min(float(places[k][b, 3] + halves[k][b]) for k, _ in row)
    left = max(low, field.centre[b] - clamp.jaw[0] / 2)
    right = min(high, field.centre[b] + clamp.jaw[0] / 2)
    upper = max(0.0, clamp.depth - clamp.jaw[1] / 2)
    tall = min(group.items[k].carton.size[2] for k, _ in row)
    lower = min(tall, clamp.depth + clamp.jaw[1] / 2)
    if right <= left or lower <= upper:
        return nothing(count, "is missed by the jaws")
    begin = min(float(places[k][a, 3] - halves[k][a]) for k, _ in row)
    end = max(float(places[k][a, 3] + halves[k][a]) for k, _ in row)
    middle = np.zeros(3)
    middle[a], middle[b] = (begin + end) / 2, (left + right) / 2
    middle[2] = places[row[0][0]][2, 3] + (upper + lower) / 2
    force, moment = _together(group, row, places, middle)
    pushed, weight = np.abs(force[a]), np.hypot(force[b], force[2])
    turning = np.abs(moment[a]) / (2.0 * mean_distance((right - left) / 2, (lower - upper) / 2))
    tipping = np.hypot(moment[b], moment[2]) / (end - begin)
    jaw = pushed + (weight / 2 + tipping + turning) / clamp.friction
    masses = [group.items[k].carton.mass for k, _ in row]
    inner = np.zeros(count)
    if len(row) > 1:
        borne = weight * (0.5 - min(masses) / sum(masses))
        inner = pushed + (borne + tipping + turning) / clamp.carton_friction
    modes = ("slips out of the jaws", "slips on its neighbour")
    return np.maximum(jaw, inner) * (safety / clamp.force), jaw >= inner, modes


def _half(group: Group, item: int) -> Array:
    return np.array(group.items[item].carton.size[:2]) / 2


def _together(
    group: Group, row: Sequence[tuple[int, Wrench]], places: dict[int, Array], point: Array
) -> tuple[Array, Array]:
    """Force and moment about a point that a row needs, in the tool frame, shape (3, n) each."""
    force = moment = np.zeros_like(row[0][1].force)
    for k, wrench in row:
        turned, height = places[k][:3, :3], group.items[k].carton.size[2] / 2
        arm = turned.T @ (places[k][:3, 3] - point) - np.array([0.0, 0.0, height])
        mine = wrench.about((float(arm[0]), float(arm[1]), float(arm[2])))
        force = force + _turned(turned, wrench.force)
        moment = moment + _turned(turned, mine)
    return force, moment


def _turned(matrix: Array, vectors: Array) -> Array:
    x, y, z = vectors
    return np.stack([row[0] * x + row[1] * y + row[2] * z for row in matrix.tolist()])


def mean_distance(a: float, b: float) -> float:
    """Mean distance of a rectangle's points from its middle; half sides a and b [m].

    Source: the integral of the radius over a right triangle, four pairs of them (any table of
    integrals).
    """
    d = float(np.hypot(a, b))
    first = a * a / (2.0 * b) * float(np.log((b + d) / a))
    return (d + first + b * b / (2.0 * a) * float(np.log((a + d) / b))) / 3.0


def _forked(
    field: GripField,
    fork: Fork,
    wrench: Wrench,
    place: Array,
    size: tuple[float, float, float],
    safety: float,
) -> Found:
    """One carton that stands on a fork: does it slide, and does it tip over the tines' edge?

    It tips where the middle of the pressure under it leaves the part of its bottom that stands
    on the fork; the safety factor stretches the way of that middle from under the centre of
    gravity.

    Source: Coulomb's law, and the balance of moments about the edge (any handbook of mechanics).
    """
    item_from_tool = invert(place)
    centre = (item_from_tool[:2, :2] @ np.array(field.centre)) + item_from_tool[:2, 3]
    half = np.abs(item_from_tool[:2, :2]) @ (np.array(field.size) / 2)
    bottom = np.array(size[:2]) / 2
    low, high = np.maximum(centre - half, -bottom), np.minimum(centre + half, bottom)
    x, y, up = wrench.force
    if (low >= 0.0).any() or (high <= 0.0).any():
        return nothing(len(up), "has its centre of gravity beside the fork")
    pressed = np.maximum(up, 1e-9)
    height = size[2] / 2
    moved = (
        -(wrench.moment[1] + height * x) / pressed,
        (wrench.moment[0] - height * y) / pressed,
    )
    tips = np.zeros(len(up))
    slides = np.hypot(x, y) / (fork.friction * pressed)
    if fork.stops:
        slides = np.zeros(len(up))
    else:
        for k in range(2):
            tips = np.maximum(tips, np.maximum(moved[k] / high[k], moved[k] / low[k]))
    tips = np.where(up <= 0.0, np.inf, tips * safety)
    slides = slides * safety
    return np.maximum(tips, slides), tips >= slides, ("tips off the fork", "slides on the fork")
