"""Puts an arm on a lift or a track: one chain, one set of limits and bodies."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..geometry.bodies import Body, frozen
from ..geometry.frames import Array
from .arm import Arm, CoupledLimit, Joint, LinkBody, Touching
from .chain import Chain, Link
from .external_axis import ExternalAxis

CARRIAGE = "carriage"


def carried(
    arm: Arm,
    axis: ExternalAxis,
    joint: Joint,
    fixed: Sequence[Body] = (),
    moving: Sequence[Body] = (),
) -> Arm:
    """An arm on an external axis.

    Args:
        arm: The arm; its base is carried.
        axis: The lift or track.
        joint: Limits of the axis [m].
        fixed: Its column or rails, in the base frame.
        moving: Its carriage, in the mounting base's frame: the base frame while the axis is
            at 0.

    Raises:
        ValueError: The arm has a joint or a link of the axis's name, or is on an axis already.
    """
    if arm.axis is not None:
        raise ValueError(f"{arm.name} is on a {arm.axis.kind} already")
    if joint.name in (other.name for other in arm.joints):
        raise ValueError(f"{arm.name} has a joint called {joint.name!r} of its own")
    taken = {axis.kind, CARRIAGE} & set(arm.chain.names)
    if taken:
        raise ValueError(f"{arm.name} has a link called {min(taken)!r} of its own")
    base = arm.chain.root
    return replace(
        arm,
        chain=_chain(arm.chain, axis),
        joints=(joint, *arm.joints),
        coupled=tuple(
            CoupledLimit(limit.name, (0.0, *limit.factors), limit.lower, limit.upper)
            for limit in arm.coupled
        ),
        bodies=(
            *(LinkBody(0, body) for body in fixed),
            *(LinkBody(1, body) for body in moving),
            *(
                LinkBody(entry.link + 1, entry.body, entry.part or ("" if entry.link else base))
                for entry in arm.bodies
            ),
        ),
        touching=(
            Touching(axis.kind, CARRIAGE, f"the carriage runs on the {axis.kind}"),
            *arm.touching,
        ),
        label=_Label(arm.label),
        axis=axis,
    )


def _chain(inner: Chain, axis: ExternalAxis) -> Chain:
    """The axis as link 1, and the arm's links behind it."""
    first = Link(CARRIAGE, 0, frozen(np.zeros(3)), frozen(axis.direction), 0, prismatic=True)
    others = (replace(link, parent=link.parent + 1, source=link.source + 1) for link in inner.links)
    return Chain(
        (first, *others),
        inner.dof + 1,
        inner.flange_link + 1,
        inner.link_from_flange,
        root=axis.kind,
    )


class _Label:
    """The arm's own labels, whatever the axis does; a class, so that it can go to workers."""

    def __init__(self, inner: Callable[[Array], NDArray[np.intp]]) -> None:
        self._inner = inner

    def __call__(self, q: Array) -> NDArray[np.intp]:
        return self._inner(q[:, 1:])
