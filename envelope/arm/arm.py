"""An arm: its chain, its limits, its bodies, and the inverse that answers for it."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..geometry.bodies import Body
from ..geometry.frames import Array, angle_between
from .chain import Chain

REACHED_POSITION = 1e-5  # [m]: a pose is reached when forward kinematics returns it this well
REACHED_ANGLE = np.radians(1e-3)  # [rad]


@dataclass(frozen=True, slots=True)
class Joint:
    """Limits of one joint coordinate [rad or m, and per second, per second squared]."""

    name: str
    lower: float
    upper: float
    speed: float
    acceleration: float


@dataclass(frozen=True, slots=True)
class CoupledLimit:
    """Limit on a sum of joint coordinates (a linkage): lower <= sum(factors * q) <= upper."""

    name: str
    factors: tuple[float, ...]
    lower: float
    upper: float


@dataclass(frozen=True, slots=True, eq=False)
class LinkBody:
    """A solid fixed to a link; link 0 is the base."""

    link: int
    body: Body


@dataclass(frozen=True, slots=True)
class Touching:
    """Two links that touch by construction, and why."""

    first: str
    second: str
    reason: str


@dataclass(frozen=True, slots=True)
class Rating:
    """What the mechanical interface may carry [kg, m, N m, kg m2].

    Attributes:
        mass: Rated load.
        moments: Allowed static moment about each wrist axis, by joint name.
        inertias: Allowed inertia about each wrist axis, by joint name.
        table: Rows (distance of the load's centre from the flange face, allowed mass).
    """

    mass: float
    moments: tuple[tuple[str, float], ...] = ()
    inertias: tuple[tuple[str, float], ...] = ()
    table: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Answers:
    """Inverse kinematics of n poses: one row a branch, always in the same order.

    Attributes:
        q: Joint coordinates, shape (n, branches, dof), revolute joints within (-pi, pi];
            nan where there is no answer.
        found: Whether forward kinematics confirmed the answer, shape (n, branches).
    """

    q: Array
    found: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Arm:
    """A robot arm as used in a cell. All lengths in metres, angles in radians.

    Attributes:
        branch_names: Name of each branch, in the order of `Answers` ("front, elbow up, ...").
        solve: The family's closed form: base_from_flange poses, shape (n, 4, 4), to
            candidates, shape (n, branches, dof), nan where there is none.
        label: The branch of joint coordinates by geometry alone: shape (n, dof) to (n,).
    """

    name: str
    family: str
    chain: Chain
    joints: tuple[Joint, ...]
    coupled: tuple[CoupledLimit, ...]
    bodies: tuple[LinkBody, ...]
    touching: tuple[Touching, ...]
    rating: Rating
    branch_names: tuple[str, ...]
    solve: Callable[[Array], Array]
    label: Callable[[Array], NDArray[np.intp]]

    @property
    def dof(self) -> int:
        """Number of joint coordinates."""
        return self.chain.dof

    def inverse(self, base_from_flange: Array) -> Answers:
        """All branches for poses, shape (n, 4, 4), each confirmed by forward kinematics.

        Joint limits play no part here; see `limit_margin`.
        """
        q = self.solve(base_from_flange)
        n, branches, dof = q.shape
        found = np.isfinite(q).all(axis=2)
        pose, branch = np.nonzero(found)
        reached = self.chain.flange_poses(q[pose, branch].reshape(-1, dof))
        wanted = base_from_flange[pose]
        gap = np.linalg.norm(reached[:, :3, 3] - wanted[:, :3, 3], axis=1)
        found[pose, branch] = (gap <= REACHED_POSITION) & (
            angle_between(reached, wanted) <= REACHED_ANGLE
        )
        return Answers(np.where(found[:, :, None], q, np.nan).reshape(n, branches, dof), found)

    def limit_margin(self, q: Array) -> Array:
        """Room to the nearest limit [rad or m] for each limit, joints first, then coupled.

        Args:
            q: Joint coordinates, shape (n, dof).

        Returns:
            Shape (n, dof + number of coupled limits), negative outside.
        """
        lower = np.array([joint.lower for joint in self.joints])
        upper = np.array([joint.upper for joint in self.joints])
        margins = [np.minimum(q - lower, upper - q)]
        for limit in self.coupled:
            total = (q * np.array(limit.factors)).sum(axis=1)
            margins.append(np.minimum(total - limit.lower, limit.upper - total)[:, None])
        return np.concatenate(margins, axis=1)
