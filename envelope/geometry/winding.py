"""Is a point inside a closed mesh: the sum of the solid angles of its triangles."""

import numpy as np
from numpy.typing import NDArray

from .frames import Array

BLOCK = 200_000
"""Point-triangle pairs at a time: some 40 MB of work space."""


def inside_mesh(triangles: Array, points: Array) -> NDArray[np.bool_]:
    """Whether points lie inside a closed, consistently turned mesh.

    Inside means wound around more than half a turn, in either sense; a point on the
    surface may come out either way.

    Args:
        triangles: shape (t, 3, 3) [m].
        points: shape (m, 3) [m].

    Returns:
        Shape (m,). A point that is not finite counts as inside, never as free.

    Source: van Oosterom & Strackee, "The solid angle of a plane triangle",
    IEEE Transactions on Biomedical Engineering 30, 1983.
    """
    inside = np.zeros(len(points), dtype=bool)
    step = max(1, BLOCK // max(1, len(triangles)))
    for start in range(0, len(points), step):
        turns = _turns(triangles, points[start : start + step])
        inside[start : start + step] = ~(np.abs(turns) <= 0.5)
    return inside


def _turns(triangles: Array, points: Array) -> Array:
    """Winding numbers of a few points, shape (m,)."""
    with np.errstate(invalid="ignore"):
        a, b, c = (triangles[None, :, k] - points[:, None] for k in range(3))
        length_a, length_b, length_c = (np.sqrt((v * v).sum(axis=-1)) for v in (a, b, c))
        volume = (a * np.cross(b, c)).sum(axis=-1)
        corner = (
            length_a * length_b * length_c
            + (a * b).sum(axis=-1) * length_c
            + (b * c).sum(axis=-1) * length_a
            + (c * a).sum(axis=-1) * length_b
        )
        return np.arctan2(volume, corner).sum(axis=-1) / (2.0 * np.pi)
