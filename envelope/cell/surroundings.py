"""What stands still: pedestal, floor, conveyor, pallets and the rest, in the world frame."""

from typing import cast

import numpy as np

from ..geometry.bodies import Body, Box, frozen
from ..geometry.frames import Array, pose
from ..palletizing.group import Group
from .errors import Key
from .model import Detectors, Fixture, FixtureKind, Infeed
from .schema_cell import GuidesPart, InfeedPart, MountedPart, PalletPart, SurroundingPart
from .shapes import box_body, read_shape, stand_pose
from .sources import Sources
from .yaml_reading import Document

FLOOR_REACH = 5.0  # [m]: the floor counts this far from the mounting base, farther than arms do
FLOOR_DEPTH = 0.1  # [m]


def floor(world_from_base: Array, travel: float = 0.0) -> Fixture:
    """The floor around the arm as a slab with its top at z = 0.

    Args:
        world_from_base: Pose of the mounting base.
        travel: How far a track may carry it from there [m].
    """
    x, y = world_from_base[:2, 3]
    far = FLOOR_REACH + travel
    slab = Box(frozen([far, far, FLOOR_DEPTH / 2]))
    return Fixture("obstacle", Body("obstacle/floor", slab, frozen(pose(x, y, -FLOOR_DEPTH / 2))))


def pedestal(part: MountedPart, document: Document, sources: Sources) -> Fixture | None:
    """The pedestal under the mounting base, if there is one."""
    if part.pedestal is None:
        return None
    if part.at.z <= 0.0:
        found = "the mounting base is not above the floor"
        right = "leave the pedestal out, or raise arm.at.z"
        sources.add(document.problem(("arm", "pedestal"), found, right))
        return None
    length, width = part.pedestal.size
    low = np.array([-length / 2, -width / 2, -part.at.z])
    return Fixture("pedestal", box_body("pedestal", low, -low * [1, 1, 0], stand_pose(part.at)))


def infeed(
    part: InfeedPart, groups: tuple[Group, ...], document: Document, sources: Sources
) -> Infeed:
    """The infeed with its solids."""
    world = frozen(stand_pose(part.at))
    fixtures: list[Fixture] = _belt(part, world, document, sources)
    height = 0.0
    if part.guides is not None:
        fixtures += _guides(part, part.guides, groups, world)
        height = part.guides.height
    if part.stop is not None:
        low = np.array([-part.stop.thickness, -part.width / 2, 0.0])
        high = np.array([0.0, part.width / 2, part.stop.height])
        fixtures.append(Fixture("stop", box_body("conveyor/stop", low, high, world)))
        height = max(height, part.stop.height)
    return Infeed(
        world,
        tuple(fixtures),
        part.queue,
        part.queue_gap,
        part.carton_turn,
        height,
        _detectors(part, document, sources),
    )


def _detectors(part: InfeedPart, document: Document, sources: Sources) -> Detectors:
    """What sees the cartons, its stated positions along the infeed and rising."""
    key: Key = ("infeed", "detectors", "positions")
    at = part.detectors.positions
    if at is not None and not at:
        right = "write at least one, or leave them out"
        sources.add(document.problem(key, "the list of positions is empty", right))
    for index, place in enumerate(at or ()):
        if at is not None and index and place <= at[index - 1]:
            right = "write them from the end stop on, each once"
            sources.add(document.problem((*key, index), "the positions do not rise", right))
        if place > part.length:
            right = f"write at most {part.length * 1e3:g}"
            sources.add(document.problem((*key, index), "is past the infeed's end", right))
    return Detectors(**part.detectors.model_dump())


def _belt(part: InfeedPart, world: Array, document: Document, sources: Sources) -> list[Fixture]:
    if part.bodies is not None:
        made: list[Fixture] = []
        for index, shape in enumerate(part.bodies):
            name = f"conveyor/{shape.name or f'part {index + 1}'}"
            key: Key = ("infeed", "bodies", index)
            if name in (fixture.body.name for fixture in made):
                found = f'a second body is called "{shape.name}"'
                sources.add(document.problem((*key, "name"), found))
            body = read_shape(shape, name, document, key, sources, world)
            if body is not None:
                made.append(Fixture("conveyor", body))
        return made
    depth = part.at.z if part.depth is None else part.depth
    if depth <= 0.0:
        found = "the belt is not above the floor"
        sources.add(document.problem(("infeed", "at", "z"), found, "raise it, or write a depth"))
        return []
    low = np.array([0.0, -part.width / 2, -depth])
    high = np.array([part.length, part.width / 2, 0.0])
    return [Fixture("conveyor", box_body("conveyor/belt", low, high, world))]


def _guides(
    part: InfeedPart, guides: GuidesPart, groups: tuple[Group, ...], world: Array
) -> list[Fixture]:
    """Guides beside the widest group put down; they end at the stop's face, and leave it open."""
    inner = max(_half_width(group, part.carton_turn) for group in groups) + guides.gap
    fixtures: list[Fixture] = []
    # Cartons travel towards -x, so that left, seen along the travel, is -y.
    for side, sign in (("left", -1.0), ("right", 1.0)):
        if guides.sides in ("both", side):
            across = sorted((sign * inner, sign * (inner + guides.thickness)))
            low = np.array([0.0, across[0], 0.0])
            high = np.array([part.length, across[1], guides.height])
            fixtures.append(Fixture("guide", box_body(f"conveyor/guide {side}", low, high, world)))
    return fixtures


def _half_width(group: Group, turn: float) -> float:
    """Half the extent of a group across the belt [m]."""
    half = (group.extent()[1] - group.extent()[0])[:2] / 2
    return float(abs(np.sin(turn)) * half[0] + abs(np.cos(turn)) * half[1])


def pallet_fixture(name: str, part: PalletPart, document: Document, sources: Sources) -> Fixture:
    """The pallet as a solid: its box, or the shape the file gives."""
    world = stand_pose(part.at)
    plain = box_body(f"pallet/{name}", np.zeros(3), np.array(part.size), world)
    if part.body is None:
        return Fixture("pallet", plain)
    key: Key = ("pallets", name, "body")
    body = read_shape(part.body, f"pallet/{name}", document, key, sources, world)
    return Fixture("pallet", body or plain)


def surroundings(
    parts: tuple[SurroundingPart, ...], document: Document, sources: Sources
) -> list[Fixture]:
    """Fences, columns, ceilings and so on."""
    fixtures: list[Fixture] = []
    for index, part in enumerate(parts):
        key: Key = ("surroundings", index)
        name = f"obstacle/{part.name}"
        if name == "obstacle/floor" or name in (fixture.body.name for fixture in fixtures):
            found = f'"{part.name}" is taken'
            sources.add(document.problem((*key, "name"), found, "give each solid its own name"))
        body = read_shape(part, name, document, key, sources)
        if body is not None:
            fixtures.append(Fixture(cast(FixtureKind, part.kind), body))
    return fixtures
