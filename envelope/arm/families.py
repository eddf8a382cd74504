"""The families of generic arms: from dimensions, limits and bodies to an `Arm`."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from ..geometry.bodies import Body
from ..geometry.frames import Array
from . import column_arm, gantry, parallel_axes, parallelogram, spherical_wrist
from .arm import Arm, CoupledLimit, Joint, LinkBody, Rating, Touching
from .chain import Chain


class Geometry(Protocol):
    """A family's dimensions, with the chain and the inverse they give."""

    def chain(self) -> Chain:
        """Links in order."""
        ...

    def solve(self, poses: Array) -> Array:
        """Candidates, shape (n, branches, dof), for poses, shape (n, 4, 4)."""
        ...

    def label(self, q: Array) -> NDArray[np.intp]:
        """Branch, shape (n,), of joint coordinates, shape (n, dof)."""
        ...


@dataclass(frozen=True, slots=True)
class Dimension:
    """One dimension of a family.

    Attributes:
        meaning: In words, as help shows it.
        signed: Whether it may be zero or negative (an offset) or must be positive (a length).
        default: Taken when left out [m]; None where it must be given.
    """

    meaning: str
    signed: bool = False
    default: float | None = None


@dataclass(frozen=True, slots=True)
class Family:
    """A family of arms that share axes and a closed form.

    Attributes:
        dimensions: By name.
        links: Link names, the base first.
        joints: What each joint does, in words.
        branches: Name of each branch.
        geometry: Makes the geometry of dimensions by name [m].
    """

    name: str
    dimensions: Mapping[str, Dimension]
    links: tuple[str, ...]
    joints: tuple[str, ...]
    branches: tuple[str, ...]
    geometry: Callable[..., Geometry]

    def complete(self, dimensions: Mapping[str, float]) -> dict[str, float]:
        """All dimensions [m], defaults filled in. Raises ValueError, naming every fault."""
        faults = [
            f"unknown dimension {name!r}" for name in dimensions if name not in self.dimensions
        ]
        values: dict[str, float] = {}
        for name, dimension in self.dimensions.items():
            value = dimensions.get(name, dimension.default)
            if value is None:
                faults.append(f"dimension {name!r} is missing ({dimension.meaning})")
            elif not np.isfinite(value):
                faults.append(f"dimension {name!r} is no finite number")
            elif value <= 0.0 and not dimension.signed:
                faults.append(f"dimension {name!r} must be greater than 0 ({dimension.meaning})")
            else:
                values[name] = value
        if faults:
            known = ", ".join(self.dimensions)
            raise ValueError(f"{self.name}: {'; '.join(faults)}. Dimensions are: {known}.")
        return values


SPHERICAL_WRIST = Family(
    name="spherical wrist",
    dimensions={
        "shoulder_height": Dimension("joint 2 over the mounting base"),
        "shoulder_offset": Dimension("joint 2 in front of joint 1", signed=True),
        "shoulder_lateral": Dimension("arm's plane to the left of joint 1", True, 0.0),
        "upper_arm": Dimension("joint 2 to joint 3"),
        "elbow_offset": Dimension("forearm axis over joint 3", signed=True),
        "forearm": Dimension("joint 3 to the wrist centre, along the forearm"),
        "flange": Dimension("wrist centre to the flange face", signed=True),
    },
    links=spherical_wrist.LINKS,
    joints=(
        "turn of the arm about the vertical",
        "lean of the upper arm",
        "tip of the forearm against the upper arm",
        "roll of the forearm",
        "bend of the wrist",
        "turn of the flange",
    ),
    branches=spherical_wrist.BRANCHES,
    geometry=spherical_wrist.SphericalWrist,
)
PARALLEL_AXES = Family(
    name="three parallel axes",
    dimensions={
        "shoulder_height": Dimension("joint 2 over the mounting base"),
        "upper_arm": Dimension("joint 2 to joint 3"),
        "forearm": Dimension("joint 3 to joint 4"),
        "wrist_lateral": Dimension("joint 5's axis to the left of joint 1's", signed=True),
        "wrist_length": Dimension("joint 4's axis to joint 6's, along joint 5", signed=True),
        "flange": Dimension("joint 5's axis to the flange face, along joint 6"),
    },
    links=parallel_axes.LINKS,
    joints=(
        "turn of the arm about the vertical",
        "lean of the upper arm",
        "tip of the forearm against the upper arm",
        "tip of the wrist against the forearm",
        "turn of the outer wrist",
        "turn of the flange",
    ),
    branches=parallel_axes.BRANCHES,
    geometry=parallel_axes.ParallelAxes,
)
PARALLELOGRAM = Family(
    name="parallelogram",
    dimensions={
        "shoulder_height": Dimension("joint 2 over the mounting base"),
        "shoulder_offset": Dimension("joint 2 in front of joint 1", signed=True),
        "upper_arm": Dimension("joint 2 to joint 3"),
        "forearm": Dimension("joint 3 to the wrist plate's pivot"),
        "wrist_offset": Dimension("wrist plate's pivot to joint 4, outward", signed=True),
        "flange_drop": Dimension("wrist plate's pivot down to the flange face", signed=True),
        "elbow_bar_back": Dimension("parallel bar's pivots behind joints 2 and 3", signed=True),
        "elbow_bar_up": Dimension("parallel bar's pivots over joints 2 and 3", signed=True),
        "tie_bar_up": Dimension("tie bar's pivots over joint 3 and the wrist", signed=True),
        "tie_bar_out": Dimension("tie bar's pivots outward of them", signed=True),
        "drive_lever": Dimension("drive rod's pivots behind joints 2 and 3"),
    },
    links=parallelogram.LINKS,
    joints=(
        "turn of the arm about the vertical",
        "lean of the upper arm from the vertical",
        "tip of the forearm below the horizontal",
        "turn of the flange about the vertical",
    ),
    branches=parallelogram.BRANCHES,
    geometry=parallelogram.Parallelogram,
)
COLUMN_ARM = Family(
    name="column arm",
    dimensions={
        "shoulder_height": Dimension("the saddle's plane over the mounting base"),
        "shoulder_offset": Dimension("joint 2 in front of the column's axis", signed=True),
        "upper_arm": Dimension("joint 2 to joint 3"),
        "forearm": Dimension("joint 3 to joint 4"),
        "flange_drop": Dimension("the saddle's plane down to the flange face", signed=True),
    },
    links=column_arm.LINKS,
    joints=(
        "slide of the saddle up the column",
        "turn of the upper arm about the vertical",
        "turn of the forearm about the vertical",
        "turn of the flange about the vertical",
    ),
    branches=column_arm.BRANCHES,
    geometry=column_arm.ColumnArm,
)
GANTRY = Family(
    name="gantry",
    dimensions={
        "flange_height": Dimension("the flange face over the mounting base", signed=True),
        "mast_offset": Dimension("the mast in front of where joint 1 counts from", True, 0.0),
    },
    links=gantry.LINKS,
    joints=(
        "slide of the bridge along its runways",
        "slide of the trolley along the bridge",
        "slide of the mast up",
        "turn of the head about the vertical",
    ),
    branches=gantry.BRANCHES,
    geometry=gantry.Gantry,
)
FAMILIES: dict[str, Family] = {
    family.name: family
    for family in (SPHERICAL_WRIST, PARALLEL_AXES, PARALLELOGRAM, COLUMN_ARM, GANTRY)
}


