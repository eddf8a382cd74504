"""How joints change along the evenly spaced rows of a straight line."""

import numpy as np
from numpy.typing import NDArray

from ..geometry.frames import Array

# Weights of five neighbouring rows in the first and second derivative at each of them.
# Source: Fornberg, Generation of finite difference formulas on arbitrarily spaced grids,
# Mathematics of Computation 51 (1988), tables 1 and 2; from memory, tested on polynomials.
_FIRST = np.array(
    [[-25, 48, -36, 16, -3], [-3, -10, 18, -6, 1], [1, -8, 0, 8, -1], [-1, 6, -18, 10, 3],
     [3, -16, 36, -48, 25]]
) / 12.0  # fmt: skip
_SECOND = np.array(
    [[35, -104, 114, -56, 11], [11, -20, 6, 4, -1], [-1, 16, -30, 16, -1], [-1, 4, 6, -20, 11],
     [11, -56, 114, -104, 35]]
) / 12.0  # fmt: skip


def slopes(rows: Array) -> tuple[Array, Array]:
    """First and second derivative of joints by the row number, at each row.

    Errs: by the fourth power of the step inside, the third at the ends; fewer than five rows
    are taken as a straight connection of their ends.

    Args:
        rows: Shape (..., n, dof), of curves passed at even steps.

    Returns:
        Two arrays of the shape of `rows`.
    """
    count: int = rows.shape[-2]
    if count < 5:
        mean = (rows[..., -1:, :] - rows[..., :1, :]) / (count - 1)
        return np.repeat(mean, count, axis=-2), np.zeros_like(rows)
    window = np.minimum(np.maximum(np.arange(count) - 2, 0), count - 5)
    place = np.arange(count) - window
    near = rows[..., window[:, None] + np.arange(5), :]
    first = (_FIRST[place][:, :, None] * near).sum(axis=-2)
    second = (_SECOND[place][:, :, None] * near).sum(axis=-2)
    return first, second


def between(values: Array, places: Array, of: NDArray[np.intp] | None = None) -> Array:
    """Values at fractions of rows, straight between rows: shape (n, dof) to (m, dof).

    Args:
        values: Shape (n, dof), or (k, n, dof) of several lines.
        places: In rows, shape (m,).
        of: Which line each place is on, shape (m,).
    """
    lines = values[None] if of is None else values
    low = np.minimum(np.maximum(np.floor(places).astype(int), 0), lines.shape[1] - 2)
    line = np.zeros_like(low) if of is None else of
    share = (places - low)[:, None]
    return lines[line, low] * (1.0 - share) + lines[line, low + 1] * share
