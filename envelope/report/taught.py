"""A sheet that came back, put into the cell; and what it changed, in words."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256

import numpy as np

from ..cell.model import Cell
from ..cell.taught import Filled, Printed, TaughtFile
from ..checks.finding import Result
from ..geometry.frames import Array, invert
from ..motion.detectors import seen
from ..motion.setup import (
    AXES,
    CORNERS,
    base_from_infeed,
    base_from_pallet,
    components,
    groups_of,
    setup_of,
    turn_key,
)
from ..motion.taught import as_taught, corners_disagree
from .sheet import shown
from .sheet_of import set_up_sheet
from .sheet_strain import STRAINS

AGREE = 0.001  # [m]: joints and pose that were both taught may differ by this much
LEVEL = float(np.radians(0.05))  # [rad]: joints may tilt a placement by this much
_ROUNDED = 1e-3  # [kg m2]: the sheet rounds each number to a tenth of this
SQUARE = 0.002  # [m]: corners that lie farther off the deck are worth a remark
_OWN = re.compile(
    r"(approach|place|pick|via \d+|back via \d+|joints)\.(.*)|half-turn|lifted|arrival|from\.[xyz]"
)
"""What follows the name of a placement, or of a group and turn, where the motion gives it."""


@dataclass(frozen=True, slots=True, eq=False)
class Taught:
    """A cell as taught.

    Attributes:
        filled: What was filled in.
        unused: Of that, the keys that no check depends on.
        remarks: What else is to be told.
    """

    cell: Cell
    filled: tuple[Filled, ...]
    unused: tuple[str, ...]
    remarks: tuple[str, ...]

    @property
    def changed(self) -> tuple[Filled, ...]:
        """What differs from the plan."""
        return tuple(entry for entry in self.filled if entry.changed)


def put_in(cell: Cell, file: TaughtFile) -> Taught:
    """The cell with what was taught in it.

    Raises:
        CellError: With everything that is wrong in the file.
    """
    sheet = set_up_sheet(cell, Result(cell.name, cell.sha256, ()))
    inputs = setup_of(cell)
    typed_in = {key: shown(typed) for key, typed in inputs.items()}
    known = {key: Printed(number.text, number.unit) for key, number in typed_in.items()}
    derived = {number.key: number.unit for number in sheet.numbers() if number.key not in known}
    filled = file.filled(known, {**derived, **dict(_of_motion(cell, file.keys()))})
    by_key = {entry.key: entry for entry in filled}
    _corners_whole(cell, by_key, file)
    file.stop_if_wrong()
    shifts = {key: entry.shift for key, entry in by_key.items() if key in inputs}
    used = _by_joints(cell, by_key, shifts, file)
    file.stop_if_wrong()
    remarks = tuple(
        f"The taught corners of pallet {name} lie up to {off * 1e3:.1f} mm off its size: is it "
        "square, and was the right pallet touched?"
        for name, off in corners_disagree(cell, shifts)
        if off > SQUARE
    )
    made = cell
    if any(shifts.values()):
        digest = sha256(cell.sha256.encode() + file.content).hexdigest()
        made = replace(as_taught(cell, shifts), sha256=digest)
    _solid(made, file)
    file.stop_if_wrong()
    seen_by, troubles = _detectors(cell, by_key)
    used |= {*inputs, *seen_by}
    unused = tuple(e.key for e in filled if e.changed and e.key not in used)
    return Taught(made, tuple(filled), unused, (*remarks, *troubles))


def _detectors(cell: Cell, filled: Mapping[str, Filled]) -> tuple[set[str], list[str]]:
    """Keys of detectors that were found elsewhere than planned, and what is wrong with that."""
    groups = groups_of(cell)
    planned = seen(cell, groups).detectors
    keys = {f"detectors.{detector.name}.at" for detector in planned}
    keys |= {f"detectors.{name}" for name in ("tolerance", "beam", "on delay", "belt speed")}
    changed = {key for key in keys if key in filled and filled[key].changed}
    if not changed or any(detector.across is not None for detector in planned):
        return set(), []

    def now(name: str, otherwise: float) -> float:
        entry = filled.get(f"detectors.{name}")
        return otherwise if entry is None else entry.taught

    own = cell.infeed.detectors
    speed = own.belt_speed
    found = replace(
        own,
        positions=tuple(sorted(now(f"{d.name}.at", d.at) for d in planned)),
        tolerance=now("tolerance", own.tolerance),
        beam=now("beam", own.beam),
        on_delay=now("on delay", own.on_delay),
        belt_speed=None if speed is None else now("belt speed", speed * 1e3) / 1e3,
    )
    made = replace(cell, infeed=replace(cell.infeed, detectors=found))
    return changed, [f"As taught: {trouble}" for trouble in seen(made, groups).troubles]


def _solid(made: Cell, file: TaughtFile) -> None:
    """The inertia as taught must be one that a solid can have."""
    least, middle, most = (float(v) for v in np.linalg.eigvalsh(made.tool.inertia))
    if least < -_ROUNDED or most > least + middle + _ROUNDED:
        key = "tool.inertia.xx"
        right = "a moment of inertia is at most the sum of the other two"
        file.complain(key, file.line_of(key), "as taught, no solid has this inertia", right)


def _of_motion(cell: Cell, keys: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Units of those keys that depend on the motion found."""
    turning = cell.mounted.arm.chain.turning()
    joints = {
        joint.name: "deg" if turns else "mm"
        for joint, turns in zip(cell.mounted.arm.joints, turning, strict=True)
    }
    heads = [f"placements.{p.id}." for pallet in cell.pallets for p in pallet.placements]
    heads += [f"{turn_key(group, turn)}." for group in groups_of(cell) for turn in group.turns]
    used = {f"groups.{g.name}.used.{check}" for g in groups_of(cell) for check in STRAINS}
    for key in keys:
        if key in used:
            yield key, "%"
            continue
        home = re.fullmatch(r"home( \d+)?\.(.*)", key)
        if home:
            name = home[2]
            if name in joints or name in AXES:
                yield key, joints.get(name, "mm" if name in "xyz" else "deg")
            continue
        head = next((head for head in heads if key.startswith(head)), None)
        match = None if head is None else _OWN.fullmatch(key[len(head) :])
        if match is None:
            continue
        if match[1] is None:
            yield key, "deg" if key.endswith("half-turn") else "mm"
        elif match[2] in joints:
            yield key, joints[match[2]]


