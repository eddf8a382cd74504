"""Tool files to tools."""

from dataclasses import replace
from pathlib import Path
from typing import Literal

import numpy as np

from ..geometry.bodies import Body, Box, frozen
from ..geometry.frames import Array, invert
from ..geometry.inertia import combined, even_density
from .catalogue import Complain, find_model
from .errors import CellError, Key
from .holding import Clamp, Fork, Vacuum
from .model import Default, GripField, Tool
from .schema_tool import Cups, Field_, Pads, ToolPart
from .shapes import bounds, place_pose, read_shape
from .sources import Sources
from .validation import defaults_of, validated
from .yaml_reading import Document

ROUNDING = 1e-6  # [m]: fields side by side may share an edge
_POINTS = 5  # along each side of a face without cups


def read_tool(name: str, folder: Path | None, complain: Complain, sources: Sources) -> Tool | None:
    """The tool of that name or path.

    Returns:
        None where something is wrong; the problems are then in `sources`.
    """
    try:
        document = find_model(name, "tools", folder, complain)
    except CellError as error:
        sources.add(*error.problems)
        return None
    sources.used("tool", document.content)
    part, problems = validated(ToolPart, document)
    sources.add(*problems)
    if part is None:
        return None
    left_out = tuple(Default(key, value) for key, value in defaults_of(part, "tool"))
    tool = make_tool(part, document, (), sources, Path(name).stem)
    return None if tool is None else replace(tool, defaults=left_out)


def make_tool(
    part: ToolPart, document: Document, key: Key, sources: Sources, name: str
) -> Tool | None:
    """A tool of its part of a file; None where something is wrong."""
    before = len(sources.problems)
    bodies: list[Body] = []
    for index, shape in enumerate(part.bodies):
        own = shape.name or f"part {index + 1}"
        here: Key = (*key, "bodies", index)
        if own in (body.name for body in bodies):
            sources.add(document.problem((*here, "name"), f'a second body is called "{own}"'))
        body = read_shape(shape, own, document, here, sources)
        if body is not None:
            bodies.append(body)
    _check_apart(part.fields, document, key, sources)
    if len(sources.problems) > before:
        return None
    flange_from_tcp = frozen(place_pose(part.tcp.at))
    on: Literal["free", "compressed"] = part.tcp.on
    fields = tuple(
        _field(field_name, field, on, flange_from_tcp, bodies, document, key, sources)
        for field_name, field in part.fields.items()
    )
    if len(sources.problems) > before:
        return None
    return Tool(
        part.name or name,
        tuple(bodies),
        flange_from_tcp,
        on,
        part.mass,
        part.centre_of_gravity,
        _inertia(part, bodies),
        fields,
        vacuum=None if part.vacuum is None else Vacuum(**part.vacuum.model_dump()),
    )


def _inertia(part: ToolPart, bodies: list[Body]) -> Array:
    """About the centre of gravity as stated, shape (3, 3) [kg m2].

    Errs: where it is not stated, on the safe side if the bodies are as drawn: filled evenly,
    they are taken about the stated centre of gravity, not about their own.
    """
    own = part.inertia
    if own is not None:
        return frozen(
            [[own.xx, own.xy, own.xz], [own.xy, own.yy, own.yz], [own.xz, own.yz, own.zz]]
        )
    filled = combined(even_density(body) for body in bodies).scaled(part.mass)
    return frozen(filled.about(np.array(part.centre_of_gravity)))


def _check_apart(fields: dict[str, Field_], document: Document, key: Key, sources: Sources) -> None:
    """Grip fields must not overlap: a cup belongs to one of them."""
    named = list(fields.items())
    for index, (name, field) in enumerate(named):
        for other_name, other in named[:index]:
            apart = [
                abs(field.centre[k] - other.centre[k]) - (field.size[k] + other.size[k]) / 2
                for k in (0, 1)
            ]
            if max(apart) < -ROUNDING:
                found = f'overlaps the grip field "{other_name}" by {-max(apart) * 1e3:g} mm'
                right = "move the centres apart, or make one field of both"
                sources.add(document.problem((*key, "fields", name), found, right))


def _field(
    name: str,
    part: Field_,
    on: Literal["free", "compressed"],
    flange_from_tcp: Array,
    bodies: list[Body],
    document: Document,
    key: Key,
    sources: Sources,
) -> GripField:
    here: Key = (*key, "fields", name)
    cups, half, area = _cups(part)
    outside = np.abs(cups - part.centre) + half - np.array(part.size) / 2
    if outside.max() > ROUNDING:
        kind = "cups" if part.cups else "pads"
        found = f"the {kind} reach {outside.max() * 1e3:g} mm beyond the field"
        right = "make the field larger, or the pitch smaller"
        sources.add(document.problem((*here, kind), found, right))
    lips, grip = None, _grip(part)
    if grip is None:
        lips = _checked_lips(name, part, on, flange_from_tcp, bodies, document, here, sources)
        _check_under(cups, half, bodies, flange_from_tcp, document, here, sources)
    return GripField(
        name,
        part.centre,
        part.size,
        frozen(cups),
        float(np.min(half)),
        part.stroke or 0.0,
        part.compression or 0.0,
        lips,
        None if part.pads is None else (float(half[0]), float(half[1])),
        area,
        grip,
    )


