"""A cell as one would write it down plainly: what moves, what stands when, what is asked.

Worked out once more from the cell and the order of the placements alone, without what the
checks use for it, so as to judge what they say.
"""

from dataclasses import dataclass

import numpy as np

from envelope.cell.model import Cell, Pallet
from envelope.geometry.bodies import Body, Box, Capsule, Cylinder, Hull, Mesh
from envelope.geometry.frames import invert, pose, turn
from envelope.palletizing.group import Group, Placement

LINES = ("approach pick", "lift off", "approach place", "withdraw")
CARTONS = ("placed", "own", "queue", "waiting")


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """One solid: in its link's frame when it moves (link > 0, or the arm's base), else in the
    world's."""

    name: str
    role: str
    body: Body
    link: int = -1
    stroke: float = 0.0
    top: float = np.inf


def half_box(body: Body) -> tuple[np.ndarray, np.ndarray]:
    """Centre and half edges of a box around a body, in the shape's frame."""
    shape = body.shape
    if isinstance(shape, Box):
        return np.zeros(3), np.array(shape.half)
    if isinstance(shape, Capsule):
        return np.zeros(3), np.array([shape.radius, shape.radius, shape.half + shape.radius])
    if isinstance(shape, Cylinder):
        return np.zeros(3), np.array([shape.radius, shape.radius, shape.half])
    assert isinstance(shape, Hull | Mesh)
    points = shape.vertices if isinstance(shape, Hull) else shape.triangles.reshape(-1, 3)
    low, high = points.min(axis=0), points.max(axis=0)
    return (low + high) / 2, (high - low) / 2


