"""What one picture shows: the bodies of a finding's instant, those picked out, the distance."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..checks.finding import Finding, Judged
from ..geometry.frames import Array, pose
from ..motion.cycle import Segment
from ..palletizing.group import carton_names
from .aids import Aid, aid_for
from .facets import Facets
from .instant import Moment, Scenery, Shown, moment_of, resting_joints, segment_of, waiting
from .mark import Mark, distance_text, place
from .reaching import reached_level, wanted_pose
from .spot import Posed, Spot, spot_between
from .sweep import swept

_MM = 1e3
SWEPT_ROOM = "room taken up during this segment"
_VISIBLE = 5e-4  # [m]: less growth than this is not drawn
_COVERED = 0.3  # [m]: a waiting tool this near to where it is wanted is not drawn a second time
_KINDS = r"\b(carton|link|tool|group|pallet|obstacle|infeed|conveyor)/"


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """One picture's content in the world frame.

    Attributes:
        quiet: What is only context.
        first, second: The bodies picked out.
        names: What the two are called; an empty name where nothing is picked out.
        mark: The distance that is measured, if there is one.
        overlap: What is in both bodies.
        swept: The room that tool and group take up over the segment.
        swept_is: What that is called.
        level: What is reached at the wanted height, as flat facets.
        wide: Whether the whole arm is to be seen.
    """

    quiet: tuple[Shown, ...]
    first: tuple[Facets, ...]
    second: tuple[Facets, ...]
    names: tuple[str, str]
    mark: Mark | None = None
    overlap: Facets | None = None
    swept: tuple[Facets, ...] = ()
    swept_is: str = SWEPT_ROOM
    level: tuple[Facets, ...] = ()
    wide: bool = False


def spoken(name: str) -> str:
    """Scene names as they stand in a picture: "carton/A/1/3" as "carton A/1/3"."""
    return re.sub(_KINDS, r"\1 ", name)


def mark_of(
    scenery: Scenery, judged: Judged, finding: Finding, others: Sequence[Judged]
) -> Mark | None:
    """What is measured for a finding, and where; nothing else of its scene is worked out."""
    return scene_of(scenery, judged, finding, others, bare=True).mark


def scene_of(
    scenery: Scenery,
    judged: Judged,
    finding: Finding,
    others: Sequence[Judged],
    *,
    bare: bool = False,
) -> Scene:
    """The scene of a finding at a placement.

    Args:
        scenery: The bodies of its pallet's job.
        judged: The placement.
        finding: One of its findings.
        others: All placements, for where the arm waits.
        bare: Without the room swept and the level reached, which take longest.
    """
    cycle = judged.cycle
    task = scenery.task(judged.placement.id)
    no_way = finding.segment is None and finding.gain is not None
    if finding.check == "reach" and (cycle is None or no_way):
        return _out_of_reach(scenery, judged, finding, others, bare)
    segment = None if cycle is None else segment_of(cycle, finding)
    if cycle is not None and segment is not None:
        moment = moment_of(task, cycle, segment, finding.at)
    elif cycle is not None and finding.check == "offset":
        segment = next(s for s in cycle.segments if s.name == "lift off")
        moment = moment_of(task, cycle, segment, float(segment.times[0]))
        segment = None
    else:
        event = task.first + 1 + [p.id for p in task.placements].index(judged.placement.id)
        moment = waiting(task, event, resting_joints(scenery.cell, others, judged.placement.pallet))
    return _at_moment(scenery, judged, finding, moment, segment, bare)


def _at_moment(
    scenery: Scenery,
    judged: Judged,
    finding: Finding,
    moment: Moment,
    segment: Segment | None,
    bare: bool,
) -> Scene:
    """The scene of a finding for which there is an instant."""
    shown = scenery.at(moment)
    wanted = finding.between or (carton_names(judged.placement)[0], "")
    sides = [_named(shown, name) for name in wanted]
    if not sides[0] and finding.between is None:
        sides[0] = [entry for entry in shown if entry.name in carton_names(judged.placement)]
    mark, overlap = _measured(scenery, moment, finding, sides)
    aid: Aid | None = None
    if mark is None:
        picked = [*sides[0], *sides[1]]
        aid = aid_for(scenery, finding, moment, shown, picked)
    if aid is not None:
        mark = aid.mark
        sides = [list(aid.first) or sides[0], list(aid.second) or sides[1]]
    names = [spoken(name) if side else "" for name, side in zip(wanted, sides, strict=True)]
    if aid is not None:
        names = [own or name for own, name in zip(aid.names, names, strict=True)]
    gone = {entry.actor for side in sides for entry in side}
    movers = [entry.actor for entry in sides[0]]
    grown = _grown(finding, sides)
    passing = finding.check in ("approach", "collision")  # others are about an instant, not a way
    return Scene(
        tuple(entry for entry in shown if entry.actor not in gone),
        tuple(entry.facets for entry in sides[0]),
        tuple(entry.facets for entry in sides[1]),
        (names[0], names[1]),
        mark,
        overlap,
        grown
        or (
            tuple(swept(scenery, moment, segment, movers))
            if passing and segment is not None and not bare
            else ()
        ),
        "where a row ends that has grown" if grown else SWEPT_ROOM,
        wide=aid is not None and aid.wide,
    )


def _measured(
    scenery: Scenery, moment: Moment, finding: Finding, sides: Sequence[Sequence[Shown]]
) -> tuple[Mark | None, Facets | None]:
    """The length between two bodies, or of an overhang, and what is in both bodies."""
    if not (sides[0] and sides[1] and finding.unit == "mm"):
        return None, None
    if finding.check in ("approach", "collision") or (finding.value or 0.0) < 0.0:
        spot = _spot(scenery, moment, sides[0], sides[1])
        kind = "place" if finding.value is None else "length"
        return Mark(spot.first, spot.second, distance_text(finding), kind), spot.overlap
    if finding.gain is not None and finding.value is not None:
        first, second = ([entry.facets for entry in side] for side in sides)
        return _hanging_over(first, second, np.array(finding.gain), finding), None
    return None, None


def _named(shown: Sequence[Shown], name: str) -> list[Shown]:
    """The bodies of one scene name; a grip field stands for its lips."""
    lips = name.replace("tool/", "tool/lips of ", 1)
    exact = [entry for entry in shown if entry.name == name]
    return exact or [entry for entry in shown if entry.name == lips]


def _spot(
    scenery: Scenery, moment: Moment, first: Sequence[Shown], second: Sequence[Shown]
) -> Spot:
    frames, cast = scenery.frames(moment.joints), scenery.cast

    def posed(side: Sequence[Shown]) -> list[tuple[Posed, Facets]]:
        return [
            (Posed.of(cast.parts, e.actor, frames[cast.actors[e.actor].link]), e.facets)
            for e in side
        ]

    return spot_between(posed(first), posed(second))


def _hanging_over(
    bodies: Sequence[Facets], deck: Sequence[Facets], inward: Array, finding: Finding
) -> Mark:
    """How far bodies hang over the edge of a deck, measured from the edge outwards."""
    points = np.concatenate([body.points for body in bodies])
    outermost = points[points @ inward <= (points @ inward).min() + 1e-4]
    start = outermost[np.lexsort(np.round(outermost, 6).T)[0]]  # a lower corner: it is seen
    edge = min(float((body.points @ inward).min()) for body in deck)
    start = start + (edge - float(start @ inward)) * inward
    end = start - inward * (finding.value or 0.0) / _MM
    return Mark(start, end, f"{distance_text(finding)} over the edge")


def _grown(finding: Finding, sides: Sequence[Sequence[Shown]]) -> tuple[Facets, ...]:
    """A carton where it hangs over a deck only because its row has grown; else nothing."""
    if finding.check != "stacking" or finding.gain is None or not (sides[0] and sides[1]):
        return ()
    inward, value = np.array(finding.gain), (finding.value or 0.0) / _MM
    bodies, deck = ([entry.facets for entry in side] for side in sides)
    edge = min(float((body.points @ inward).min()) for body in deck)
    drawn = edge - min(float((body.points @ inward).min()) for body in bodies)
    if value - drawn < _VISIBLE:
        return ()
    return tuple(body.moved(pose(*(-inward * (value - drawn)))) for body in bodies)


def _out_of_reach(
    scenery: Scenery, judged: Judged, finding: Finding, others: Sequence[Judged], bare: bool
) -> Scene:
    """Tool and group where they are wanted, the level that is reached, and the way there."""
    task = scenery.task(judged.placement.id)
    over = judged.cycle is not None
    wanted, lifted = wanted_pose(scenery.cell, scenery.pallet, task, finding.segment, over=over)
    joints = resting_joints(scenery.cell, others, judged.placement.pallet)
    shown = scenery.at(waiting(task, task.first, joints))
    flange = scenery.cell.mounted.arm.chain.flange_link
    frames = scenery.frames(joints)
    if np.linalg.norm(frames[flange][:3, 3] - wanted.link[:3, 3]) < _COVERED:
        shown = [entry for entry in shown if entry.role not in ("tool", "lips")]
    frames[flange] = wanted.link
    carried = tuple(range(len(task.group.items)))
    moment = Moment(task, joints, task.first, "transfer", carried, task.group.turns[0])
    target = [
        scenery.placed(entry.actor, frames)
        for entry in scenery.at(moment)
        if entry.role in ("tool", "lips", "carried")
    ]
    mark = place(wanted.tcp, "wanted here")
    if finding.gain is not None and finding.value is not None:
        shift = np.array(finding.gain) * abs(finding.value) / _MM
        text = f"{abs(finding.value):.0f} mm out of reach"
        mark = Mark(wanted.tcp, wanted.tcp + shift, text, "shift")
    name = f"tool and group {lifted} {judged.placement.id}"
    level = () if bare else tuple(reached_level(scenery.cell, wanted))
    nothing = not (bare or level)
    return Scene(tuple(shown), tuple(target), (), (name, ""), mark, level=level, wide=nothing)
