"""What a page's 3D view is drawn from: shapes, the arm's joints, and every motion.

Lengths are metres and angles radians here: the browser works out the poses itself. Rows of
joints are the rows that were checked, as single-precision floats.
"""

import base64
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..cell.model import Cell, Pallet
from ..checks.cast import SEGMENTS, Actor, Role
from ..checks.finding import Result
from ..geometry.bodies import Body, Box, frozen
from ..geometry.frames import Array, pose
from ..motion.cycle import Cycle
from ..motion.grip import tool_from_group
from ..motion.options import Task
from ..motion.stations import world_from_picked
from ..palletizing.group import carton_names
from ..scene.facets import Facets, facets_of, hull
from ..scene.instant import Scenery, is_building, is_floor, resting_joints
from ..scene.surfaces import surface_of

MOST_TRIANGLES = 20_000  # of one body: a finer mesh is shown as its convex hull
_DECIMALS = 6  # [m]: a micrometre


class SceneData:
    """The 3D data of one result, gathered step by step.

    Attributes:
        told: The data, ready for JSON.
        simplified: Names of bodies that are shown as their convex hull.
    """

    def __init__(self, cell: Cell, result: Result) -> None:
        self._cell = cell
        self._meshes: dict[bytes, int] = {}
        self._motion: list[Array] = []
        self._rows = 0
        self.scenery = {pallet.name: Scenery(cell, pallet) for pallet in cell.pallets}
        self.simplified: list[str] = []
        self.told: dict[str, Any] = {
            "arm": self._arm(),
            "rest": _rounded(resting_joints(cell, result.placements)),
            "segments": list(SEGMENTS),
            "meshes": [],
            "bodies": [],
            "tasks": [],
        }
        self._bodies()
        for pallet in cell.pallets:
            self._placed(pallet)
            cycles = {
                (entry.placement.cycle): entry.cycle
                for entry in result.placements
                if entry.placement.pallet == pallet.name
            }
            for task in self.scenery[pallet.name].tasks:
                if task.number in cycles:
                    self._task(pallet, task, cycles[task.number])
        self.told["motion"] = _packed(np.concatenate([*self._motion, np.zeros(0)]), "<f4")

    def _arm(self) -> dict[str, Any]:
        mounted = self._cell.mounted
        chain = mounted.arm.chain
        return {
            "base": _matrix(mounted.world_from_base),
            "dof": chain.dof,
            "flange": chain.flange_link,
            "names": [joint.name for joint in mounted.arm.joints],
            "turning": list(chain.turning()),
            "links": [
                {
                    "name": link.name,
                    "parent": link.parent,
                    "origin": _rounded(link.origin, 9),
                    "axis": _rounded(link.axis, 12),
                    "source": link.source,
                    "multiplier": link.multiplier,
                    "slides": link.prismatic,
                }
                for link in chain.links
            ],
        }

    def _bodies(self) -> None:
        """Arm, tool, and all that stands still but the cartons on pallets."""
        seen: set[tuple[str, bytes]] = set()
        for scenery in self.scenery.values():
            for actor, body in zip(scenery.cast.actors, scenery.cast.bodies, strict=True):
                key = (actor.name, body.pose.tobytes())
                if actor.role in ("carried", "placed") or key in seen:
                    continue
                seen.add(key)
                self._body(actor, body)

    def _body(self, actor: Actor, body: Body) -> None:
        at = body.pose
        if actor.link == 0 and actor.role != "arm":
            at = self._cell.mounted.world_from_base @ at
        facets = facets_of(Body(body.name, body.shape, at))
        if actor.link == 0 and is_floor(facets):
            return
        entry = self._drawn(actor.name, actor.role, body, at)
        if actor.link or actor.role == "arm":
            entry["link"] = actor.link
        if actor.group:
            entry |= {"group": actor.group, "during": actor.segments}
        if actor.link == 0 and is_building(facets) and actor.role == "fixed":
            entry["outline"] = True
        self.told["bodies"].append(entry)

    def _placed(self, pallet: Pallet) -> None:
        """The cartons of a pallet, with the event from which each stands."""
        for index, placement in enumerate(pallet.placements):
            poses = zip(carton_names(placement), placement.carton_poses(), strict=True)
            for name, (carton, at) in poses:
                body = Body(name, Box(frozen(np.array(carton.size) / 2)))
                middle = pallet.world_from_pallet @ at @ pose(z=-carton.size[2] / 2)
                entry = self._drawn(name, "placed", body, middle)
                since = index + 1 if index >= pallet.done else 0
                entry |= {"pallet": pallet.name, "since": since, "placement": placement.id}
                self.told["bodies"].append(entry)

    def _task(self, pallet: Pallet, task: Task, cycle: Cycle | None) -> None:
        entry: dict[str, Any] = {
            "pallet": pallet.name,
            "number": task.number,
            "first": task.first,
            "group": task.group.name,
            "placements": [placement.id for placement in task.placements],
            "cartons": self._cartons(task, cycle),
            "segments": [],
        }
        if cycle is not None:
            entry |= {"route": cycle.route, "branch": cycle.branch, "seconds": cycle.seconds}
            for segment in cycle.segments:
                rows = np.column_stack([segment.times, segment.joints])
                told = {
                    "name": segment.name,
                    "row": self._rows,
                    "rows": len(rows),
                    "carried": list(segment.carried),
                    "release": segment.release,
                }
                entry["segments"].append(told)
                self._motion.append(rows.reshape(-1))
                self._rows += len(rows)
        self.told["tasks"].append(entry)

    def _cartons(self, task: Task, cycle: Cycle | None) -> list[dict[str, Any]]:
        """The cartons of a group: how each hangs, and where it waits."""
        cell, group = self._cell, task.group
        chain, tool = cell.mounted.arm.chain, cell.tool
        turn = group.turns[0] if cycle is None else cycle.pick_turn
        held = chain.link_from_flange @ tool.flange_from_tcp @ tool_from_group(tool, group, turn)
        waits = world_from_picked(cell, group)
        told: list[dict[str, Any]] = []
        for placement in task.placements:
            for name, item in zip(carton_names(placement), placement.items, strict=True):
                carton = group.items[item].carton
                down = group.group_from_item(item) @ pose(z=-carton.size[2] / 2)
                body = Body(name, Box(frozen(np.array(carton.size) / 2)))
                entry = self._drawn(name, "carried", body, held @ down)
                told.append(entry | {"item": item, "waits": _matrix(waits @ down)})
        return told

    def _drawn(self, name: str, role: Role, body: Body, at: Array) -> dict[str, Any]:
        """A body at a pose; boxes are one box, scaled."""
        if isinstance(body.shape, Box):
            unit = Body("", Box(frozen(np.ones(3))))
            scaled = at @ np.diag([*body.shape.half, 1.0])
            return {
                "name": name,
                "role": role,
                "mesh": self._mesh(name, facets_of(unit)),
                "at": _matrix(scaled),
            }
        facets = facets_of(Body("", body.shape))
        return {"name": name, "role": role, "mesh": self._mesh(name, facets), "at": _matrix(at)}

    def _mesh(self, name: str, facets: Facets) -> int:
        if len(facets.faces) > MOST_TRIANGLES:
            self.simplified.append(name)
            facets = hull(facets.points)
        key = facets.points.tobytes() + facets.faces.tobytes()
        if key not in self._meshes:
            surface = surface_of(facets)
            short = len(surface.points) < 1 << 16
            index = "<u2" if short else "<u4"
            self._meshes[key] = len(self.told["meshes"])
            self.told["meshes"].append(
                {
                    "points": _packed(surface.points, "<f4"),
                    "normals": _packed(np.rint(surface.normals * 127.0), "<i1"),
                    "triangles": _packed(surface.triangles, index),
                    "edges": _packed(surface.edges, index),
                    "short": short,
                    "closed": surface.closed,
                }
            )
        return self._meshes[key]


def _packed(values: NDArray[Any], kind: str) -> str:
    return base64.b64encode(np.ascontiguousarray(values).astype(kind).tobytes()).decode("ascii")


def _rounded(values: Array, decimals: int = _DECIMALS) -> list[float]:
    return (np.round(values, decimals) + 0.0).reshape(-1).tolist()


def _matrix(matrix: Array) -> list[float]:
    """Rows of a pose without the last, 12 numbers."""
    return _rounded(matrix[:3])
