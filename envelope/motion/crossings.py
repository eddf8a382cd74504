"""Joint moves from one place to another, over the points on the way that a route asks for."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..cell.model import Cell
from ..geometry.frames import Array
from .options import Route
from .postures import Reach

_LEVEL = 1e-4  # [m]: ends this level need no point between them


@dataclass(frozen=True, slots=True, eq=False)
class Crossing:
    """A joint move that is wanted.

    Attributes:
        branch: Index of the arm's branch.
        start: Joints where it starts, shape (dof,).
        end: The same where it ends.
    """

    route: Route
    branch: int
    start: Array
    end: Array


def crossings(cell: Cell, reach: Reach, asked: Sequence[Crossing]) -> list[Array | None]:
    """Rows of joint moves, shape (rows, dof); None where a point on the way is out of reach."""
    if not asked:
        return []
    ends = np.stack([(one.start, one.end) for one in asked])
    rows: list[Array | None] = list(ends)
    over = [k for k, one in enumerate(asked) if one.route.via != "none"]
    if over:
        some = _over_points(cell, reach, [asked[k] for k in over], ends[over])
        for k, found in zip(over, some, strict=True):
            rows[k] = found
    return rows


def _over_points(
    cell: Cell, reach: Reach, asked: Sequence[Crossing], ends: Array
) -> list[Array | None]:
    """Rows of the moves that lead over points on the way; their ends have shape (n, 2, dof)."""
    arm, up = reach.arm, cell.mounted.up
    flat = ends.reshape(-1, arm.dof)
    tcp = (arm.chain.flange_poses(flat) @ cell.tool.flange_from_tcp).reshape(-1, 2, 4, 4)
    centres = arm.mounting_points(flat).reshape(-1, 2, 3)[..., :2]
    points = [
        _level_points(poses, up)
        if one.route.via == "level"
        else _points_on_the_way(poses, axis, one.route.via, up)
        for one, poses, axis in zip(asked, tcp, centres, strict=True)
    ]
    own = np.array([one.branch % len(arm.branch_names) for one in asked])
    rows = [[start] for start in ends[:, 0]]
    for number in range(max(map(len, points))):  # each in the turns nearest to the one before
        there = [k for k in range(len(asked)) if number < len(points[k])]
        poses = np.stack([points[k][number][0] for k in there])
        stands = [reach.stand_at(ends[k, points[k][number][1]]) for k in there]
        before = np.stack([rows[k][-1] for k in there])
        answers = reach.answers(poses, None if arm.axis is None else np.array(stands))
        answers = answers[np.arange(len(there)), own[there], None]
        for k, q in zip(there, reach.within(answers, before[:, None])[:, 0], strict=True):
            rows[k].append(q)
    whole = [np.stack([*mine, end]) for mine, end in zip(rows, ends[:, 1], strict=True)]
    return [None if np.isnan(mine).any() else mine for mine in whole]


def _level_points(ends: Array, up: Array) -> list[tuple[Array, int]]:
    """The point straight above the lower of both ends, (2, 4, 4), level with the other, if any.

    With it, at which end the external axis stands there.
    """
    heights = [float((pose[:3, 3] * up).sum()) for pose in ends]
    lower = int(np.argmin(heights))
    missing = heights[1 - lower] - heights[lower]
    if missing < _LEVEL:
        return []
    point = ends[lower].copy()
    point[:3, 3] += missing * up
    return [(point, lower)]


def _points_on_the_way(ends: Array, centres: Array, via: str, up: Array) -> list[tuple[Array, int]]:
    """TCP poses on the way: over the middle, or both ends drawn in towards the arm's axis.

    With each, at which end the external axis stands there: drawn in from both ends it stands
    where it was, over the middle at the far end.

    Args:
        ends: TCP poses at both ends, shape (2, 4, 4).
        centres: The arm's axis in plan at both ends, shape (2, 2) [m].
        via: "over" or "drawn in".
        up: Upward in the base frame.
    """
    start, end = ends
    level = max(float((pose[:3, 3] * up).sum()) for pose in ends)
    away = ends[:, :2, 3] - centres
    radii = [float(np.hypot(*way)) for way in away]
    angles = [float(np.arctan2(way[1], way[0])) for way in away]
    between = np.arctan2(np.sin(angles[1] - angles[0]), np.cos(angles[1] - angles[0]))
    if via == "over":
        places = [(angles[0] + between / 2, sum(radii) / 2, end, centres[1], 1)]
    else:
        inner = 0.75 * min(radii)
        places = [
            (angles[0], inner, start, centres[0], 0),
            (angles[1], inner, end, centres[1], 1),
        ]
    poses: list[tuple[Array, int]] = []
    for angle, radius, template, centre, near in places:
        pose = template.copy()
        pose[:2, 3] = centre + radius * np.array([np.cos(angle), np.sin(angle)])
        pose[:3, 3] += (level - float((pose[:3, 3] * up).sum())) * up
        poses.append((pose, near))
    return poses
