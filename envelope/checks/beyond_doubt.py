"""Which motions arm and grip bear for sure: yes or no, for many at once, with no finding made.

Errs: never towards a yes. The numbers are those of the checks on load and hold; whatever is not
clearly within its limit is left to them.
"""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from ..cell.model import Cell
from ..geometry.frames import Array
from ..motion.burden import burden
from ..motion.cycle import Cycle
from ..palletizing.group import Group
from .hanging import Hanging, Kind, hanging_of, kinds
from .hold_use import shares_held
from .load_use import hung
from .loading import axis_loads, greatest_loads, rated_joints

_CLEARLY = 1.0 - 1e-9  # of a limit

Motions = Sequence[tuple[Group, Cycle]]


def borne(cell: Cell, cycles: Motions) -> NDArray[np.bool_]:
    """Whether the checks on load and hold pass cycles beyond doubt, shape (n,).

    Args:
        cell: The cell.
        cycles: The cycles, each with the group that it carries.
    """
    rating, tool = cell.mounted.arm.rating, cell.tool
    if rating.mass <= 0.0 or not cycles:
        return np.zeros(len(cycles), bool)  # not checked is no pass
    good = _hung_within(cell, cycles)
    for kind in kinds(cycles):
        gripped = bool(tool.holds and kind.carried)
        light = _light(cell, kind)
        if light and not gripped:
            continue
        hanging = hanging_of(cell, cycles, kind)
        if gripped:
            judged = False
            for shares in shares_held(cell, hanging):
                judged = True
                _strike(good, hanging, shares)
            if not judged:
                _strike(good, hanging, np.full(len(hanging.times), np.inf))
        for shares in () if light else _loaded(cell, hanging):
            _strike(good, hanging, shares)
    return good


def _light(cell: Cell, kind: Kind) -> bool:
    """Whether what hangs keeps clearly within the arm's rating in whatever posture.

    Between two states the checks count more than at either of them (see `loading`), but never
    twice as much as there is in any posture: states are close to each other.
    """
    arm = cell.mounted.arm
    rating = arm.rating
    load = burden(cell.tool, kind.group, kind.turn, kind.carried)
    for joint in rated_joints(arm):
        name = arm.joints[joint].name
        if name in dict(rating.moving):
            return False  # depends on how fast it goes
        moment, inertia = greatest_loads(arm, load, joint)
        if not 2.0 * moment <= dict(rating.moments).get(name, np.inf):
            return False
        if not 2.0 * inertia <= dict(rating.inertias).get(name, np.inf):
            return False
    return True


def _strike(good: NDArray[np.bool_], hanging: Hanging, shares: Array) -> None:
    """Take out the cycles that a share, shape (states,), does not leave clearly within."""
    most = np.maximum.reduceat(shares, hanging.starts)
    for number in np.flatnonzero(~(most <= _CLEARLY)).tolist():
        good[[cycle for cycle, _ in hanging.stretches[number].members]] = False


def _hung_within(cell: Cell, cycles: Motions) -> NDArray[np.bool_]:
    """Whether mass and offset of all that hangs are clearly allowed, shape (n,)."""
    known: dict[tuple[object, ...], bool] = {}
    good: list[bool] = []
    for group, cycle in cycles:
        carried = tuple(dict.fromkeys(segment.carried for segment in cycle.segments))
        key = group, cycle.pick_turn, carried
        if key not in known:
            known[key] = hung(cell, group, cycle.pick_turn, carried).share <= _CLEARLY
        good.append(known[key])
    return np.array(good, bool)


def _loaded(cell: Cell, hanging: Hanging) -> Iterator[Array]:
    """Shares used of what is allowed about each wrist axis, shape (states,) each."""
    arm = cell.mounted.arm
    rating = arm.rating
    load = burden(cell.tool, hanging.group, hanging.turn, hanging.carried)
    for joint in rated_joints(arm):
        name, found = arm.joints[joint].name, axis_loads(arm, load, hanging, joint)
        for values, limits in (
            (found.still, rating.moments),
            (found.moving, rating.moving),
            (found.inertia, rating.inertias),
        ):
            limit = dict(limits).get(name)
            if limit is not None:
                yield values / limit