def build(
    name: str,
    family: str,
    dimensions: Mapping[str, float],
    joints: Sequence[Joint],
    coupled: Sequence[CoupledLimit] = (),
    bodies: Mapping[str, Sequence[Body]] | None = None,
    touching: Sequence[Touching] = (),
    rating: Rating | None = None,
) -> Arm:
    """An arm of a family.

    Args:
        name: The arm's name.
        family: One of `FAMILIES`.
        dimensions: By name [m].
        joints: Limits, one a joint, in order.
        coupled: Limits on sums of joint coordinates.
        bodies: By link name, each in its link's frame.
        touching: Pairs of links that touch by construction.
        rating: What the mechanical interface may carry; nothing if left out.

    Raises:
        ValueError: Naming what is missing, unknown or out of range.
    """
    kind = FAMILIES.get(family)
    if kind is None:
        raise ValueError(f"unknown family {family!r}; families are: {', '.join(FAMILIES)}")
    values = kind.complete(dimensions)
    rating = rating or Rating(0.0)
    _check_joints(kind, joints, coupled, rating)
    bodies = bodies or {}
    _check_links(kind, bodies, touching)
    geometry = kind.geometry(**values)
    return Arm(
        name=name,
        family=family,
        chain=geometry.chain(),
        joints=tuple(joints),
        coupled=tuple(coupled),
        bodies=tuple(
            LinkBody(index, body)
            for index, link in enumerate(kind.links)
            for body in bodies.get(link, ())
        ),
        touching=tuple(touching),
        rating=rating,
        branch_names=kind.branches,
        solve=geometry.solve,
        label=geometry.label,
    )


def _check_joints(
    kind: Family, joints: Sequence[Joint], coupled: Sequence[CoupledLimit], rating: Rating
) -> None:
    """Raises ValueError where joints, coupled limits and rating do not fit together."""
    dof = len(kind.joints)
    if len(joints) != dof:
        raise ValueError(f"{kind.name}: {dof} joints are needed, {len(joints)} are given")
    names = [joint.name for joint in joints]
    if len(set(names)) != dof:
        raise ValueError(f"{kind.name}: joint names must differ from each other")
    for joint in joints:
        if not joint.lower < joint.upper:
            raise ValueError(f"{joint.name}: the range must run from low to high")
        if not (joint.speed > 0.0 and joint.acceleration > 0.0):
            raise ValueError(f"{joint.name}: speed and acceleration must be greater than 0")
    for limit in coupled:
        if len(limit.factors) != dof:
            raise ValueError(f"{limit.name}: {dof} factors are needed, one a joint")
        if not limit.lower < limit.upper:
            raise ValueError(f"{limit.name}: the range must run from low to high")
    for joint, _ in (*rating.moments, *rating.inertias, *rating.moving):
        if joint not in names:
            raise ValueError(f"rating: unknown joint {joint!r}; joints are: {', '.join(names)}")


def _check_links(
    kind: Family, bodies: Mapping[str, Sequence[Body]], touching: Sequence[Touching]
) -> None:
    """Raises ValueError for links that the family does not have, and for repeated bodies."""
    known = f"links are: {', '.join(kind.links)}"
    for link, solids in bodies.items():
        if link not in kind.links:
            raise ValueError(f"bodies: unknown link {link!r}; {known}")
        names = [body.name for body in solids]
        if len(set(names)) != len(names):
            raise ValueError(f"bodies: two bodies of link {link!r} have the same name")
    for pair in touching:
        for link in (pair.first, pair.second):
            if link not in kind.links:
                raise ValueError(f"touching: unknown link {link!r}; {known}")
        if pair.first == pair.second:
            raise ValueError(f"touching: {pair.first!r} is paired with itself")
