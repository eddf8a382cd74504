"""The operating space of a job: all that arm, tool and groups sweep over all cycles.

The solid is a grid of cells: every cell that anything passes through is taken up. It contains
the exact solid, and no point of it is farther from the exact solid than the tolerance asked for.

Source: the word is that of ISO 8373:2021 (as reproduced): operating space is what is used while
the task program runs; it is neither maximum, restricted nor safeguarded space.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arm.chain import Chain
from ..cell.model import Cell
from ..checks.finding import Result
from ..geometry.bodies import Mesh
from ..geometry.frames import Array
from ..geometry.voxels import Grid
from .space_filling import fill
from .space_marking import boxes, excess
from .space_motions import Motions, motions_of
from .space_strides import Strides, strides_of

# Shares of the edge of a cell in plan: height of a cell, and stray of a stride. With them the
# far corner of a cell that is taken up lies at most sqrt(2 (1 + stray)^2 + (height + stray)^2)
# edges from a stride, and its stray more from the body.
_HEIGHT, _STRAY = 0.5, 0.25
_WORST = float(np.sqrt(2.0 * (1.0 + _STRAY) ** 2 + (_HEIGHT + _STRAY) ** 2)) + _STRAY


@dataclass(frozen=True, slots=True)
class Extreme:
    """The highest or lowest that something gets.

    Attributes:
        height: Over the floor [m]; on the safe side by no more than the stray of strides.
        body: What gets there; placement and segment: when. Empty for what stands.
    """

    height: float
    body: str
    placement: str
    segment: str


@dataclass(frozen=True, slots=True, eq=False)
class Swept:
    """What bodies sweep along motions.

    Attributes:
        grid: Cells; taken: which of them are taken up, shape as the grid's count.
        tolerance: No point of the solid is farther from the exact one than this [m].
        motions, strides: What it was made of; around: lowest and highest corners of boxes
            around the strides of each body, tighter than the cells.
    """

    grid: Grid
    taken: NDArray[np.bool_]
    tolerance: float
    motions: Motions
    strides: tuple[Strides, ...]
    around: tuple[tuple[Array, Array], ...]

    @property
    def volume(self) -> float:
        """Of the cells taken up [m3]: never less than that of the exact solid."""
        return float(self.taken.sum()) * self.grid.side**2 * self.grid.height

    @property
    def area(self) -> float:
        """Of the floor under the cells [m2]."""
        return float(self.taken.any(axis=2).sum()) * self.grid.side**2

    def box(self) -> tuple[Array, Array]:
        """Lowest and highest corner of all, shape (3,) each [m]."""
        used = [ends for ends in self.around if len(ends[0])]
        low = np.min([ends[0].min(axis=0) for ends in used], axis=0)
        return low, np.max([ends[1].max(axis=0) for ends in used], axis=0)


@dataclass(frozen=True, slots=True, eq=False)
class Space:
    """The operating space of a job.

    Attributes:
        swept: The solid.
        highest: The greatest height of anything.
        lowest: The lowest point of tool and groups; None where nothing moves.
        notes: Where the tolerance does not hold, and what is not covered.
    """

    swept: Swept
    highest: Extreme
    lowest: Extreme | None
    notes: tuple[str, ...] = ()


def operating_space(cell: Cell, result: Result, tolerance: float = 0.05) -> Space:
    """The operating space of the cycles of a result.

    Errs: never too small; too large by no more than the tolerance, but for meshes (see notes).

    Args:
        cell: The cell.
        result: What a check of it found; placements without a motion take up nothing.
        tolerance: [m].

    Raises:
        ValueError: The tolerance is too fine for the bodies, or for memory.
    """
    motions = motions_of(cell, result)
    found = swept(cell.mounted.arm.chain, cell.mounted.world_from_base, motions, tolerance)
    every = range(len(motions.moving))
    tools = [i for i in every if motions.moving[i].actor.role in ("tool", "lips", "carried")]
    lowest = _extreme(found, tools, -1) if motions.motions else None
    return Space(found, _extreme(found, every, 1), lowest, _notes(cell, motions))


def swept(chain: Chain, world_from_base: Array, motions: Motions, tolerance: float) -> Swept:
    """The solid that bodies sweep along motions.

    Errs: as `operating_space`.

    Args:
        chain: The arm.
        world_from_base: Where it stands, shape (4, 4).
        motions: Motions and bodies; what stands counts as well.
        tolerance: [m].

    Raises:
        ValueError: The tolerance is too fine for the bodies, or for memory.
    """
    bodies = [moving.body for moving in motions.moving]
    side = (tolerance - max(excess(body) for body in bodies)) / _WORST
    if side <= 0.0:
        raise ValueError("round bodies are drawn with corners, which takes more than that")
    strides = strides_of(chain, world_from_base, motions, _STRAY * side)
    around = [boxes(body, way) for body, way in zip(bodies, strides, strict=True)]
    used = [index for index, way in enumerate(strides) if len(way.stray)]
    low = np.min([around[index][0].min(axis=0) for index in used], axis=0)
    high = np.max([around[index][1].max(axis=0) for index in used], axis=0)
    grid = Grid.around(low, high, side, _HEIGHT * side)
    taken = fill(grid, bodies, strides).taken
    return Swept(grid, taken, tolerance, motions, tuple(strides), tuple(around))


def _extreme(found: Swept, which: Sequence[int], sign: int) -> Extreme:
    """The highest (sign 1) or lowest (-1) that some bodies get."""
    ends = {
        index: sign * found.around[index][sign > 0][:, 2]
        for index in which
        if len(found.strides[index].stray)
    }
    best = max(ends, key=lambda index: float(ends[index].max()))
    at = int(ends[best].argmax())
    number = int(found.strides[best].motion[at])
    motion = found.motions.motions[number] if number >= 0 else None
    return Extreme(
        sign * float(ends[best][at]),
        found.motions.moving[best].actor.name,
        motion.placement if motion else "",
        motion.segment if motion else "",
    )


def _notes(cell: Cell, motions: Motions) -> tuple[str, ...]:
    notes: list[str] = []
    meshes = [m.actor.name for m in motions.moving if isinstance(m.body.shape, Mesh)]
    if meshes:
        names = ", ".join(dict.fromkeys(meshes))
        notes.append(f"taken as its convex hull, whatever the tolerance: {names}")
    if cell.motion.blend_radius:
        notes.append("corners are swept sharp; what rounding them takes up is not covered")
    if motions.without:
        names = ", ".join(motions.without)
        notes.append(f"no motion was found, so nothing is known of: {names}")
    return tuple(notes)
