"""What is pointed out where a finding is not about the distance of two bodies.

The height of a stack, a corner that nothing carries, an offset, a joint at its limit: each has
a place, mostly a length, and bodies that explain it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..checks.finding import Finding
from ..geometry.frames import Array, invert
from ..motion.grip import centre_in_tool, tool_from_group
from ..motion.stations import world_from_picked
from .facets import Facets
from .instant import Moment, Scenery, Shown
from .mark import Mark, against_limit, in_units, place

_MM = 1e3
_RESTS = 3e-3  # [m]: a top this near under a bottom carries it
_BESIDE = 0.06  # [m]: a height is measured this far beside what is measured
_APART = 1e-3  # [m]: footprints that overlap by less than this do not carry each other


@dataclass(frozen=True, slots=True, eq=False)
class Aid:
    """A place to point at.

    Attributes:
        mark: What is measured there.
        first, second: Bodies that are picked out instead of those that the finding names.
        names: What these are called.
        wide: Whether the whole arm is to be seen.
    """

    mark: Mark
    first: tuple[Shown, ...] = ()
    second: tuple[Shown, ...] = ()
    names: tuple[str, str] = ("", "")
    wide: bool = False


def aid_for(
    scenery: Scenery,
    finding: Finding,
    moment: Moment,
    shown: Sequence[Shown],
    picked: Sequence[Shown],
) -> Aid | None:
    """The place of a finding.

    Args:
        scenery: The bodies of the pallet's job.
        finding: What was found.
        moment: The instant that is shown.
        shown: All bodies at that instant.
        picked: Those that the finding is about.
    """
    if finding.check == "reach" and finding.segment is not None:
        return _of_a_joint(scenery, finding, moment, shown)
    if not picked:
        return None
    if finding.check == "stacking" and finding.between is None:
        return _of_a_stack(scenery, finding, shown, picked[0])
    if finding.check == "offset" and finding.unit == "mm":
        return _of_an_offset(scenery, finding, moment)
    return Aid(place(_top(picked[-1].facets), against_limit(finding, "limit") or "here"))


def _top(body: Facets) -> Array:
    """The middle of a body's top."""
    low, high = body.points.min(axis=0), body.points.max(axis=0)
    return np.array([*(low + high)[:2] / 2, high[2]])


def _of_a_stack(scenery: Scenery, finding: Finding, shown: Sequence[Shown], carton: Shown) -> Aid:
    """Height, load, and what carries a carton."""
    pallet, limit = scenery.pallet, finding.limit
    top = (pallet.max_height or np.inf) * _MM
    if finding.unit == "mm" and limit is not None and abs(limit - top) < 1e-3:
        return Aid(_height(scenery, finding, carton))
    if finding.unit not in ("%", "corners", "mm"):
        words = against_limit(finding, "allowed").replace(",", " on the pallet,", 1)
        return Aid(place(_top(carton.facets), words or "here"))
    seats = _seats(carton, shown)
    if finding.unit == "mm":
        side = "outside" if (finding.value or 0.0) < 0.0 else "inside the edge"
        words = f"centre of gravity {in_units(abs(finding.value or 0.0), 'mm')} {side}"
        mark = place(_top(carton.facets), words)
    else:
        words = against_limit(finding, "asked").replace(",", " carried,", 1)
        mark = place(_bare_corner(carton, seats), words)
    return Aid(mark, second=tuple(seats), names=("", "what carries it" if seats else ""))


def _height(scenery: Scenery, finding: Finding, carton: Shown) -> Mark:
    """From the foot of the pallet to the top of a carton, at its outer corner."""
    pallet = scenery.pallet
    deck = pallet.world_from_pallet
    middle = deck[:3, :3] @ np.array([pallet.size[0] / 2, pallet.size[1] / 2, 0.0]) + deck[:3, 3]
    points = carton.facets.points
    tops = points[points[:, 2] > points[:, 2].max() - 1e-6]
    end = max(tops, key=lambda top: round(float(np.hypot(*(top - middle)[:2])), 6))
    out = (end - middle) * [1.0, 1.0, 0.0]
    end = end + _BESIDE * out / max(float(np.linalg.norm(out)), 1e-9)
    start = np.array([*end[:2], deck[2, 3] - pallet.size[2]])
    return Mark(start, end, against_limit(finding, "allowed"))


