"""What the arm reaches at each layer's height, tool and group hanging straight down."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..cell.model import Cell
from ..cell.variants import CellFile
from ..geometry.frames import Array, invert, pose
from ..motion.grip import tool_from_group
from ..palletizing.group import Group
from .errors import SurveyError
from .plan import layer_plan, plan_of
from .reaching import Room
from .results import ReachMap, ReachSurvey
from .runner import Progress, Runner

MOST_PLACES = 1_000_000  # of a grid; more is a slip of the keyboard
_POSES = 2_048  # solved at once
_SAME_HEIGHT = 4  # decimals [m]: layers nearer than this share a map


@dataclass(frozen=True, slots=True)
class AskedReach:
    """What a reach survey is asked for.

    Attributes:
        step: From one place to the next, both ways [mm].
        turns: How many turns of the tool are tried, evenly over a whole one.
    """

    step: float = 50.0
    turns: int = 24


@dataclass(frozen=True, slots=True)
class _Level:
    """A height at which something is put down.

    Attributes:
        height: Of the group's top face over the floor [m].
    """

    height: float
    group: str
    layers: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class LevelMap:
    """Answer at one level: for each place how many turns are in range, and the most room."""

    turns: tuple[int, ...]
    room: tuple[float | None, ...]


def survey_reach(
    file: CellFile,
    asked: AskedReach,
    runner: Runner[LevelMap],
    progress: Progress | None = None,
) -> ReachSurvey:
    """Map what the arm reaches at every height at which a group is put down.

    Args:
        file: The cell.
        asked: Grid and turns.
        runner: Does the work, and keeps what is done.
        progress: Called with (levels done, levels in all).

    Raises:
        SurveyError: If the grid has too many places, or the runner cannot go on.
        CellError: If the file is no cell.
    """
    cell = file.cell()
    levels = levels_of(cell)
    if not levels:
        raise SurveyError("nothing to survey: no stack has a placement")
    x, y = grid_of(cell, asked.step)
    work: Any = partial(_map_level, file, asked)
    names = [f"{level.group} at {level.height:.4f}" for level in levels]
    answers = runner.run(work, levels, names=names, progress=progress)
    return _survey(cell, asked, levels, answers, (x, y))


def levels_of(cell: Cell) -> list[_Level]:
    """All heights at which groups are put down, from the bottom up; of each group its own."""
    found: dict[tuple[float, str], list[tuple[str, int]]] = {}
    for pallet in cell.pallets:
        for placement in pallet.placements:
            top = round(float(pallet.world_from_pallet[2, 3]) + placement.z, _SAME_HEIGHT)
            layers = found.setdefault((top, placement.group.name), [])
            if (pallet.name, placement.layer) not in layers:
                layers.append((pallet.name, placement.layer))
    return [_Level(*key, tuple(found[key])) for key in sorted(found)]


def grid_of(cell: Cell, step: float) -> tuple[Array, Array]:
    """Places x and y in the world [m] beyond which nothing can be in reach.

    The grid has a place straight above the arm's base. Raises SurveyError.
    """
    base = cell.mounted.world_from_base[:2, 3]
    across = 1e3 * farthest(cell) / step
    if (2.0 * across + 1.0) ** 2 > MOST_PLACES:
        raise SurveyError(
            f"a grid of {step:g} mm has more than {MOST_PLACES} places; take a larger step"
        )
    count = int(np.ceil(across))
    offsets = np.arange(-count, count + 1) * (step / 1e3)
    return base[0] + offsets, base[1] + offsets


def farthest(cell: Cell) -> float:
    """A distance from the arm's base beyond which no group's centre can be [m]."""
    chain = cell.mounted.arm.chain
    links = [chain.links[index - 1] for index in chain.path(chain.flange_link)]
    length = sum(float(np.linalg.norm(link.origin)) for link in links)
    slides = [max(abs(low), abs(high)) for low, high in cell.mounted.usable]
    length += sum(slides[link.source] for link in links if link.prismatic)
    length += float(np.linalg.norm(chain.link_from_flange[:3, 3]))
    length += float(np.linalg.norm(cell.tool.flange_from_tcp[:3, 3]))
    held = [tool_from_group(cell.tool, group, group.turns[0]) for group in groups_of(cell).values()]
    return length + max((float(np.linalg.norm(at[:3, 3])) for at in held), default=0.0)


def groups_of(cell: Cell) -> dict[str, Group]:
    """The groups that are put down, by name."""
    return {p.group.name: p.group for pallet in cell.pallets for p in pallet.placements}


def _map_level(file: CellFile, asked: AskedReach, level: _Level) -> LevelMap:
    """The map of one level; this runs in workers."""
    cell = file.cell()
    x, y = grid_of(cell, asked.step)
    points = np.array([(px, py, level.height) for py in y for px in x])
    group = groups_of(cell)[level.group]
    turns, room = reached_at(cell, group, points, asked.turns)
    degrees = np.round(np.degrees(room), 3)
    return LevelMap(
        tuple(turns.tolist()),
        tuple(d if t else None for d, t in zip(degrees.tolist(), turns.tolist(), strict=True)),
    )


def reached_at(
    cell: Cell, group: Group, points: Array, turns: int
) -> tuple[NDArray[np.intp], Array]:
    """What is in reach where a group's top centre stands at points of the world.

    The group hangs on the tool as it is picked with its first turn, and is turned about the
    vertical through its centre.

    Args:
        cell: The cell.
        group: The group.
        points: Shape (n, 3) [m].
        turns: How many turns are tried, evenly over a whole one.

    Returns:
        For each point how many turns are in range of the joints, shape (n,), and the largest
        room over them and over branches, shape (n,) [rad]; -inf where there is none.
    """
    room, base_from_world = Room(cell), invert(cell.mounted.world_from_base)
    held = invert(tool_from_group(cell.tool, group, group.turns[0]))
    held = held @ invert(cell.tool.flange_from_tcp)
    turned = [pose(yaw=2.0 * np.pi * k / turns) @ held for k in range(turns)]
    at_origin = np.array([base_from_world @ each for each in turned])
    shift = (base_from_world[:3, :3] @ points[:, :, None])[:, :, 0]
    count, best = np.zeros(len(points), np.intp), np.full(len(points), -np.inf)
    block = max(1, _POSES // turns)
    for start in range(0, len(points), block):
        some = slice(start, start + block)
        poses = np.repeat(at_origin[None], len(shift[some]), axis=0)
        poses[:, :, :3, 3] += shift[some, None]
        found = room.of(poses.reshape(-1, 4, 4)).max(axis=1).reshape(-1, turns)
        count[some] = (found > -np.inf).sum(axis=1)
        best[some] = found.max(axis=1)
    return count, best


def _survey(
    cell: Cell,
    asked: AskedReach,
    levels: Sequence[_Level],
    answers: Sequence[LevelMap],
    grid: tuple[Array, Array],
) -> ReachSurvey:
    """The answers in rows and columns, without the margin where nothing is ever in reach."""
    x, y = grid
    turns = np.array([each.turns for each in answers]).reshape(len(levels), len(y), len(x))
    rows, columns = _kept((turns > 0).any(axis=(0, 2))), _kept((turns > 0).any(axis=(0, 1)))
    maps: list[ReachMap] = []
    for level, answer, counts in zip(levels, answers, turns, strict=True):
        room = [answer.room[k * len(x) : (k + 1) * len(x)] for k in range(len(y))]
        maps.append(
            ReachMap(
                round(level.height * 1e3, 1),
                level.layers,
                level.group,
                tuple(tuple(row[columns]) for row in counts[rows].tolist()),
                tuple(tuple(row[columns]) for row in room[rows]),
                tuple(o for name, layer in level.layers for o in layer_plan(cell, name, layer)),
            )
        )
    base = cell.mounted.world_from_base[:2, 3] * 1e3
    return ReachSurvey(
        cell.name,
        cell.sha256,
        asked.step,
        tuple(np.round(x[columns] * 1e3, 3).tolist()),
        tuple(np.round(y[rows] * 1e3, 3).tolist()),
        asked.turns,
        (round(float(base[0]), 3), round(float(base[1]), 3)),
        tuple(maps),
        plan_of(cell),
        None if all(cell.mounted.arm.chain.turning()) else cell.mounted.slide_worth(),
    )


def _kept(anything: Any) -> slice:
    """From the first to the last place where there is anything, and one beyond."""
    there = np.flatnonzero(anything)
    if not len(there):
        return slice(0, len(anything))
    return slice(max(int(there[0]) - 1, 0), int(there[-1]) + 2)


def level_to_json(level: LevelMap) -> Any:
    """As plain data for the survey file."""
    return {"turns": level.turns, "room": level.room}


def level_from_json(data: Any) -> LevelMap:
    """Back from plain data. Raises TypeError, KeyError."""
    return LevelMap(tuple(data["turns"]), tuple(data["room"]))