def boxes(body: Body, frames: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Low and high corners around a body carried by frames, shape (n, 4, 4), to (n, 3) each."""
    centre, half = half_box(body)
    at = frames @ body.pose
    middle = at[:, :3, :3] @ centre + at[:, :3, 3]
    reach = np.abs(at[:, :3, :3]) @ half
    return middle - reach, middle + reach


def held_at(cell: Cell, group: Group, angle: float) -> np.ndarray:
    """Pose of the group's top centre in the flange frame, the tool turned over it."""
    names = {name for fields in group.fields for name in fields}
    centres = [field.centre for field in cell.tool.fields if field.name in names]
    flange_from_group = np.eye(4)
    flange_from_group[:3, :3] = turn("z", angle) @ np.diag([1.0, -1.0, -1.0])
    flange_from_group[:2, 3] = np.mean(centres, axis=0)
    assert cell.tool.tcp_on == "compressed"
    return cell.tool.flange_from_tcp @ flange_from_group


def picked_at(cell: Cell, group: Group) -> np.ndarray:
    """Pose of a group's top centre at the stop, centred on the belt, in the world."""
    corners = []
    yaw = pose(yaw=cell.infeed.carton_yaw)
    for index, item in enumerate(group.items):
        for x in (-0.5, 0.5):
            for y in (-0.5, 0.5):
                corner = np.array([x * item.carton.size[0], y * item.carton.size[1], 0.0, 1.0])
                corners.append((yaw @ group.group_from_item(index) @ corner)[:2])
    low, high = np.min(corners, axis=0), np.max(corners, axis=0)
    height = max(item.carton.size[2] for item in group.items)
    at = pose(-low[0], -(low[1] + high[1]) / 2, height)
    return cell.infeed.world_from_infeed @ at @ yaw


def carton_body(name: str, size, at: np.ndarray) -> Body:
    """A carton hanging down from its top centre."""
    return Body(name, Box(np.array(size) / 2), at @ pose(z=-size[2] / 2))


def moving(cell: Cell) -> list[Piece]:
    """Arm and tool; the arm's base, which only stands, included."""
    chain = cell.mounted.arm.chain
    on_axis = cell.mounted.arm.axis
    names = ["base" if on_axis is None else on_axis.kind, *(link.name for link in chain.links)]
    pieces = [
        Piece(f"link/{entry.part or names[entry.link]}", "arm", entry.body, entry.link)
        for entry in cell.mounted.arm.bodies
    ]
    mount = chain.link_from_flange
    for body in cell.tool.bodies:
        placed = Body(body.name, body.shape, mount @ body.pose)
        pieces.append(Piece(f"tool/{body.name}", "tool", placed, chain.flange_link))
    for field in cell.tool.fields:
        if field.lips is not None:
            placed = Body(field.name, field.lips.shape, mount @ field.lips.pose)
            name = f"tool/lips of {field.name}"
            pieces.append(Piece(name, "lips", placed, chain.flange_link, field.stroke))
    return pieces


def carried(cell: Cell, releases: list[Placement], angle: float, down: int) -> list[Piece]:
    """The cartons that hang on the tool once `down` of the releases are down."""
    group, chain = releases[0].group, cell.mounted.arm.chain
    held = chain.link_from_flange @ held_at(cell, group, angle)
    pieces = []
    for placement in releases[down:]:
        for name, index in zip(names_of(placement), placement.items, strict=True):
            item = group.items[index].carton
            assert item.bulge == item.sag == 0.0
            body = carton_body(name, item.size, held @ group.group_from_item(index))
            pieces.append(Piece(name, "carried", body, chain.flange_link))
    return pieces


def names_of(placement: Placement) -> list[str]:
    """Names of the cartons put down at a placement."""
    if len(placement.items) == 1:
        return [f"carton/{placement.id}"]
    return [f"carton/{placement.id}.{k}" for k in range(1, len(placement.items) + 1)]


def put_down(pallet: Pallet, placements, role: str) -> list[Piece]:
    """Cartons that stand on a pallet."""
    pieces = []
    for placement in placements:
        poses = placement.carton_poses()
        for name, (carton, at) in zip(names_of(placement), poses, strict=True):
            body = carton_body(name, carton.size, pallet.world_from_pallet @ at)
            pieces.append(Piece(name, role, body, top=float(at[2, 3])))
    return pieces


def standing(
    cell: Cell, pallet: Pallet, releases: list[Placement], segment: str, down: int
) -> list[Piece]:
    """What stands in a segment of the cycle that brings some placements of a pallet."""
    roles = {"guide", "stop", "conveyor", "pallet", "pedestal"}
    pieces = [
        Piece(fixture.body.name, fixture.kind if fixture.kind in roles else "fixed", fixture.body)
        for fixture in (
            *cell.fixtures,
            *cell.infeed.fixtures,
            *(other.fixture for other in cell.pallets),
        )
    ]
    for other in cell.pallets:
        if other is not pallet:
            pieces += put_down(other, other.placements, "placed")
    first = releases[0].order - 1
    pieces += put_down(pallet, pallet.placements[:first], "placed")
    pieces += put_down(pallet, releases[:down], "own")
    group = releases[0].group
    at = picked_at(cell, group)
    if segment in ("approach pick", "return"):
        for index, item in enumerate(group.items, start=1):
            body = carton_body("", item.carton.size, at @ group.group_from_item(index - 1))
            pieces.append(Piece(f"infeed/{group.name}.{index}", "waiting", body))
    return pieces + queue(cell, group)


def queue(cell: Cell, group: Group) -> list[Piece]:
    """The cartons behind the group, each a gap behind the one before, in the group's turn."""
    infeed_from_group = invert(cell.infeed.world_from_infeed) @ picked_at(cell, group)
    ends = []
    for index, item in enumerate(group.items):
        corner = np.array([item.carton.size[0], item.carton.size[1], 0.0]) / 2
        at = infeed_from_group @ group.group_from_item(index)
        ends.append(at[0, 3] + np.abs(at[0, :2]) @ corner[:2])
    carton = group.items[-1].carton
    turned = np.abs(pose(yaw=cell.infeed.carton_yaw)[0, :2])
    length = float(turned @ np.array(carton.size[:2]))
    pieces, behind = [], max(ends)
    for number in range(1, cell.infeed.queue + 1):
        at = pose(behind + cell.infeed.queue_gap + length / 2, 0.0, carton.size[2])
        at = cell.infeed.world_from_infeed @ at @ pose(yaw=cell.infeed.carton_yaw)
        name = f"infeed/queue {number} behind {group.name}"
        pieces.append(Piece(name, "queue", carton_body(name, carton.size, at)))
        behind += cell.infeed.queue_gap + length
    return pieces


def watched_together(cell: Cell, first: Piece, second: Piece) -> bool:
    """Whether two pieces of arm, tool and group may not touch at all."""
    if first.link == second.link:
        return False
    named = {frozenset((f"link/{t.first}", f"link/{t.second}")) for t in cell.mounted.arm.touching}
    return frozenset((first.name, second.name)) not in named


def asked(cell: Cell, mover: Piece, other: Piece, segment: str, height: np.ndarray) -> np.ndarray:
    """Clearance asked for [m] at heights to go, shape (n,)."""
    c = cell.clearances
    same = np.ones_like(height)
    if other.link >= 0:  # another part of the arm, the tool or the group
        return same * (c.arm_to_any if mover.role == "carried" else c.arm_to_itself)
    if mover.role == "arm":
        on_it = mover.link == 1 and other.role == "pedestal"
        return same * (-c.contact if on_it else c.arm_to_any)
    if mover.role == "lips" and other.role in CARTONS:
        return same * -(c.contact + mover.stroke)
    if mover.role in ("tool", "lips"):
        if other.role in ("own", "waiting") and segment in LINES:
            return same * -c.contact
        near = other.role in (*CARTONS, "guide", "stop")
        return same * (c.tool_to_placed if near else c.tool_to_fixed)
    return _asked_of_carried(cell, other, segment, height)


def _asked_of_carried(cell: Cell, other: Piece, segment: str, height: np.ndarray) -> np.ndarray:
    c, same = cell.clearances, np.ones_like(height)
    share = np.clip(height / c.taper_height, 0.0, 1.0)
    tapered = -c.contact + share * (c.carried_to_placed + c.contact)
    assert c.placing_gap == 0.0
    if other.role == "own" and segment in LINES:
        return same * -c.contact
    if other.role in ("placed", "pallet") and segment in LINES:
        return tapered
    if segment == "lift off":
        if other.role == "conveyor":
            return tapered
        if other.role == "stop":
            return same * -c.contact
        if other.role in ("queue", "waiting"):
            gap = min(c.carried_to_guide, cell.infeed.queue_gap)
            return same * (gap if gap > 0.0 else -c.contact)
        if other.role == "guide":
            return same * c.carried_to_guide
    if other.role in (*CARTONS, "pallet"):
        return same * c.carried_to_placed
    return same * c.carried_to_fixed
