"""Cartons and groups of the cell file, and which grip field holds which carton."""

import numpy as np

from ..geometry.frames import Array
from ..palletizing.footprint import gap, rectangle
from ..palletizing.group import Carton, Group, Item
from .errors import Key
from .model import Default, Tool
from .schema_cell import CartonPart, GroupPart
from .sources import Sources
from .yaml_reading import Document

TOUCHING = 1e-4  # [m]: cartons of a group may touch, and rounding may overlap them this far
LEAST_SHARE = 0.6  # share of a field's cups over a carton that makes it the carton's own
MOST_CARTONS = 200  # in a group; no tool carries as many


def make_cartons(parts: dict[str, CartonPart]) -> dict[str, Carton]:
    """Carton types by name."""
    return {
        name: Carton(name, part.size, part.mass, part.labels, part.bulge, part.sag, part.tilt)
        for name, part in parts.items()
    }


def make_groups(
    parts: dict[str, GroupPart],
    cartons: dict[str, Carton],
    tool: Tool,
    document: Document,
    sources: Sources,
) -> tuple[dict[str, Group], list[Default]]:
    """Groups by name: those of the file, and one of each carton type whose name is free."""
    groups: dict[str, Group] = {}
    defaults: list[Default] = []
    for name, part in parts.items():
        key: Key = ("groups", name)
        items = _items(part, cartons)
        if not _items_fit(items, document, key, sources):
            continue
        fields = _stated_fields(part, len(items), document, key, sources)
        if fields is None:
            fields = derived_fields(items, tool, part.offset)
            if fields is None:
                found = "no grip field can be told for each carton"
                right = "write fields: {1: FIELD, 2: FIELD, ...} or another offset"
                sources.add(document.problem(key, found, right))
                continue
            defaults.append(Default(f"groups.{name}.fields", _fields_text(fields)))
        groups[name] = Group(name, items, fields, part.offset, part.turns)
    for name, carton in cartons.items():
        if name not in groups and name not in parts:
            items = (Item(carton, 0.0, 0.0),)
            fields = derived_fields(items, tool, None) or ((tool.fields[0].name,),)
            groups[name] = Group(name, items, fields)
    return groups, defaults


def default_of_group(group: Group) -> Default:
    """The remark on a group that the file leaves out."""
    return Default(f"groups.{group.name}", f"one carton, held by {_fields_text(group.fields)}")


def derived_fields(
    items: tuple[Item, ...], tool: Tool, offset: tuple[float, float] | None
) -> tuple[tuple[str, ...], ...] | None:
    """For each carton the fields of which most cups lie over it.

    Without a stated offset the group hangs centred under all fields; where that tells
    nothing, a single carton takes the first field.

    Returns:
        None where a carton is left without a field.
    """
    if len(tool.fields) == 1 and len(items) == 1:
        return ((tool.fields[0].name,),)
    centre = offset
    if centre is None:
        corners = np.array([[f.centre, f.size] for f in tool.fields])
        low = (corners[:, 0] - corners[:, 1] / 2).min(axis=0)
        high = (corners[:, 0] + corners[:, 1] / 2).max(axis=0)
        centre = (float(low[0] + high[0]) / 2, float(low[1] + high[1]) / 2)
    if len(tool.fields) == 1:
        share = [_share(item, tool.fields[0].cups, centre) for item in items]
        name = (tool.fields[0].name,)
        return tuple(name for _ in items) if min(share) > 0.0 else None
    fields = tuple(
        tuple(f.name for f in tool.fields if _share(item, f.cups, centre) >= LEAST_SHARE)
        for item in items
    )
    if all(fields):
        return fields
    return ((tool.fields[0].name,),) if len(items) == 1 and offset is None else None


def _share(item: Item, cups: Array, centre: tuple[float, float]) -> float:
    """Share of cups (tool frame) whose centre lies over a carton of a group centred there."""
    # The tool's z points down at the group, whose z points up: y runs against y.
    x = cups[:, 0] - (centre[0] + item.x)
    y = (centre[1] - item.y) - cups[:, 1]
    c, s = np.cos(item.yaw), np.sin(item.yaw)
    along, across = c * x + s * y, c * y - s * x
    length, width, _ = item.carton.size
    over = (np.abs(along) <= length / 2) & (np.abs(across) <= width / 2)
    return int(np.count_nonzero(over)) / len(cups)


def _fields_text(fields: tuple[tuple[str, ...], ...]) -> str:
    if len(set(fields)) == 1:
        return " + ".join(fields[0])
    return ", ".join(f"{n}: {' + '.join(names)}" for n, names in enumerate(fields, start=1))


def _items(part: GroupPart, cartons: dict[str, Carton]) -> tuple[Item, ...]:
    """The cartons of a group, centred on its frame."""
    if part.row is not None:
        carton = cartons[part.row.carton]
        axis = 0 if part.row.along == "x" else 1
        pitch = carton.size[axis] + part.row.gap
        steps = [(k - (part.row.count - 1) / 2) * pitch for k in range(part.row.count)]
        return tuple(Item(carton, *((s, 0.0) if axis == 0 else (0.0, s))) for s in steps)
    written = [
        Item(cartons[entry.carton], entry.at.x, entry.at.y, entry.at.yaw)
        for entry in part.cartons or ()
    ]
    low, high = Group("", tuple(written), ()).extent()
    x, y = float(low[0] + high[0]) / 2, float(low[1] + high[1]) / 2
    return tuple(Item(item.carton, item.x - x, item.y - y, item.yaw) for item in written)


def _items_fit(items: tuple[Item, ...], document: Document, key: Key, sources: Sources) -> bool:
    """Whether cartons lie side by side with flush tops; says what does not."""
    if len(items) > MOST_CARTONS:
        found = f"{len(items)} cartons are more than a tool carries"
        sources.add(document.problem(key, found, f"write at most {MOST_CARTONS}"))
        return False
    fits = True
    heights = sorted({item.carton.size[2] for item in items})
    if heights[-1] - heights[0] > TOUCHING:
        found = f"its cartons are {heights[0] * 1e3:g} and {heights[-1] * 1e3:g} mm high"
        right = "cartons of one group stand on the belt with their tops flush"
        sources.add(document.problem(key, found, right))
        fits = False
    quads = [rectangle((item.x, item.y), item.carton.size[:2], item.yaw) for item in items]
    for index, quad in enumerate(quads):
        for other in range(index):
            depth = -gap(quad, quads[other])
            if depth > TOUCHING:
                found = f"cartons {other + 1} and {index + 1} overlap by {depth * 1e3:g} mm"
                sources.add(document.problem((*key, "cartons", index), found, "move one of them"))
                fits = False
    return fits


def _stated_fields(
    part: GroupPart, count: int, document: Document, key: Key, sources: Sources
) -> tuple[tuple[str, ...], ...] | None:
    """The fields the file states for each carton; None where it states none."""
    if part.fields is None:
        return None
    here: Key = (*key, "fields")
    for number in part.fields:
        if not 1 <= number <= count:
            found = f"there is no carton {number}"
            right = f"the group's cartons are 1 to {count}"
            sources.add(document.problem((*here, str(number)), found, right))
    for number in range(1, count + 1):
        if number not in part.fields:
            right = "write the fields of each carton, or leave fields out"
            sources.add(document.problem(here, f"carton {number} has no grip field", right))
    return tuple(part.fields.get(number, ()) for number in range(1, count + 1))