def _corners_whole(cell: Cell, filled: Mapping[str, Filled], file: TaughtFile) -> None:
    """Corners come all three or not at all, and not beside a frame."""
    for pallet in cell.pallets:
        head = f"pallets.{pallet.name}"
        needed = [f"{head}.{c}.{a}" for c in (*CORNERS[:2], CORNERS[3]) for a in AXES[:3]]
        every = [*needed, *(f"{head}.{CORNERS[2]}.{a}" for a in AXES[:3])]
        if not any(key in filled and filled[key].changed for key in every):
            continue
        blank = [key for key in needed if key not in filled]
        for key in blank:
            found = "blank, while another corner of this pallet is filled in"
            file.complain(key, file.line_of(key), found, "fill in corners 1, 2 and 4 in full")
        frame = [f"{head}.frame.{a}" for a in AXES]
        both = [key for key in frame if key in filled and filled[key].changed]
        if both:
            found = "filled in beside corners that give the frame, too"
            file.complain(
                both[0], filled[both[0]].line, found, "give back the frame or the corners"
            )


def _by_joints(
    cell: Cell, filled: Mapping[str, Filled], shifts: dict[str, float], file: TaughtFile
) -> set[str]:
    """Turn joints that were taught into shifts of pick poses and placements.

    Returns:
        Keys of the joints that were used.
    """
    made = as_taught(cell, shifts)
    used: set[str] = set()
    for group in groups_of(cell):
        for turn in group.turns:
            head = turn_key(group, turn)
            poses = _tcp_by_joints(cell, made, f"{head}.joints", filled, file)
            if poses is not None:
                before = invert(base_from_infeed(cell)) @ poses[0]
                after = invert(base_from_infeed(made)) @ poses[1]
                by = np.array(components(after)) - np.array(components(before))
                _take(f"{head}.pick", AXES, _wrapped(by, 3), filled, shifts, file)
                used |= {key for key in filled if key.startswith(f"{head}.joints.")}
    for pallet, now in zip(cell.pallets, made.pallets, strict=True):
        for placement in pallet.placements:
            head = f"placements.{placement.id}"
            poses = _tcp_by_joints(cell, made, f"{head}.place", filled, file)
            if poses is None:
                continue
            before = invert(base_from_pallet(cell, pallet)) @ poses[0]
            after = invert(base_from_pallet(made, now)) @ poses[1]
            moved = after @ invert(before) @ placement.pallet_from_group()
            if np.arccos(np.clip(moved[2, 2], -1.0, 1.0)) > LEVEL:
                key = f"{head}.place.{cell.mounted.arm.joints[0].name}"
                file.complain(
                    key, file.line_of(key), "these joints tilt the group", "measure again"
                )
            at = components(moved)
            planned = (placement.x, placement.y, placement.z, placement.yaw)
            by = np.array([at[0], at[1], at[2], at[5]]) - planned
            _take(head, ("x", "y", "z", "yaw"), _wrapped(by, 3), filled, shifts, file)
            used |= {key for key in filled if key.startswith(f"{head}.place.")}
    return used


def _wrapped(by: Array, first: int) -> Array:
    """Differences with the angles, from an index on, within half a turn."""
    turned = by.copy()
    turned[first:] = (by[first:] + np.pi) % (2 * np.pi) - np.pi
    return turned


def _take(
    head: str,
    axes: Sequence[str],
    by: Array,
    filled: Mapping[str, Filled],
    shifts: dict[str, float],
    file: TaughtFile,
) -> None:
    """Shifts by joints in place of blank ones; a pose that was filled in must agree with them."""
    keys = [f"{head}.{axis}" for axis in axes]
    if any(key in filled and filled[key].changed for key in keys):
        for key, value in zip(keys[:3], by[:3], strict=True):
            off = abs(value - shifts.get(key, 0.0))
            if off > AGREE:
                found = f"{off * 1e3:.1f} mm from where the joints that were taught lead"
                file.complain(key, file.line_of(key), found, "give back the pose or the joints")
        return
    shifts.update({key: float(value) for key, value in zip(keys, by, strict=True)})


def _tcp_by_joints(
    cell: Cell, made: Cell, head: str, filled: Mapping[str, Filled], file: TaughtFile
) -> tuple[Array, Array] | None:
    """The TCP in the base frame by joints as planned and as taught; None where none changed."""
    arm = cell.mounted.arm
    keys = [f"{head}.{joint.name}" for joint in arm.joints]
    if not any(key in filled and filled[key].changed for key in keys):
        return None
    planned: list[float] = []
    for key, turns in zip(keys, arm.chain.turning(), strict=True):
        value = file.planned_of(key, "deg" if turns else "mm")
        if value is None:
            file.complain(key, None, "missing, while other joints of the same pose are taught")
            return None
        planned.append(value)
    taught = [filled[k].taught if k in filled else v for k, v in zip(keys, planned, strict=True)]
    flanges = arm.chain.flange_poses(np.array([planned, taught]))
    return (
        flanges[0] @ cell.tool.flange_from_tcp,
        flanges[1] @ made.tool.flange_from_tcp,
    )