def _box(body: Facets) -> tuple[Array, Array]:
    return body.points.min(axis=0), body.points.max(axis=0)


def _seats(carton: Shown, shown: Sequence[Shown]) -> list[Shown]:
    """The bodies right under a carton."""
    low, high = _box(carton.facets)
    found: list[Shown] = []
    for entry in shown:
        if entry.role not in ("placed", "pallet") or entry.actor == carton.actor:
            continue
        under, over = _box(entry.facets)
        beside = (np.minimum(high, over) - np.maximum(low, under))[:2].min() < _APART
        if abs(over[2] - low[2]) < _RESTS and not beside:
            found.append(entry)
    return found


def _bare_corner(carton: Shown, seats: Sequence[Shown]) -> Array:
    """The corner of a carton's bottom that is farthest from being carried."""
    points = carton.facets.points
    corners = points[points[:, 2] < points[:, 2].min() + 1e-6]
    boxes = [_box(seat.facets) for seat in seats]

    def bare(corner: Array) -> float:
        off = [np.maximum(np.maximum(low - corner, corner - high), 0.0) for low, high in boxes]
        return round(min((float(np.hypot(*away[:2])) for away in off), default=0.0), 6)

    return max(corners, key=bare)


def _of_an_offset(scenery: Scenery, finding: Finding, moment: Moment) -> Aid | None:
    """From the group's centre to where it is stated to be."""
    group, turn, tool = moment.task.group, moment.turn, scenery.cell.tool
    taught = group.taught_at(turn)
    told = group.stated_offset if taught is None or taught.stated is None else taught.stated
    if told is None:
        return None
    tool_from = tool_from_group(tool, group, turn)
    world_from_tool = world_from_picked(scenery.cell, group) @ invert(tool_from)

    def world(at: Array) -> Array:
        point = np.array([at[0], at[1], tool_from[2, 3], 1.0])
        return (world_from_tool @ point)[:3]

    start, end = world(centre_in_tool(tool, group, turn)), world(np.array(told))
    return Aid(Mark(start, end, against_limit(finding, "allowed").replace(",", " off,", 1)))


def _of_a_joint(scenery: Scenery, finding: Finding, moment: Moment, shown: Sequence[Shown]) -> Aid:
    """The joint that has too little room or speed, or the flange by the first joint's axis."""
    arm = scenery.cell.mounted.arm
    chain, frames = arm.chain, scenery.frames(moment.joints)
    flange = (frames[chain.flange_link] @ chain.link_from_flange)[:3, 3]
    named = [k for k, j in enumerate(arm.joints) if finding.message.startswith(f"{j.name} ")]
    moved = [k + 1 for k, link in enumerate(chain.links) if link.source in named[:1]]
    if moved:
        link = moved[0]
        text = f"{arm.joints[named[0]].name}: {_room(finding)}"
        bodies = tuple(
            e for e in shown if scenery.cast.actors[e.actor].link == link and e.role == "arm"
        )
        name = f"link {chain.names[link]}" if bodies else ""
        at = _on_axis(frames[link], chain.links[link - 1].axis, bodies)
        return Aid(place(at, text), first=bodies, names=(name, ""), wide=True)
    turning = [k for k in chain.path(chain.flange_link) if not chain.links[k - 1].prismatic]
    if finding.unit != "mm" or finding.value is None or not turning:
        return Aid(place(flange, f"a joint: {_room(finding)}"), wide=True)
    start = np.array([*frames[turning[0]][:2, 3], flange[2]])
    return Aid(Mark(start, flange, against_limit(finding, "asked")), wide=True)


def _on_axis(frame: Array, axis: Array, bodies: Sequence[Shown]) -> Array:
    """The point of a joint's axis that is nearest to the middle of the bodies it moves first."""
    origin = frame[:3, 3]
    if not bodies:
        return origin
    along = frame[:3, :3] @ axis
    low, high = _box(bodies[0].facets)
    return origin + float(((low + high) / 2 - origin) @ along) * along


def _room(finding: Finding) -> str:
    """Room to a joint's limit, or a share of its speed, with the limit where it is not nought."""
    value = finding.value or 0.0
    if finding.limit:
        return against_limit(finding, "limit")
    if value < 0.0:
        return f"{in_units(-value, finding.unit)} beyond its range"
    return f"{in_units(value, finding.unit)} of room"
