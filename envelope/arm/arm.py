"""An arm: its chain, its limits, its bodies, and the inverse that answers for it."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ..geometry.bodies import Body
from ..geometry.frames import Array
from .chain import BLOCK, Chain
from .external_axis import ExternalAxis

REACHED_POSITION = 1e-5  # [m]: a pose is reached when forward kinematics returns it this well
REACHED_ANGLE = float(np.radians(1e-3))  # [rad]
TURN = 2.0 * np.pi  # [rad]
AT_LIMIT = 1e-9  # [rad or m]: rounding that does not put a joint outside its limit


@dataclass(frozen=True, slots=True)
class Joint:
    """Limits of one joint coordinate [rad or m, and per second, its square, its cube].

    Attributes:
        jerk: None where there is no limit.
    """

    name: str
    lower: float
    upper: float
    speed: float
    acceleration: float
    jerk: float | None = None


@dataclass(frozen=True, slots=True)
class CoupledLimit:
    """Limit on a sum of joint coordinates (a linkage): lower <= sum(factors * q) <= upper."""

    name: str
    factors: tuple[float, ...]
    lower: float
    upper: float


@dataclass(frozen=True, slots=True, eq=False)
class LinkBody:
    """A solid fixed to a link; link 0 is the base.

    Attributes:
        part: Name of what it is a part of, where that is not the link's own name: the base
            of an arm on a carriage.
    """

    link: int
    body: Body
    part: str = ""


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
        table: Rows (distance of the load's centre of gravity from the flange, allowed mass).
        moving: Allowed moment about each wrist axis while moving, by joint name, if stated.
    """

    mass: float
    moments: tuple[tuple[str, float], ...] = ()
    inertias: tuple[tuple[str, float], ...] = ()
    table: tuple[tuple[float, float], ...] = ()
    moving: tuple[tuple[str, float], ...] = ()


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
            candidates, shape (n, branches, dof), nan where there is none. Of an arm on an
            external axis: that of the arm alone, from its own mounting base.
        label: The branch of joint coordinates by geometry alone: shape (n, dof) to (n,).
        axis: The lift or track that carries the arm, as joint 0; None for a fixed arm.
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
    axis: ExternalAxis | None = None

    @property
    def dof(self) -> int:
        """Number of joint coordinates."""
        return self.chain.dof

    @property
    def body_names(self) -> tuple[str, ...]:
        """For each body the name of what it is a part of: mostly its link's."""
        return tuple(entry.part or self.chain.names[entry.link] for entry in self.bodies)

    @property
    def touching_bodies(self) -> frozenset[tuple[int, int]]:
        """Pairs of bodies, by number and in order, that touch by construction."""
        touching = {frozenset((pair.first, pair.second)) for pair in self.touching}
        return frozenset(
            (i, j)
            for (i, first), (j, second) in combinations(enumerate(self.body_names), 2)
            if frozenset((first, second)) in touching
        )

    def inverse(self, base_from_flange: Array, stand: Array | None = None) -> Answers:
        """All branches for poses, shape (n, 4, 4), each confirmed by forward kinematics.

        Joint limits play no part here; see `limit_margin`.

        Args:
            base_from_flange: Poses.
            stand: Where the external axis stands at each pose, shape (n,) [m]. Left out, it
                may stand at any of its stops: then there is a row for each stop and branch,
                stop by stop. An arm without external axis takes no notice.
        """
        q = self.candidates(base_from_flange, stand)
        found = self.confirmed(q, base_from_flange)
        q[~found] = np.nan
        return Answers(q, found)

    def confirmed(self, q: Array, base_from_flange: Array) -> NDArray[np.bool_]:
        """Whether forward kinematics takes joint coordinates to poses; nan it does not.

        Args:
            q: Some for each pose, shape (n, some, dof).
            base_from_flange: The poses, shape (n, 4, 4).

        Returns:
            Shape (n, some).
        """
        found = np.empty(q.shape[:2], dtype=bool)
        count = max(1, 2 * BLOCK // q.shape[1])  # each of them is a configuration
        for start in range(0, len(q), count):
            block = slice(start, start + count)
            found[block] = self._confirmed(q[block], base_from_flange[block])
        return found

    def mounting_points(self, q: Array) -> Array:
        """Where the mounting base stands in the base frame, shape (n, dof) to (n, 3) [m]."""
        if self.axis is None:
            return np.zeros((len(q), 3))
        return q[:, :1] * self.axis.direction

    def candidates(self, base_from_flange: Array, stand: Array | None) -> Array:
        """Answers as those of `inverse`, shape (n, branches, dof), before they are confirmed."""
        if self.axis is None:
            return self.solve(base_from_flange)
        if stand is not None:
            return self._standing(self.axis, base_from_flange, stand)
        count = len(base_from_flange)
        return np.concatenate(
            [
                self._standing(self.axis, base_from_flange, np.full(count, stop))
                for stop in self.axis.stops
            ],
            axis=1,
        )

    def _standing(self, axis: ExternalAxis, base_from_flange: Array, stand: Array) -> Array:
        """Candidates with the external axis at a given place for each pose."""
        own = base_from_flange.copy()
        own[:, :3, 3] -= stand[:, None] * axis.direction
        q = self.solve(own)
        first = np.broadcast_to(stand[:, None, None], (*q.shape[:2], 1))
        return np.concatenate([np.where(np.isnan(q[..., :1]), np.nan, first), q], axis=2)

    def _confirmed(self, q: Array, base_from_flange: Array) -> NDArray[np.bool_]:
        """As `confirmed`, of as many as stay in the cache."""
        n, branches, dof = q.shape
        coordinates = np.ascontiguousarray(q.transpose(2, 1, 0)).reshape(dof, branches * n)
        reached = self.chain.flange_frames(coordinates)
        wanted = np.ascontiguousarray(base_from_flange.transpose(1, 2, 0))
        apart = reached.position.reshape(3, branches, n) - wanted[:3, 3, None]
        turned = reached.columns.reshape(3, 3, branches, n)
        squares = np.zeros((branches, n))
        for column in range(3):
            for row in range(3):
                difference = turned[column, row] - wanted[row, column]
                squares += difference * difference
        near = apart[0] ** 2 + apart[1] ** 2 + apart[2] ** 2 <= REACHED_POSITION**2
        # The squares of all nine differences add up to 8 sin^2(angle / 2).
        return (near & (squares <= 8.0 * np.sin(REACHED_ANGLE / 2.0) ** 2)).T

    def turns_within(self, q: Array, lower: Array, upper: Array) -> tuple[Array, NDArray[np.intp]]:
        """All copies by whole turns that lie within limits.

        Args:
            q: Joint coordinates, shape (n, dof) [rad or m]; rows with nan have no copies.
            lower: Lower limits, shape (dof,).
            upper: Upper limits, shape (dof,).

        Returns:
            Copies, shape (m, dof), the lowest turns first, and the row of q that each is a
            copy of, shape (m,), ascending. A joint that slides has its one value.
        """
        rows = np.flatnonzero(np.isfinite(q).all(axis=1))
        copies = q[rows]
        for joint, turning in enumerate(self.chain.turning()):
            value = copies[:, joint]
            low, high = lower[joint] - AT_LIMIT, upper[joint] + AT_LIMIT
            if turning:
                first = np.ceil((low - value) / TURN)
                count = np.maximum(np.floor((high - value) / TURN) - first + 1.0, 0.0)
            else:
                first = np.zeros(len(value))
                count = ((value >= low) & (value <= high)).astype(float)
            many = count.astype(np.intp)
            copy = np.repeat(np.arange(len(value)), many)
            number = np.arange(len(copy)) - np.repeat(np.cumsum(many) - many, many)
            rows, copies = rows[copy], copies[copy]
            copies[:, joint] += TURN * (first[copy] + number)
        return copies, rows

    def unwrap_near(self, q: Array, reference: Array) -> Array:
        """Joint coordinates moved by whole turns as near as can be to a reference.

        Args:
            q: Joint coordinates, shape (..., dof) [rad or m].
            reference: The same, of a shape that broadcasts with q.
        """
        turning = np.array(self.chain.turning())
        return q + np.where(turning, TURN * np.rint((reference - q) / TURN), 0.0)

    def limit_name(self, which: int) -> tuple[str, bool]:
        """Name of a limit in the order of `limit_margin`, and whether it is an angle."""
        if which < self.dof:
            return self.joints[which].name, self.chain.turning()[which]
        return self.coupled[which - self.dof].name, True

    def limit_margin(self, q: Array) -> Array:
        """Room to the nearest limit [rad or m] for each limit, joints first, then coupled.

        Args:
            q: Joint coordinates, shape (n, dof).

        Returns:
            Shape (n, dof + number of coupled limits), negative outside.
        """
        lower = np.array([joint.lower for joint in self.joints])
        upper = np.array([joint.upper for joint in self.joints])
        return np.concatenate([np.minimum(q - lower, upper - q), self.coupled_margin(q)], axis=1)

    def coupled_margin(self, q: Array) -> Array:
        """Room to each coupled limit of joint rows, shape (n, dof) to (n, coupled limits)."""
        margins = np.empty((len(q), len(self.coupled)))
        for column, limit in enumerate(self.coupled):
            total = (q * np.array(limit.factors)).sum(axis=1)
            margins[:, column] = np.minimum(total - limit.lower, limit.upper - total)
        return margins
