"""How much of the arm's rating tool and cartons use, in numbers for checks, sheets and surveys."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..arm.arm import Arm, Rating
from ..cell.model import Cell
from ..geometry.inertia import MassProperties
from ..motion.burden import burden
from ..motion.cycle import Cycle
from ..palletizing.group import Group
from .hanging import GRAVITY, Hanging, hangings
from .loading import axis_loads, greatest, rated_joints


@dataclass(frozen=True, slots=True)
class Peak:
    """The greatest value of something along a cycle.

    Attributes:
        value: In its unit.
        limit: What the arm allows; None where its file does not say.
        segment: Number of the segment, from 0.
        at: Seconds from the start of the cycle.
        spare_mass: What may be added at the centre of gravity until the limit [kg].
        spare_offset: How much farther out that centre may lie until the limit [m].
    """

    value: float
    limit: float | None
    segment: int
    at: float
    spare_mass: float
    spare_offset: float

    @property
    def share(self) -> float:
        """The share of the limit that is used; 0 where there is no limit."""
        return 0.0 if self.limit is None else self.value / self.limit


@dataclass(frozen=True, slots=True)
class AxisUse:
    """One wrist axis: static moment [N m], moment while moving [N m], inertia [kg m2]."""

    joint: str
    moment: Peak
    moving: Peak
    inertia: Peak


@dataclass(frozen=True, slots=True, eq=False)
class LoadUse:
    """What one cycle asks of the arm's rating.

    Attributes:
        burden: Tool and cartons where they use most of the allowed mass, in the flange frame.
        distance: Of its centre of gravity from the flange [m].
        allowed: Mass allowed at that distance [kg]; 0 beyond the last row of the table.
        share: Share of it that is used.
        spare_mass: What may be added at the centre of gravity until the allowed mass [kg].
        spare_offset: How much farther out that centre may lie until the allowed mass [m];
            infinite where the rating has no table.
        axes: Each axis that the rating limits; empty where no cycle is known.
    """

    burden: MassProperties
    distance: float
    allowed: float
    share: float
    spare_mass: float
    spare_offset: float
    axes: tuple[AxisUse, ...]

    def peaks(self) -> tuple[Peak, ...]:
        """All peaks of all axes that the rating limits."""
        peaks = (peak for axis in self.axes for peak in (axis.moment, axis.moving, axis.inertia))
        return tuple(peak for peak in peaks if peak.limit is not None)

    @property
    def utilisation(self) -> float:
        """The greatest share of anything that the rating limits."""
        return max([self.share, *(peak.share for peak in self.peaks())])

    def spare(self) -> tuple[float, float]:
        """The mass [kg] and the offset [m] that may be added until the first limit."""
        peaks = self.peaks()
        mass = min([self.spare_mass, *(peak.spare_mass for peak in peaks)])
        return mass, min([self.spare_offset, *(peak.spare_offset for peak in peaks)])


def allowed_mass(rating: Rating, distance: float) -> float:
    """The mass [kg] allowed with its centre of gravity at a distance [m] from the flange.

    Between two rows, one over the allowed mass grows evenly: that is a constant moment about an
    axis behind the flange, and lies below the straight line between the rows. Beyond the last
    row nothing is allowed.

    Errs: on the safe side for a table that follows a constant moment, the rated load, or both;
    and the distance is taken in any direction, where tables often mean it along the flange's
    axis and allow more across it.

    Source: common practice, no source.
    """
    if not rating.table:
        return rating.mass
    (nearest, mass), *_ = rating.table
    if distance <= nearest:
        return min(rating.mass, mass)
    for (near, more), (far, less) in pairwise(rating.table):
        if distance <= far:
            part = (distance - near) / (far - near)
            return min(rating.mass, 1.0 / ((1.0 - part) / more + part / less))
    return 0.0


def farthest(rating: Rating, mass: float) -> float:
    """The greatest distance [m] at which a mass is allowed; negative where at none."""
    if not rating.table:
        return np.inf if mass <= rating.mass else -1.0
    if mass > min(rating.mass, rating.table[0][1]):
        return -1.0
    reach = rating.table[0][0]
    for (near, more), (far, less) in pairwise(rating.table):
        if mass <= less:
            reach = far
        elif mass <= more:
            return near + (1.0 / mass - 1.0 / more) / (1.0 / less - 1.0 / more) * (far - near)
    return reach


def load_use(cell: Cell, group: Group, cycle: Cycle | None) -> LoadUse:
    """What a group's cycle asks of the arm's rating; of mass and offset alone without a cycle."""
    if cycle is None:
        return hung(cell, group, group.turns[0], [tuple(range(len(group.items)))])
    return load_uses(cell, [(group, cycle)], hangings(cell, [(group, cycle)]))[0]


def load_uses(
    cell: Cell, cycles: Sequence[tuple[Group, Cycle]], states: Sequence[Hanging]
) -> list[LoadUse]:
    """The same for many cycles, whose states are known."""
    arm = cell.mounted.arm
    joints = rated_joints(arm)
    peaks: list[dict[tuple[int, str], Peak]] = [{} for _ in cycles]
    for hanging in states:
        load = burden(cell.tool, hanging.group, hanging.turn, hanging.carried)
        for joint in joints:
            _collect(arm, load, hanging, joint, cycles, peaks)
    uses: list[LoadUse] = []
    alike: dict[tuple[object, ...], LoadUse] = {}
    for (group, cycle), found in zip(cycles, peaks, strict=True):
        carried = tuple(dict.fromkeys(segment.carried for segment in cycle.segments))
        key = (group.name, cycle.pick_turn, carried)
        worst = alike[key] = alike.get(key) or hung(cell, group, cycle.pick_turn, carried)
        axes = tuple(
            AxisUse(arm.joints[j].name, found[j, "still"], found[j, "moving"], found[j, "inertia"])
            for j in joints
        )
        uses.append(
            LoadUse(
                worst.burden,
                worst.distance,
                worst.allowed,
                worst.share,
                worst.spare_mass,
                worst.spare_offset,
                axes,
            )
        )
    return uses


def hung(cell: Cell, group: Group, turn: float, carried: Sequence[tuple[int, ...]]) -> LoadUse:
    """Mass and offset alone, of the worst of what hangs in the course of a cycle.

    Args:
        cell: The cell.
        group: What is picked.
        turn: Turn of the tool over it [rad].
        carried: Which of its cartons hang, one after another.
    """
    rating = cell.mounted.arm.rating
    uses: list[LoadUse] = []
    for items in carried:
        load = burden(cell.tool, group, turn, items)
        distance = float(np.linalg.norm(load.centre))
        allowed = allowed_mass(rating, distance)
        share = _share(rating, load.mass, distance, allowed)
        spare = farthest(rating, load.mass) - distance
        uses.append(LoadUse(load, distance, allowed, share, allowed - load.mass, spare, ()))
    return max(uses, key=lambda use: use.share)


def _share(rating: Rating, mass: float, distance: float, allowed: float) -> float:
    """Share used of the allowed mass; infinite where the rating allows none at all."""
    if allowed > 0.0:
        return mass / allowed
    if rating.mass <= 0.0:
        return np.inf
    # Beyond the table no mass is allowed: the share is then told by the distance.
    return max(distance / rating.table[-1][0], mass / rating.mass)


def _collect(
    arm: Arm,
    load: MassProperties,
    hanging: Hanging,
    joint: int,
    cycles: Sequence[tuple[Group, Cycle]],
    peaks: list[dict[tuple[int, str], Peak]],
) -> None:
    """Keep the greatest moments and inertias about one axis, cycle by cycle."""
    found = axis_loads(arm, load, hanging, joint)
    name, rating = arm.joints[joint].name, arm.rating
    for kind, values, limits in (
        ("still", found.still, dict(rating.moments)),
        ("moving", found.moving, dict(rating.moving)),
        ("inertia", found.inertia, dict(rating.inertias)),
    ):
        limit = limits.get(name)
        for stretch, value in zip(hanging.stretches, greatest(values, hanging), strict=True):
            state = stretch.first + int(values[stretch.first : stretch.stop].argmax())
            spare = _spare(kind, value, limit, load.mass)
            for number, segment in stretch.members:
                known = peaks[number].get((joint, kind))
                if known is None or value > known.value:
                    start = float(cycles[number][1].segments[segment].times[0])
                    at = start + float(hanging.times[state])
                    peaks[number][joint, kind] = Peak(value, limit, segment, at, *spare)


def _spare(kind: str, value: float, limit: float | None, mass: float) -> tuple[float, float]:
    """Mass [kg] and offset [m] that may be added until a limit.

    Mass at the centre of gravity scales all. An offset counts in the worst direction: straight
    away from the axis, level for a moment; an inertia counts as all in its radius of gyration,
    which is more than the centre's distance, so that the offset told is too small.
    """
    if limit is None:
        return np.inf, np.inf
    added = mass * (limit / value - 1.0) if value > 0.0 else np.inf
    if kind == "inertia":
        return added, float(np.sqrt(limit / mass) - np.sqrt(value / mass))
    return added, (limit - value) / (mass * GRAVITY)
