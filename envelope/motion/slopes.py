"""How joints change along the evenly spaced rows of a straight line."""

import numpy as np

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
        rows: Shape (n, dof), of a curve passed at even steps.

    Returns:
        Two arrays of the shape of `rows`.
    """
    count = len(rows)
    if count < 5:
        mean = (rows[-1] - rows[0]) / (count - 1)
        return np.repeat(mean[None], count, axis=0), np.zeros_like(rows)
    window = np.clip(np.arange(count) - 2, 0, count - 5)
    place = np.arange(count) - window
    near = rows[window[:, None] + np.arange(5)]
    first = (_FIRST[place][:, :, None] * near).sum(axis=1)
    second = (_SECOND[place][:, :, None] * near).sum(axis=1)
    return first, second


def between(values: Array, places: Array) -> Array:
    """Values at fractions of rows, straight between rows: shape (n, dof) to (m, dof)."""
    low = np.clip(np.floor(places).astype(int), 0, len(values) - 2)
    share = (places - low)[:, None]
    return values[low] * (1.0 - share) + values[low + 1] * share
