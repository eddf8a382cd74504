"""The room that tool and group take up over a segment, for drawing only."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from ..geometry.frames import Array
from ..motion.cycle import Segment
from .facets import Facets, FlatError, hull
from .instant import Moment, Scenery, between_rows

_STEP = 0.12  # [m]: the flange moves no farther than this from one hull to the next
_MOST_STEPS = 40
_FINE = 32  # instants looked at between two rows, of which those far enough apart are taken


def swept(scenery: Scenery, moment: Moment, segment: Segment, also: Sequence[int]) -> list[Facets]:
    """Hulls of every moving convex body at successive instants of a segment.

    Errs: for looking at: between instants a body turns on an arc, the hull takes the chord.

    Args:
        scenery: The bodies.
        moment: Any moment in the segment; says which group is carried and how.
        segment: The stretch of motion.
        also: Actors swept besides tool and group.
    """
    frames = [scenery.frames(joints) for joints in _instants(scenery, segment)]
    cast = scenery.cast
    movers = [
        shown.actor
        for shown in scenery.at(moment)
        if shown.role in ("tool", "lips", "carried") or shown.actor in also
    ]
    hulls: list[Facets] = []
    for actor in movers:
        if cast.actors[actor].link == 0:
            continue
        places = [scenery.placed(actor, frame).points for frame in frames]
        for before, after in pairwise(places):
            try:
                hulls.append(hull(np.concatenate([before, after]), edges=False))
            except FlatError:  # a flat body that slides in its own plane
                continue
    return hulls


def _instants(scenery: Scenery, segment: Segment) -> Array:
    """Joints at successive instants, near enough to each other, shape (n, dof)."""
    chain = scenery.cell.mounted.arm.chain
    fine = np.arange(_FINE * (len(segment.joints) - 1) + 1) / _FINE
    joints = between_rows(segment.joints, fine)
    at = chain.flange_poses(joints)[:, :3, 3]
    way = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(at, axis=0), axis=1))])
    count = int(np.clip(np.ceil(way[-1] / _STEP), 2, _MOST_STEPS)) + 1
    if way[-1] < 1e-9:
        return joints[[0, -1]]
    wanted = np.arange(count) * (float(way[-1]) / (count - 1))
    return joints[np.searchsorted(way, wanted, side="left").clip(0, len(way) - 1)]
