"""A results file read back: its motion through pin, its clearances through coal."""

import json
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

import numpy as np
import pytest

from envelope.arm.urdf import to_urdf
from envelope.cell.load import load
from envelope.cell.model import Cell, Pallet
from envelope.palletizing.group import Placement
from envelope.report.results import as_json
from envelope.verify import check

from . import plain_scene as plain

pytest.importorskip("pinocchio", exc_type=ImportError)
pytest.importorskip("coal", exc_type=ImportError)
import pinocchio as pin

from .peer_distance import peer_shapes, signed_distance

CELLS = Path(__file__).parents[2] / "cells"
STEP = np.radians(0.7)  # joint moves are sampled this finely
EXACT = 1e-6  # [m]: what the two libraries may differ by, and what rounding of the file brings


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """A segment of the file, in SI units.

    Attributes:
        down: How many releases of its cycle are down.
        rest: Height of the TCP where the straight line is at rest [m]; nan on joint moves.
    """

    name: str
    kind: str
    joints: np.ndarray
    times: np.ndarray
    down: int
    rest: float


class Run:
    """One cell, its results file, and second opinions on it."""

    def __init__(self, cell: Cell, placements=None) -> None:
        self.cell = cell
        self.text = as_json(check(cell, placements=placements), cell)
        self.data = json.loads(self.text)
        self.told = {entry["id"]: entry for entry in self.data["placements"]}
        self._shapes = cache(lambda piece: peer_shapes(piece.body))
        self._moving = plain.moving(cell)
        arm = cell.mounted.arm
        self._model = pin.buildModelFromXML(to_urdf(arm))
        self._data = self._model.createData()
        self._links = [link.name.replace(" ", "_") for link in arm.chain.links]

    # --- what is in the file ----------------------------------------------------------------

    @cached_property
    def scale(self) -> np.ndarray:
        """Radians per degree, or metres per millimetre, of each joint."""
        turning = self.cell.mounted.arm.chain.turning()
        return np.where(turning, np.pi / 180.0, 1e-3)

    def cycles(self) -> list[tuple[Pallet, list[Placement], list[Stretch]]]:
        """Each cycle with a motion: pallet, releases, segments."""
        found = []
        for pallet in self.cell.pallets:
            numbers = dict.fromkeys(p.cycle for p in pallet.placements if p.id in self.told)
            for number in numbers:
                releases = [p for p in pallet.placements if p.cycle == number]
                cycle = self.told[releases[0].id]["cycle"]
                if cycle is not None:
                    found.append((pallet, releases, self._stretches(cycle["segments"])))
        return found

    def _stretches(self, segments) -> list[Stretch]:
        stretches: list[Stretch] = []
        for index, segment in enumerate(segments):
            q = np.array(segment["joints"]) * self.scale
            down = sum(s["name"] == "withdraw" for s in segments[:index])
            if segment["name"] == "withdraw":
                down += 1
            at_rest = np.nan
            if segment["kind"] == "linear":
                later = [s for s in segments[index:] if s["name"] == segment["name"]]
                following = segments[index + 1] if index + 1 < len(segments) else segment
                last = following if following["name"] == segment["name"] else later[0]
                inward = segment["name"] in ("approach pick", "approach place")
                row = last["joints"][-1] if inward else segment["joints"][0]
                at_rest = self.tcp(np.array(row)[None] * self.scale)[0, 2, 3]
            times = np.array(segment["times"])
            stretches.append(Stretch(segment["name"], segment["kind"], q, times, down, at_rest))
        return stretches

    # --- kinematics by another library --------------------------------------------------------

    def frames(self, q: np.ndarray) -> np.ndarray:
        """Poses world_from_link, base first, flange last, shape (n, links + 2, 4, 4)."""
        arm, model, data = self.cell.mounted.arm, self._model, self._data
        ids = [model.getFrameId(name) for name in (*self._links, "flange")]
        where = self._where()
        poses = np.tile(np.eye(4), (len(q), len(ids) + 1, 1, 1))
        for row, coordinates in enumerate(q):
            values = np.zeros(model.nq)
            # A follower's value is its multiple of the coordinate that drives it.
            for link, index in zip(arm.chain.links, where, strict=True):
                values[index] = link.multiplier * coordinates[link.source]
            pin.framesForwardKinematics(model, data, values)
            for column, frame in enumerate(ids, start=1):
                poses[row, column] = data.oMf[frame].homogeneous
        return self.cell.mounted.world_from_base @ poses

    def _where(self) -> list[int]:
        """For each link, where its joint's value stands among the library's."""
        model = self._model
        parents = [model.frames[model.getFrameId(name)].parentJoint for name in self._links]
        assert len(set(parents)) == model.nq == len(self._links)
        return [model.joints[joint].idx_q for joint in parents]

    def tcp(self, q: np.ndarray) -> np.ndarray:
        """Poses world_from_tcp, shape (n, 4, 4)."""
        return self.frames(q)[:, -1] @ self.cell.tool.flange_from_tcp

    def turn_at_pick(self, releases, stretches) -> float:
        """The turn of the tool over the group, from where the flange is at the pick."""
        pick = next(s for s in stretches if s.name == "lift off").joints[:1]
        flange, group = self.frames(pick)[0, -1], releases[0].group
        fits = [
            angle
            for angle in group.turns
            if np.abs(
                flange @ plain.held_at(self.cell, group, angle) - plain.picked_at(self.cell, group)
            ).max()
            < 2e-4
        ]
        assert len(fits) == 1
        return fits[0]

    # --- clearances by another library --------------------------------------------------------

    def samples(self, stretch: Stretch) -> np.ndarray:
        """Joints densely along a segment."""
        rows = []
        for first, last in zip(stretch.joints, stretch.joints[1:], strict=False):
            count = max(2, int(np.ceil(np.abs(last - first).max() / STEP)))
            rows.append(
                first + np.linspace(0.0, 1.0, count, endpoint=False)[:, None] * (last - first)
            )
        return np.concatenate([*rows, stretch.joints[-1:]])

    def heights(self, stretch: Stretch, frames: np.ndarray) -> np.ndarray:
        """Height still to go, or gained, on a straight line; far above on joint moves."""
        if stretch.kind == "joint":
            return np.full(len(frames), 10.0)
        tcp = frames[:, -1] @ self.cell.tool.flange_from_tcp
        return np.abs(tcp[:, 2, 3] - stretch.rest)

    def scene(self, pallet, releases, stretch, angle) -> tuple[list, list]:
        """What moves and what stands in a segment."""
        hanging = stretch.name not in ("approach pick", "return")
        held = plain.carried(self.cell, releases, angle, stretch.down) if hanging else []
        still = plain.standing(self.cell, pallet, releases, stretch.name, stretch.down)
        return [*self._moving, *held], still

    def distance(self, first, second, frames: np.ndarray) -> float:
        """Signed distance [m] of two pieces at one instant, frames of shape (links + 2, 4, 4)."""
        poses = [
            (np.eye(4) if piece.link < 0 else frames[piece.link]) @ piece.body.pose
            for piece in (first, second)
        ]
        return signed_distance(self._shapes(first), poses[0], self._shapes(second), poses[1])

    def least_margins(self, pallet, releases, stretch, angle) -> dict[str, tuple[float, str]]:
        """For each moving body the least sampled clearance less what is asked, and to whom."""
        pieces, still = self.scene(pallet, releases, stretch, angle)
        frames = self.frames(self.samples(stretch))
        heights = self.heights(stretch, frames)
        around = {id(p): plain.boxes(p.body, frames[:, max(p.link, 0)]) for p in pieces}
        for piece in still:
            around[id(piece)] = plain.boxes(piece.body, np.eye(4)[None])
        found: dict[str, tuple[float, str]] = {}
        for index, piece in enumerate(pieces):
            if piece.link == 0:
                continue
            others = [p for p in pieces[:index] if plain.watched_together(self.cell, piece, p)]
            best = found.get(piece.name, (np.inf, ""))
            for other in (*still, *others):
                limit = plain.asked(self.cell, piece, other, stretch.name, heights)
                gap = _gap(*around[id(piece)], *around[id(other)]) - limit
                if gap.min() >= min(best[0], 0.1):
                    continue
                for row in np.argsort(gap, kind="stable"):
                    if gap[row] >= min(best[0], 0.1):
                        break
                    margin = self.distance(piece, other, frames[row]) - limit[row]
                    best = min(best, (float(margin), other.name))
            found[piece.name] = best
        return found


