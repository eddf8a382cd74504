"""Who comes near whom: the parts that move or stand in each segment, culled by boxes."""

from collections.abc import Sequence

import numpy as np

from ..cell.model import Clearances
from ..geometry.frames import Array
from ..geometry.stage import Index, Stage, box_gap
from ..geometry.sweep import CAP, COARSE
from .cast import SEGMENTS, Cast, Mask
from .inside import closed_meshes
from .stretches import Planned, Stretches


def cap_of(clearances: Clearances) -> float:
    """Clearance above which nothing is told apart: whatever is watched beside it [m]."""
    return max(CAP, _most_asked(clearances) + clearances.margin + 0.01)


def _most_asked(asked: Clearances) -> float:
    """The greatest clearance that any rule asks for [m]."""
    return max(*asked.of_pairs, asked.placing_gap)


class Meetings:
    """The pairs of parts that are near each other in each segment.

    Args:
        cast: Everything that moves or stands.
        planned: The cycles.
        stretches: What is watched of them.
        stage: The same parts in motion.
        clearances: What is asked for: nothing that matters is culled.

    Attributes:
        far: Gap between boxes from which on parts are not watched: never under the cap [m].
        asked: The greatest clearance asked for [m]: enough for whether limits are kept.
        cap: Clearance above which nothing is told apart [m].
    """

    def __init__(
        self,
        cast: Cast,
        planned: Sequence[Planned],
        stretches: Stretches,
        stage: Stage,
        clearances: Clearances,
    ) -> None:
        self.cast, self.planned, self.stage = cast, planned, stage
        self.segments, self.motion = stretches.segments, stretches.motion
        self.closed = closed_meshes(cast)
        self.far = max(CAP + _most_asked(clearances), cap_of(clearances))
        self.asked, self.cap = _most_asked(clearances), cap_of(clearances)
        still = np.flatnonzero(cast.link == 0)
        self._still_boxes = self._whole(*stage.still_boxes(), still)
        self._stands = self._standing()[:, cast.parts.owner[still]]
        self._carried = self._moving()
        count = len(cast.actors)
        self._together = np.zeros((count, count), dtype=bool)
        for i, j in cast.together:
            self._together[i, j] = self._together[j, i] = True

    def near_pairs(self, *, values: bool = True) -> tuple[Index, Index, Index]:
        """Segments and parts (moving, other) that come within the cap at all.

        With values=False those that may come nearer than asked.
        """
        far = self.far if values else min(self.far, self.asked + 2 * COARSE)
        parts = range(len(self.cast.link))
        moving = [part for part in parts if self.cast.link[part]]
        still = [part for part in parts if not self.cast.link[part]]
        boxes = self._over_segments(moving)
        found = [self._near_standing(part, np.array(still, np.intp), boxes, far) for part in moving]
        found.append(self._near_each_other(moving, still, boxes, far))
        segment, first, second = (np.concatenate(column) for column in zip(*found, strict=True))
        return segment.astype(np.intp), first.astype(np.intp), second.astype(np.intp)

    def _over_segments(self, moving: list[int]) -> dict[int, tuple[Array, Array]]:
        """Box of each moving part over each whole motion: (3, motions) low, high."""
        start = self.stage.pieces.start[:-1]
        boxes: dict[int, tuple[Array, Array]] = {}
        for part in moving:
            low, high = self.stage.boxes(part)
            boxes[part] = (
                np.minimum.reduceat(low, start, axis=1),
                np.maximum.reduceat(high, start, axis=1),
            )
        return self._whole_moving(boxes)

    def _near_standing(
        self, part: int, still: Index, boxes: dict[int, tuple[Array, Array]], far: float
    ) -> tuple[Index, Index, Index]:
        """What stands near one moving part: segments, the part, others."""
        low, high = boxes[part]
        other_low, other_high = (side[:, still] for side in self._still_boxes)
        # what is far from all that the part ever passes need not be looked at by motion
        beside = other_low - high.max(axis=1)[:, None] < far
        beside &= low.min(axis=1)[:, None] - other_high < far
        some = np.flatnonzero(beside.all(axis=0))
        other_low, other_high = other_low[:, some], other_high[:, some]
        near = np.ones((low.shape[1], len(some)), bool)
        for axis in range(3):
            near &= other_low[axis] - high[axis, :, None] < far
            near &= low[axis, :, None] - other_high[axis] < far
        carried = np.flatnonzero(self._carried[:, self.cast.parts.owner[part]])
        met = np.logical_or.reduce(near, axis=1)
        carried = carried[met[self.motion[carried]]]
        row, other = np.nonzero(near[self.motion[carried]] & self._stands[carried][:, some])
        return carried[row], np.full(len(row), part), still[some[other]]

    def _near_each_other(
        self,
        moving: list[int],
        still: list[int],
        boxes: dict[int, tuple[Array, Array]],
        far: float,
    ) -> tuple[Index, Index, Index]:
        """Moving parts near each other, or near the arm's own base."""
        owner, actors = self.cast.parts.owner, self.cast.actors
        low, high = self._still_boxes
        motions = len(self.stage.pieces.start) - 1
        for part in still:
            if actors[owner[part]].role == "arm":
                at_low, at_high = (np.repeat(of[:, [part]], motions, axis=1) for of in (low, high))
                boxes = boxes | {part: (at_low, at_high)}
        parts = np.array(list(boxes), np.intp)
        first, second = np.nonzero(
            ((parts < parts[:, None]) | (self.cast.link[parts] == 0))
            & (self.cast.link[parts] > 0)[:, None]
            & ~self._together[owner[parts][:, None], owner[parts]]
        )
        lows, highs = (np.stack(side, axis=1) for side in zip(*boxes.values(), strict=True))
        gap = box_gap(lows[:, first], highs[:, first], lows[:, second], highs[:, second])
        near = gap < far
        some = np.flatnonzero(np.logical_or.reduce(near, axis=1))
        pairs = np.stack([parts[first[some]], parts[second[some]]], axis=1)
        near = near[some] & self.cast.between.near(self.stage.pieces, pairs, min(far, self.cap)).T
        near = near[:, self.motion]
        near &= self._carried.T[owner[pairs[:, 0]]] & self._carried.T[owner[pairs[:, 1]]]
        pair, segment = np.nonzero(near)
        return segment, pairs[pair, 0], pairs[pair, 1]

    def _whole(self, low: Array, high: Array, parts: Index) -> tuple[Array, Array]:
        """Boxes in which the first triangle of each closed mesh stands for all of the mesh.

        What is inside a mesh may be far from all its triangles, and must be met all the same.
        """
        low, high, owner = low.copy(), high.copy(), self.cast.parts.owner
        for mesh in self.closed:
            mine = parts[owner[parts] == mesh]
            if len(mine):
                low[:, mine[0]] = low[:, mine].min(axis=1)
                high[:, mine[0]] = high[:, mine].max(axis=1)
        return low, high

    def _whole_moving(
        self, boxes: dict[int, tuple[Array, Array]]
    ) -> dict[int, tuple[Array, Array]]:
        """The same for boxes of moving parts over each segment."""
        whole, owner = dict(boxes), self.cast.parts.owner
        for mesh in self.closed:
            mine = [part for part in boxes if owner[part] == mesh]
            if mine:
                low = np.min([boxes[part][0] for part in mine], axis=0)
                whole[mine[0]] = (low, np.max([boxes[part][1] for part in mine], axis=0))
        return whole

    def _standing(self) -> Mask:
        """Which actors stand in which segment, shape (segments, actors)."""
        actors = self.cast.actors
        event = np.array(
            [self.planned[p].task.first + segment.release for p, _, segment in self.segments]
        )
        bit = np.array([1 << SEGMENTS.index(segment.name) for _, _, segment in self.segments])
        since = np.array([actor.since for actor in actors])
        until = np.array([actor.until for actor in actors])
        during = np.array([actor.segments for actor in actors])
        stands = (since <= event[:, None]) & (event[:, None] < until)
        stands &= (during & bit[:, None]) != 0
        groups = [self.planned[p].task.group.name for p, _, _ in self.segments]
        mine = np.array([[actor.group in ("", name) for actor in actors] for name in set(groups)])
        row = {name: i for i, name in enumerate(set(groups))}
        # the arm's own base stands too, but is met as a part of the arm
        here = np.array([actor.role != "arm" for actor in actors])
        return stands & mine[[row[name] for name in groups]] & here

    def _moving(self) -> Mask:
        """Which actors move in which segment: all but the cartons that do not hang."""
        actors = self.cast.actors
        moves = np.ones((len(self.segments), len(actors)), dtype=bool)
        for index, actor in enumerate(actors):
            if actor.carried is None:
                continue
            group, turn, item = actor.carried
            picked = np.array(
                [
                    plan.task.group.name == group and plan.cycle.pick_turn == turn
                    for plan in self.planned
                ]
            )
            held = [item in segment.carried for _, _, segment in self.segments]
            moves[:, index] = picked[[p for p, _, _ in self.segments]] & np.array(held)
        return moves
