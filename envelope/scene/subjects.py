"""What one picture shows: the bodies of a finding's instant, those picked out, the distance."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..checks.finding import Finding, Judged
from ..geometry.frames import Array
from ..motion.cycle import Segment
from ..palletizing.group import carton_names
from .facets import Facets
from .instant import Moment, Scenery, Shown, moment_of, resting_joints, segment_of, waiting
from .reaching import reached_level, wanted_pose
from .spot import Posed, Spot, spot_between
from .sweep import swept

_MM = 1e3
_COVERED = 0.3  # [m]: a waiting tool this near to where it is wanted is not drawn a second time
_KINDS = r"\b(carton|link|tool|group|pallet|obstacle|infeed|conveyor)/"


@dataclass(frozen=True, slots=True, eq=False)
class Mark:
    """A measured length, or a shift that is asked for.

    Attributes:
        start, end: Shape (3,) [m].
        text: What stands beside it.
        kind: A measured length, a shift from start to end, or only the place between them.
    """

    start: Array
    end: Array
    text: str
    kind: Literal["length", "shift", "place"] = "length"

    @property
    def middle(self) -> Array:
        """Half-way between the ends."""
        return (self.start + self.end) / 2


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
        level: What is reached at the wanted height, as flat facets.
    """

    quiet: tuple[Shown, ...]
    first: tuple[Facets, ...]
    second: tuple[Facets, ...]
    names: tuple[str, str]
    mark: Mark | None = None
    overlap: Facets | None = None
    swept: tuple[Facets, ...] = ()
    level: tuple[Facets, ...] = ()


def spoken(name: str) -> str:
    """Scene names as they stand in a picture: "carton/A/1/3" as "carton A/1/3"."""
    return re.sub(_KINDS, r"\1 ", name)


def scene_of(scenery: Scenery, judged: Judged, finding: Finding, others: Sequence[Judged]) -> Scene:
    """The scene of a finding at a placement; others: all placements, for where the arm waits."""
    cycle = judged.cycle
    task = scenery.task(judged.placement.id)
    no_way = finding.segment is None and finding.gain is not None
    if finding.check == "reach" and (cycle is None or no_way):
        return _out_of_reach(scenery, judged, finding, others)
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
    return _at_moment(scenery, judged, finding, moment, segment)


def _at_moment(
    scenery: Scenery, judged: Judged, finding: Finding, moment: Moment, segment: Segment | None
) -> Scene:
    """The scene of a finding for which there is an instant."""
    shown = scenery.at(moment)
    wanted = finding.between or (carton_names(judged.placement)[0], "")
    sides = [_named(shown, name) for name in wanted]
    if not sides[0] and finding.between is None:
        sides[0] = [entry for entry in shown if entry.name in carton_names(judged.placement)]
    first, second = ([entry.facets for entry in side] for side in sides)
    picked = {entry.actor for side in sides for entry in side}
    mark, overlap = None, None
    if first and second and finding.unit == "mm":
        if finding.check in ("approach", "collision") or (finding.value or 0.0) < 0.0:
            spot = _spot(scenery, moment, sides[0], sides[1])
            kind = "place" if finding.value is None else "length"
            mark = Mark(spot.first, spot.second, distance_text(finding), kind)
            overlap = spot.overlap
        elif finding.gain is not None and finding.value is not None:
            mark = _hanging_over(first, second, np.array(finding.gain), finding)
    movers = [entry.actor for entry in sides[0]]
    return Scene(
        tuple(entry for entry in shown if entry.actor not in picked),
        tuple(first),
        tuple(second),
        (spoken(wanted[0]) if first else "", spoken(wanted[1]) if second else ""),
        mark,
        overlap,
        tuple(swept(scenery, moment, segment, movers)) if segment is not None else (),
    )


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
    start = (outermost.min(axis=0) + outermost.max(axis=0)) / 2
    start[2] = outermost[:, 2].min()
    edge = min(float((body.points @ inward).min()) for body in deck)
    start = start + (edge - float(start @ inward)) * inward
    return Mark(start, start - inward * (finding.value or 0.0) / _MM, distance_text(finding))


def _out_of_reach(
    scenery: Scenery, judged: Judged, finding: Finding, others: Sequence[Judged]
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
    mark = None
    if finding.gain is not None and finding.value is not None:
        shift = np.array(finding.gain) * abs(finding.value) / _MM
        text = f"{abs(finding.value):.0f} mm out of reach"
        mark = Mark(wanted.tcp, wanted.tcp + shift, text, "shift")
    name = f"tool and group {lifted} {judged.placement.id}"
    level = reached_level(scenery.cell, wanted)
    return Scene(tuple(shown), tuple(target), (), (name, ""), mark, level=tuple(level))


def in_units(value: float, unit: str) -> str:
    """A value with its unit, no more digits than can be told."""
    text = f"{value:.1f}".removesuffix(".0")
    return f"{text} {unit}".rstrip()


def distance_text(finding: Finding) -> str:
    """A finding's value as it stands beside the measured length.

    Of a proved bracket it is the lower end, rounded down: what is shown is still proved.
    """
    value = finding.value
    if value is None:
        return "overlaps"
    if finding.upper is not None:
        value = float(np.floor(value * 10.0 + 1e-6) / 10.0) + 0.0
    if value >= 0.0:
        return in_units(value, finding.unit)
    if finding.upper is None and finding.check in ("approach", "collision"):
        return f"overlap > {in_units(-value, finding.unit)}"
    return f"overlap {in_units(-value, finding.unit)}"