def _gap(low, high, other_low, other_high) -> np.ndarray:
    """Largest gap along an axis between boxes: no more than the distance of what is in them."""
    return np.maximum(other_low - high, low - other_high).max(axis=1)


@cache
def example(name: str) -> Run:
    """An example cell, checked once for all tests; the placements looked at are always the same."""
    cell = load(CELLS / f"{name}.yaml")
    return Run(cell, SAMPLE[name](cell))


def _spread(cell: Cell, count: int) -> set[str]:
    """Placements spread evenly over all pallets, the first and the last among them."""
    every = [p.id for pallet in cell.pallets for p in pallet.placements]
    return {every[int(k)] for k in np.linspace(0, len(every) - 1, count).round()}


SAMPLE = {
    "biscuits-two-pallets": lambda cell: _spread(cell, 12),
    "oats-two-heads": lambda cell: _spread(cell, 16),
    "flour-gantry": lambda cell: _spread(cell, 8),
    "cereal-pairs-long-tool": lambda cell: {"A/1/1", "A/2/3", "A/4/4"},
    "tea-five-layers": lambda cell: None,
    # both places of the lift, and the cycle in which it moves
    "tea-on-a-lift": lambda cell: {"A/1/1", "A/1/7", "A/6/8", "A/7/1", "A/8/4", "A/8/8"},
    "tea-seven-layers": lambda cell: _spread(cell, 10),
}