def _grip(part: Field_) -> Clamp | Fork | None:
    """Jaws or fork; None where the field holds by vacuum."""
    if part.clamp is not None:
        return Clamp(**part.clamp.model_dump())
    return None if part.fork is None else Fork(**part.fork.model_dump())


def _checked_lips(
    name: str,
    part: Field_,
    on: Literal["free", "compressed"],
    flange_from_tcp: Array,
    bodies: list[Body],
    document: Document,
    here: Key,
    sources: Sources,
) -> Body | None:
    """The soft part; says where a rigid body is in its place."""
    # Convention: the lips' plane lies at the TCP, free or compressed as the file says.
    free = (part.compression or 0.0) if on == "compressed" else 0.0
    lips = _lips(name, part, free, flange_from_tcp, bodies)
    if lips is None:
        found = "a rigid body reaches down to its compressed lips"
        right = "rigid parts must end above them: shorten the body, or lower the TCP"
        sources.add(document.problem(here, found, right))
    return lips


def _check_under(
    cups: Array,
    half: Array,
    bodies: list[Body],
    flange_from_tcp: Array,
    document: Document,
    here: Key,
    sources: Sources,
) -> None:
    """Cups hang under something rigid: the middle of each lies within a body, seen from below."""
    tcp_from_flange = invert(flange_from_tcp)
    under = np.zeros(len(cups), bool)
    for body in bodies:
        low, high = bounds(body, tcp_from_flange)
        # A bracket may hold a cup at its rim.
        under |= np.all((cups >= low[:2] - half) & (cups <= high[:2] + half), axis=1)
    if not under.all():
        x, y = cups[int(np.argmin(under))] * 1e3
        found = f"the cup at ({x:g}, {y:g}) is outside the tool: no rigid body is above it"
        sources.add(document.problem(here, found, "move the field, or draw what carries it"))


def _cups(part: Field_) -> tuple[Array, Array, float]:
    """Centres, shape (n, 2), half the extent of one, shape (2,) [m], and its area [m2].

    Of jaws or a fork: points of the field's face, without extent.
    """
    layout: Cups | Pads | None = part.cups or part.pads
    if layout is None:
        x, y = (part.centre[k] + np.linspace(-0.5, 0.5, _POINTS) * part.size[k] for k in range(2))
        points: Array = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2).astype(float)
        return points, np.zeros(2), 0.0
    if isinstance(layout, Cups):
        extent, whole = (layout.diameter, layout.diameter), np.pi * layout.diameter**2 / 4
    else:
        extent, whole = layout.size, layout.size[0] * layout.size[1]
    half, area = np.array(extent) / 2, float(layout.area or whole)
    if layout.at is not None:
        return np.array(layout.at, float), half, area
    rows, columns, pitch = layout.rows or 1, layout.columns or 1, layout.pitch or (0.0, 0.0)
    x = (np.arange(columns) - (columns - 1) / 2) * pitch[0] + part.centre[0]
    y = (np.arange(rows) - (rows - 1) / 2) * pitch[1] + part.centre[1]
    grid: Array = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2).astype(float)
    return grid, half, area


def _lips(
    name: str, part: Field_, free: float, flange_from_tcp: Array, bodies: list[Body]
) -> Body | None:
    """The soft part: a box from the free lips up to the rigid face over the field.

    Returns:
        None where a rigid body over the field reaches down to the compressed lips.
    """
    tcp_from_flange = invert(flange_from_tcp)
    half, stroke = np.array(part.size) / 2, part.stroke or 0.0
    lowest, face = -np.inf, -np.inf  # of all rigid bodies over the field; of those that cover it
    for body in bodies:
        low, high = bounds(body, tcp_from_flange)
        if np.all((low[:2] < part.centre + half) & (high[:2] > part.centre - half)):
            lowest = max(lowest, float(high[2]))
        near = half - ROUNDING
        if np.all((low[:2] <= part.centre - near) & (high[:2] >= part.centre + near)):
            face = max(face, float(high[2]))
    if lowest > free - (part.compression or 0.0) - ROUNDING:
        return None
    if face == -np.inf:  # nothing rigid covers the field: at least what can be pressed in
        face = min(lowest, free - stroke) if lowest > -np.inf else free - stroke
    local = np.eye(4)
    local[:3, 3] = *part.centre, (free + face) / 2
    box = Box(frozen([half[0], half[1], (free - face) / 2]))
    return Body(f"lips {name}", box, frozen(flange_from_tcp @ local))
