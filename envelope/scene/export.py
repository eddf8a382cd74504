"""A cell as one GLB file: named nodes, and the motion of one cycle."""

import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .. import __version__
from ..cell.model import Cell, Pallet
from ..checks.cast import Actor
from ..checks.finding import Judged, Result, Verdict
from ..geometry.bodies import Body, Box, frozen
from ..geometry.frames import Array, pose
from ..motion.cycle import Cycle, Segment
from ..motion.grip import tool_from_group
from ..motion.options import Task
from ..motion.stations import world_from_picked
from ..palletizing.group import Carton, carton_names
from .colours import BY_ROLE, BY_VERDICT, Colour
from .facets import facets_of
from .glb import Glb, quaternions
from .instant import Scenery, between_rows, is_floor, resting_joints
from .surfaces import surface_of

_TURN = float(np.radians(4.0))  # [rad]: between instants no joint turns more than this, so that
# a carton 3 m away leaves the straight way between two of them by less than 2 mm
_SLIDE = 0.1  # [m]: the same for joints that slide
_SAME_INSTANT = 1e-4  # [s]: viewers want instants that rise
GLTF_FROM_WORLD = np.array(
    [[1.0, 0.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [0.0, -1.0, 0.0, 0.0], [0.0, 0.0, 0.0, 1.0]]
)  # glTF has y up and z towards the front


def write_glb(path: Path, cell: Cell, result: Result, placement: str | None = None) -> None:
    """Write a cell as GLB, whole or not at all; no OpenGL is needed. See `glb`.

    Raises:
        KeyError: If the result holds no placement of that id.
        OSError: If the file cannot be written.
    """
    content = glb(cell, result, placement)
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_bytes(content)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def glb(cell: Cell, result: Result, placement: str | None = None) -> bytes:
    """A cell as binary glTF, at the turn of one placement, with its cycle as an animation.

    Nodes are named as bodies are in findings: `link/NAME` (each hung on the link that carries
    it), `tool/...`, `group/N` for cycle N with its `carton/ID`, `carton/ID` for what is down,
    `pallet/NAME`, `conveyor/...`, `obstacle/NAME`. Lengths are metres, and y is up. The floor
    is left out: it would be all that a viewer shows.

    Args:
        cell: The cell.
        result: What a check of it found.
        placement: Whose turn it is; by default the first that fails, else the last.

    Raises:
        KeyError: If the result holds no placement of that id.
    """
    judged = _whose_turn(result, placement)
    pallet = next(p for p in cell.pallets if p.name == judged.placement.pallet)
    builder = _Builder(cell, pallet, judged, result)
    builder.standing()
    builder.arm()
    builder.group()
    return builder.file.bytes(0, f"cycle {builder.task.number} on pallet {pallet.name}")


def _whose_turn(result: Result, placement: str | None) -> Judged:
    if placement is not None:
        found = next((j for j in result.placements if j.placement.id == placement), None)
        if found is None:
            raise KeyError(placement)
        return found
    failing = (judged for judged in result.placements if judged.verdict == "fail")
    return next(failing, result.placements[-1])


class _Builder:
    """A file under construction, and what goes into it."""

    def __init__(self, cell: Cell, pallet: Pallet, judged: Judged, result: Result) -> None:
        self._cell, self._result = cell, result
        self._scenery = Scenery(cell, pallet)
        self._cast = self._scenery.cast
        self.task: Task = self._scenery.task(judged.placement.id)
        self._cycle: Cycle | None = judged.cycle
        self._verdicts: dict[str, Verdict] = {
            name: entry.verdict
            for entry in result.placements
            for name in carton_names(entry.placement)
        }
        self._meshes: dict[tuple[bytes, Colour], int] = {}
        self.file = Glb(f"envelope {__version__}")
        self._root = self.file.node(f"cell/{cell.name}", GLTF_FROM_WORLD)
        joints = resting_joints(cell, result.placements, pallet.name)
        if self._cycle is None:
            self._frames = Timeline(np.zeros(1), joints[None], ())
        else:
            self._frames = timeline_of(self._cycle, cell.mounted.arm.chain.turning())
        self._times = self.file.times(self._frames.times) if self._cycle else -1

    def standing(self) -> None:
        """All that stands still at the start of the cycle: cartons, pallets, the rest."""
        world_from_base = self._cell.mounted.world_from_base
        for actor, body in zip(self._cast.actors, self._cast.bodies, strict=True):
            still = actor.link == 0 and actor.role not in ("arm", "waiting")
            at = world_from_base @ body.pose
            if still and self._is_there(actor) and not _floor(body, at):
                self._body(actor.name, body, at, self._colour(actor), self._root)

    def arm(self) -> None:
        """The links, one hung on the other, with tool and motion."""
        chain = self._cell.mounted.arm.chain
        base = self.file.node("mounting base", self._cell.mounted.world_from_base, self._root)
        nodes = [self.file.node("link/base", None, base, **self._link_mesh(0))]
        for index, link in enumerate(chain.links, start=1):
            amount = link.multiplier * self._frames.joints[:, link.source, None]
            moved = link.origin + amount * link.axis * link.prismatic
            mesh = self._link_mesh(index)
            parent = nodes[link.parent]
            node = self.file.node(f"link/{link.name}", pose(*moved[0]), parent, **mesh)
            nodes.append(node)
            if link.prismatic:
                self._follow(node, "translation", moved)
            else:
                turned = np.hstack([link.axis * np.sin(amount / 2), np.cos(amount / 2)])
                self._follow(node, "rotation", turned)
        for actor, body in zip(self._cast.actors, self._cast.bodies, strict=True):
            if actor.role in ("tool", "lips"):
                self._body(actor.name, body, body.pose, BY_ROLE[actor.role], nodes[actor.link])

    def group(self) -> None:
        """The cartons of the cycle: at the pick, on the tool, and where they are put down."""
        node = self.file.node(f"group/{self.task.number}", None, self._root)
        for placement in self.task.placements:
            for name, item in zip(carton_names(placement), placement.items, strict=True):
                poses = self._way_of(item)
                carton = self.task.group.items[item].carton
                height = carton.size[2]
                poses = poses @ pose(z=-height / 2)
                colour = BY_VERDICT[self._verdicts.get(name, "pass")]
                verdict = self._verdicts.get(name)
                body = self._body(name, _box(carton), poses[0], colour, node, verdict)
                self._follow(body, "translation", poses[:, :3, 3])
                self._follow(body, "rotation", quaternions(poses[:, :3, :3]))

    def _way_of(self, item: int) -> Array:
        """Poses of a carton's top centre in the world at all instants, shape (n, 4, 4)."""
        cell, group, frames = self._cell, self.task.group, self._frames
        picked = world_from_picked(cell, group) @ group.group_from_item(item)
        poses = np.repeat(picked[None], len(frames.times), axis=0)
        if self._cycle is None:
            return poses
        flange = cell.mounted.arm.chain.flange_poses(frames.joints)
        held = tool_from_group(cell.tool, group, self._cycle.pick_turn)
        grip = cell.tool.flange_from_tcp @ held @ group.group_from_item(item)
        hangs = cell.mounted.world_from_base @ flange @ grip
        carried = [k for k, segment in enumerate(frames.owners) if item in segment.carried]
        if carried:
            poses[carried] = hangs[carried]
            poses[carried[-1] :] = hangs[carried[-1]]
        return poses

    def _is_there(self, actor: Actor) -> bool:
        at_the_pick = actor.group in ("", self.task.group.name)
        return at_the_pick and actor.since <= self.task.first < actor.until

    def _colour(self, actor: Actor) -> Colour:
        verdict = self._verdicts.get(actor.name)
        return BY_ROLE[actor.role] if verdict is None else BY_VERDICT[verdict]

    def _link_mesh(self, link: int) -> dict[str, int]:
        """The mesh of a link's bodies, if it has any."""
        bodies = [entry.body for entry in self._cell.mounted.arm.bodies if entry.link == link]
        if not bodies:
            return {}
        parts = [(surface_of(facets_of(body)), BY_ROLE["arm"]) for body in bodies]
        name = "base" if link == 0 else self._cell.mounted.arm.chain.links[link - 1].name
        return {"mesh": self.file.mesh(f"link/{name}", parts)}

    def _body(
        self,
        name: str,
        body: Body,
        at: Array,
        colour: Colour,
        parent: int,
        verdict: Verdict | None = None,
    ) -> int:
        """A node with the mesh of one body; bodies of one shape and colour share it."""
        facets = facets_of(Body(body.name, body.shape))
        key = (facets.points.tobytes() + facets.faces.tobytes(), colour)
        if key not in self._meshes:
            self._meshes[key] = self.file.mesh(name, [(surface_of(facets), colour)])
        verdict = verdict or self._verdicts.get(name)
        extras = {} if verdict is None else {"extras": {"verdict": verdict}}
        return self.file.node(name, at, parent, mesh=self._meshes[key], **extras)

    def _follow(self, node: int, path: str, values: Array) -> None:
        if self._cycle is not None:
            self.file.channel(node, path, self._times, values)


def _floor(body: Body, at: Array) -> bool:
    """Whether a body is the floor, which would be all that a viewer shows."""
    return is_floor(facets_of(Body(body.name, body.shape, at)))


def _box(carton: Carton) -> Body:
    return Body(carton.name, Box(frozen(np.array(carton.size) / 2)))


@dataclass(frozen=True, slots=True, eq=False)
class Timeline:
    """A cycle at instants close enough to be joined by straight lines.

    Attributes:
        times: Shape (n,) [s], rising.
        joints: Shape (n, dof) [rad or m].
        owners: The segment that each instant belongs to; none without a motion.
    """

    times: Array
    joints: Array
    owners: tuple[Segment, ...]


def timeline_of(cycle: Cycle, turning: tuple[bool, ...]) -> Timeline:
    """The rows of a cycle, with more between them where joints move far.

    Args:
        cycle: The cycle.
        turning: Of each joint, whether it is an angle.
    """
    longest = np.where(turning, _TURN, _SLIDE)
    times: list[Array] = []
    joints: list[Array] = []
    owners: list[Segment] = []
    last = -np.inf
    for segment in cycle.segments:
        steps = np.ceil((np.abs(np.diff(segment.joints, axis=0)) / longest).max(axis=1) - 1e-9)
        steps = np.maximum(steps, 1).astype(int)
        rows = [row + k / n for row, n in enumerate(steps.tolist()) for k in range(n)]
        at = np.array([*rows, len(segment.times) - 1.0])
        when = np.interp(at, np.arange(len(segment.times)), segment.times)
        rising = np.concatenate([[when[0] > last + _SAME_INSTANT], np.diff(when) > _SAME_INSTANT])
        times.append(when[rising])
        joints.append(between_rows(segment.joints, at)[rising])
        owners += [segment] * int(rising.sum())
        last = float(when[-1])
    return Timeline(np.concatenate(times), np.concatenate(joints), tuple(owners))
