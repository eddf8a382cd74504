"""What moves and what stands while one pallet is built, part by part, and when it stands.

Time is counted in *events*: how many placements of the pallet are down. A carton of
placement k stands from event k + 1 on. The other pallets stand full all the time: every
motion that clears a full pallet clears an empty or a part-built one.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from ..arm.travel import Travel
from ..cell.model import Cell, Pallet, Tolerances
from ..geometry.bodies import Body, Box, frozen
from ..geometry.frames import Array, invert, pose
from ..geometry.solids import Solids
from ..motion.cycle import SegmentName
from ..motion.grip import tool_from_group
from ..motion.options import Task
from ..motion.stations import world_from_picked
from ..palletizing.group import Carton, Group, Placement, carton_names
from ..remembered import remembered
from .between_links import BetweenLinks, between_links
from .row_growth import growths

Index = NDArray[np.intp]
Mask = NDArray[np.bool_]

Role = Literal[
    "arm",
    "tool",
    "lips",
    "carried",
    "placed",
    "own",
    "queue",
    "waiting",
    "pallet",
    "guide",
    "stop",
    "conveyor",
    "pedestal",
    "fixed",
]
ROLES: tuple[Role, ...] = get_args(Role)
SEGMENTS: tuple[SegmentName, ...] = get_args(SegmentName)
ALWAYS = (1 << len(SEGMENTS)) - 1
FOREVER = 1 << 30


def during(*names: SegmentName) -> int:
    """Bit mask of segments by name."""
    return sum(1 << SEGMENTS.index(name) for name in names)


@dataclass(frozen=True, slots=True)
class Actor:
    """One named body and what it does.

    Attributes:
        link: The link that carries it; 0 stands still.
        carried: Of what is carried: (group, turn, item), else None.
        since, until: Events at which it stands: since <= event < until.
        segments: Bit mask of the segments in which it stands.
        top: Height of its top in the pallet's frame, for cartons that stand on the pallet [m].
        stroke: How far it gives way when pressed (lips) [m].
        slack: By how much the carried envelope is larger than the carton at rest [m].
        group: Name of the group that waits, for what waits at the pick.
        layer: Layer of a carton that is put down, from 1.
        growth: How far its row may have grown towards any side, by carton size [m].
    """

    name: str
    role: Role
    link: int = 0
    carried: tuple[str, float, int] | None = None
    since: int = 0
    until: int = FOREVER
    segments: int = ALWAYS
    top: float = np.inf
    stroke: float = 0.0
    slack: float = 0.0
    group: str = ""
    layer: int = 0
    growth: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Cast:
    """All bodies of one pallet's job, as parts.

    Attributes:
        actors: One for each body; parts.owner points here.
        bodies: The same bodies as solids, in the frame of their link (base frame for link 0).
        parts: All convex parts.
        link: The link of each part.
        together: Pairs of actors that touch by construction or move as one: never watched.
        between: Room between the arm's own links; its parts come first of all.
    """

    actors: tuple[Actor, ...]
    bodies: tuple[Body, ...]
    parts: Solids
    link: Index
    travel: Travel
    together: frozenset[tuple[int, int]]
    between: BetweenLinks

    def of_role(self, *roles: Role) -> list[int]:
        """Indices of the actors with one of these roles."""
        return [i for i, actor in enumerate(self.actors) if actor.role in roles]


def cast_of(cell: Cell, pallet: Pallet, tasks: Sequence[Task]) -> Cast:
    """Collect everything that moves or stands while these tasks of a pallet are done."""
    entries = [
        *_arm(cell),
        *_tool(cell),
        *_carried(cell, tasks),
        *_fixtures(cell),
        *_placed(cell, pallet),
        *_at_the_pick(cell, tasks),
    ]
    actors = tuple(actor for actor, _ in entries)
    bodies = tuple(body for _, body in entries)
    parts = Solids.of(bodies)
    link = np.array([actor.link for actor in actors], dtype=np.intp)[parts.owner]
    travel = Travel(cell.mounted.arm.chain)
    between = between_links(cell.mounted.arm, cell.mounted.usable)
    return Cast(actors, bodies, parts, link, travel, _together(cell, actors), between)


Entry = tuple[Actor, Body]


def _arm(cell: Cell) -> list[Entry]:
    arm = cell.mounted.arm
    return [
        (Actor(f"link/{name}", "arm", entry.link), entry.body)
        for name, entry in zip(arm.body_names, arm.bodies, strict=True)
    ]


def _tool(cell: Cell) -> list[Entry]:
    chain, tool = cell.mounted.arm.chain, cell.tool
    link = chain.flange_link
    entries = [
        (Actor(f"tool/{body.name}", "tool", link), _moved(chain.link_from_flange, body))
        for body in tool.bodies
    ]
    for grip in tool.fields:
        if grip.lips is not None:
            actor = Actor(f"tool/lips of {grip.name}", "lips", link, stroke=grip.stroke)
            entries.append((actor, _moved(chain.link_from_flange, grip.lips)))
    return entries


def _carried(cell: Cell, tasks: Sequence[Task]) -> list[Entry]:
    """One body for each carton of each group, for each turn of the tool over it."""
    chain, tool = cell.mounted.arm.chain, cell.tool
    link_from_tcp = chain.link_from_flange @ tool.flange_from_tcp
    entries: list[Entry] = []
    for group in _groups(tasks):
        for turn in group.turns:
            link_from_group = link_from_tcp @ tool_from_group(tool, group, turn)
            for index, item in enumerate(group.items):
                carton = item.carton
                at = link_from_group @ group.group_from_item(index)
                actor = Actor(
                    f"carton/{group.name}.{index + 1}",
                    "carried",
                    chain.flange_link,
                    carried=(group.name, turn, index),
                    slack=max(carton.growth()),
                )
                entries.append((actor, _carton_body(carton, at, grown=True)))
    return entries


def _groups(tasks: Sequence[Task]) -> list[Group]:
    return list({task.group.name: task.group for task in tasks}.values())


def _carton_body(carton: Carton, at: Array, *, grown: bool = False) -> Body:
    """A carton from its top-centre pose, shape (4, 4); grown as in `_carton_box`."""
    box, middle = _carton_box(carton, grown=grown)
    return Body(carton.name, box, frozen(at @ middle))


def _carton_box(carton: Carton, *, grown: bool = False, settled: float = 0.0) -> tuple[Box, Array]:
    """A carton as a box, and the pose of its middle in the frame of its top centre, (4, 4).

    Args:
        carton: The carton.
        grown: With bulge, sag and tilt, as it is carried.
        settled: Let it take the room of all heights from where it was put down to this much
            lower, so that one look serves for the stack as built and for the settled one [m].
    """
    length, width, height = carton.size
    bulge, sag = carton.growth() if grown else (0.0, settled)
    half = np.array([length / 2 + bulge, width / 2 + bulge, (height + sag) / 2])
    return Box(frozen(half)), pose(z=-(height + sag) / 2)


def _fixtures(cell: Cell) -> list[Entry]:
    base_from_world = invert(cell.mounted.world_from_base)
    kinds: dict[str, Role] = {
        "guide": "guide",
        "stop": "stop",
        "conveyor": "conveyor",
        "pallet": "pallet",
        "pedestal": "pedestal",
    }
    fixtures = [*cell.fixtures, *cell.infeed.fixtures, *(p.fixture for p in cell.pallets)]
    return [
        (
            Actor(fixture.body.name, kinds.get(fixture.kind, "fixed")),
            _moved(base_from_world, fixture.body),
        )
        for fixture in fixtures
    ]


def _placed(cell: Cell, pallet: Pallet) -> list[Entry]:
    """Cartons on all pallets: this one's as they come, the others' full."""
    base_from_world = invert(cell.mounted.world_from_base)
    entries: list[Entry] = []
    for standing in cell.pallets:
        settle, own = cell.support.settle, standing is pallet
        actors, boxes, tops, middles = _standing(standing, cell.tolerances, settle, own)
        poses = frozen(base_from_world @ standing.world_from_pallet @ tops @ middles)
        for actor, (name, box), at in zip(actors, boxes, poses, strict=True):
            entries.append((actor, Body(name, box, at)))
    return entries


_Standing = tuple[tuple[Actor, ...], tuple[tuple[str, Box], ...], Array, Array]


@remembered(most=16)
def _standing(pallet: Pallet, tolerances: Tolerances, settle: float, own: bool) -> _Standing:
    """The cartons of a pallet, wherever it stands.

    Args:
        pallet: The pallet.
        tolerances: Carton size makes rows grow.
        settle: How far each layer may settle [m].
        own: Whether they come one after the other; else the pallet is full all the time.

    Returns:
        Actors; carton names and boxes; pallet_from_top and top_from_box, shape (n, 4, 4) each.
    """
    grown = growths(pallet, tolerances)
    actors: list[Actor] = []
    boxes: list[tuple[str, Box]] = []
    tops: list[Array] = []
    middles: list[Array] = []
    for index, placement in enumerate(pallet.placements):
        since = index + 1 if own and index >= pallet.done else 0
        names = carton_names(placement)
        for name, (carton, at) in zip(names, placement.carton_poses(), strict=True):
            actor = Actor(
                name,
                "placed",
                since=since,
                top=float(at[2, 3]) if own else np.inf,
                layer=placement.layer,
                growth=grown[name],
            )
            box, middle = _carton_box(carton, settled=settle * placement.layer)
            actors.append(actor)
            boxes.append((carton.name, box))
            tops.append(at)
            middles.append(middle)
    count = len(actors)
    shape = (count, 4, 4)
    return (
        tuple(actors),
        tuple(boxes),
        frozen(np.reshape(tops, shape)),
        frozen(np.reshape(middles, shape)),
    )


def _at_the_pick(cell: Cell, tasks: Sequence[Task]) -> list[Entry]:
    """Each group waiting to be picked, and the cartons queued behind it.

    The group waits while the tool comes down for it, and its successor may have arrived by
    the time the arm comes back. The queue stands all the time.
    """
    base_from_world = invert(cell.mounted.world_from_base)
    entries: list[Entry] = []
    for group in _groups(tasks):
        world_from_group = world_from_picked(cell, group)
        poses = [world_from_group @ group.group_from_item(i) for i in range(len(group.items))]
        for index, (item, at) in enumerate(zip(group.items, poses, strict=True)):
            actor = Actor(
                f"infeed/{group.name}.{index + 1}",
                "waiting",
                segments=during("approach pick", "return"),
                group=group.name,
            )
            entries.append((actor, _carton_body(item.carton, base_from_world @ at)))
        for number, (carton, at) in enumerate(queue_of(cell, group), start=1):
            actor = Actor(f"infeed/queue {number} behind {group.name}", "queue", group=group.name)
            entries.append((actor, _carton_body(carton, base_from_world @ at)))
    return entries


def queue_of(cell: Cell, group: Group) -> list[tuple[Carton, Array]]:
    """Cartons queued upstream of a group, and their top-centre poses in the world."""
    infeed = cell.infeed
    low, high = group.extent()
    turned = np.abs(pose(yaw=infeed.carton_yaw)[:2, :2])
    end = float((turned @ (high[:2] - low[:2]))[0])
    carton = group.items[-1].carton
    length = float((turned @ np.array(carton.size[:2]))[0])
    waiting: list[tuple[Carton, Array]] = []
    for number in range(infeed.queue):
        x = end + infeed.queue_gap + length / 2 + number * (length + infeed.queue_gap)
        at = pose(x, 0.0, carton.size[2], infeed.carton_yaw)
        waiting.append((carton, infeed.world_from_infeed @ at))
    return waiting


def _moved(matrix: Array, body: Body) -> Body:
    return Body(body.name, body.shape, frozen(matrix @ body.pose))


def _together(cell: Cell, actors: Sequence[Actor]) -> frozenset[tuple[int, int]]:
    """Pairs of moving actors that are not watched: on one link, or touching as the arm says."""
    touching = cell.mounted.arm.touching_bodies  # which are the first of the actors
    moving = [i for i, actor in enumerate(actors) if actor.link or actor.role == "arm"]
    return frozenset(
        (i, j)
        for i in moving
        for j in moving
        if i < j and (actors[i].link == actors[j].link or (i, j) in touching)
    )


def name_carried(cast: Cast, actor: int, placements: Sequence[Placement]) -> str:
    """Scene name of a carried carton: that of the placement it is brought to."""
    carried = cast.actors[actor].carried
    if carried is None:
        return cast.actors[actor].name
    for placement in placements:
        if carried[2] in placement.items:
            return carton_names(placement)[placement.items.index(carried[2])]
    return cast.actors[actor].name
