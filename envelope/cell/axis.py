"""Lifts and tracks of the cell file to arms that are carried by them."""

from ..arm.arm import Arm, Joint
from ..arm.carried import CARRIAGE, carried
from ..arm.external_axis import AxisKind, ExternalAxis, stops_between
from ..geometry.bodies import Body, frozen
from .errors import Key
from .schema import Shape
from .schema_axis import AxisPart, LiftPart, TrackPart
from .schema_cell import MountedPart
from .shapes import read_shape
from .sources import Sources
from .yaml_reading import Document

_DIRECTIONS = {"x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0)}
_UP = (0.0, 0.0, 1.0)


def on_axis(arm: Arm, part: MountedPart, document: Document, sources: Sources) -> Arm:
    """The arm on the lift or track that the cell gives it; itself without one.

    What is wrong goes to `sources`.
    """
    if part.lift is not None:
        return _carried(arm, "lift", part.lift, part.slide_margin, document, sources)
    if part.track is not None:
        return _carried(arm, "track", part.track, part.slide_margin, document, sources)
    return arm


def _carried(
    arm: Arm,
    kind: AxisKind,
    part: LiftPart | TrackPart,
    margin: float,
    document: Document,
    sources: Sources,
) -> Arm:
    standing, shapes = _standing(part)
    key: Key = ("arm", kind)
    fixed = _bodies(shapes, standing, (*key, standing), document, sources)
    moving = _bodies(part.carriage, CARRIAGE, (*key, CARRIAGE), document, sources)
    low, high = part.travel
    axis = ExternalAxis(
        kind,
        frozen(_DIRECTIONS[part.along] if isinstance(part, TrackPart) else _UP),
        _stops(part, margin),
        part.positions is not None,
    )
    joint = Joint(kind, low, high, part.speed, part.acceleration)
    try:
        return carried(arm, axis, joint, fixed, moving)
    except ValueError as error:
        sources.add(document.problem(key, str(error), "rename it in the arm's file"))
        return arm


def _standing(part: LiftPart | TrackPart) -> tuple[str, tuple[Shape, ...]]:
    """The key of what stands, and its shapes."""
    if isinstance(part, LiftPart):
        return "column", part.column
    return "rails", part.rails


def _stops(part: AxisPart, margin: float) -> tuple[float, ...]:
    if part.positions is not None:
        return tuple(sorted(set(part.positions)))
    return stops_between(*part.travel, margin)


def _bodies(
    shapes: tuple[Shape, ...], what: str, key: Key, document: Document, sources: Sources
) -> list[Body]:
    """Shapes as bodies, each with a name of its own."""
    bodies: list[Body] = []
    for index, shape in enumerate(shapes):
        name = shape.name or (what if len(shapes) == 1 else f"{what} {index + 1}")
        if name in (body.name for body in bodies):
            found = f'a second body is called "{name}"'
            sources.add(document.problem((*key, index, "name"), found))
        body = read_shape(shape, name, document, (*key, index), sources)
        if body is not None:
            bodies.append(body)
    return bodies
