"""Is there a packing with more cells? Integer programming over the points that matter."""

from importlib import import_module
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .lengths import raster_lengths

Block = tuple[int, int, int, int]


def pack_more(
    room: tuple[int, int], cell: tuple[int, int], least: int, nodes: int
) -> tuple[list[Block] | None, bool]:
    """A packing of at least so many cells.

    Each cell stands at raster lengths, and no point of the raster is covered twice: two cells
    that overlap both cover the point with the greater x and the greater y of their corners.

    Args:
        room: Sides, whole numbers.
        cell: Likewise; cells may be turned by 90 degrees.
        least: Number of cells asked for.
        nodes: Nodes of the search tree after which it gives up.

    Returns:
        The cells, or None; and whether the answer is final (a None with True is a proof).
    """
    # Imported here: most patterns need no search, and loading scipy takes longer than theirs.
    optimize: Any = import_module("scipy.optimize")
    sparse: Any = import_module("scipy.sparse")
    blocks, cover = _points(room, cell)
    if len(blocks) < least:
        return None, True
    counted = sparse.vstack([cover, np.ones((1, len(blocks)))]).tocsr()
    upper = np.append(np.ones(cover.shape[0]), np.inf)
    lower = np.append(np.zeros(cover.shape[0]), least)
    answer: Any = optimize.milp(
        -np.ones(len(blocks)),
        integrality=np.ones(len(blocks)),
        bounds=optimize.Bounds(0, 1),
        constraints=optimize.LinearConstraint(counted, lower, upper),
        options={"node_limit": nodes},
    )
    if answer.x is not None:
        chosen = np.flatnonzero(np.asarray(answer.x) > 0.5)
        x = [tuple(int(v) for v in blocks[k]) for k in chosen]
        return [(b[0], b[1], b[2], b[3]) for b in x], answer.status == 0
    return None, answer.status == 2


def _points(room: tuple[int, int], cell: tuple[int, int]) -> tuple[NDArray[np.int64], Any]:
    """All cells at raster lengths, shape (n, 4), and which raster points each covers."""
    sparse: Any = import_module("scipy.sparse")
    xs, ys = (raster_lengths(side, cell) for side in room)
    grid_x, grid_y = (g.ravel() for g in np.meshgrid(xs, ys, indexing="ij"))
    kinds = dict.fromkeys((cell, cell[::-1]))
    parts = [
        np.stack([grid_x, grid_y, np.full_like(grid_x, a), np.full_like(grid_x, b)], axis=1)[
            (grid_x + a <= room[0]) & (grid_y + b <= room[1])
        ]
        for a, b in kinds
    ]
    blocks = np.concatenate(parts)
    x, y, a, b = (blocks[:, k, None] for k in range(4))
    in_x = (xs >= x) & (xs < x + a)
    in_y = (ys >= y) & (ys < y + b)
    rows, columns = np.nonzero((in_x[:, :, None] & in_y[:, None, :]).reshape(len(blocks), -1))
    shape = (len(xs) * len(ys), len(blocks))
    cover: Any = sparse.csr_matrix((np.ones(len(rows)), (columns, rows)), shape=shape)
    return blocks, cover[np.flatnonzero(cover.getnnz(axis=1))]
