"""Suction cups on a carton's top: what they must pull, and what they can."""

from dataclasses import dataclass

import numpy as np

from ..cell.holding import Vacuum
from ..geometry.frames import Array
from ..motion.sealing import OnTop


@dataclass(frozen=True, slots=True, eq=False)
class Wrench:
    """What moves a carton as it moves, gravity borne, in the frame of its top (z out of it).

    Attributes:
        force: At its centre of gravity, shape (3, n) [N].
        moment: About its centre of gravity, shape (3, n) [N m].
    """

    force: Array
    moment: Array

    def about(self, arm: tuple[float, float, float]) -> Array:
        """Moment about another point, shape (3, n) [N m]; arm: from there to the centre [m]."""
        (a, b, c), (x, y, z) = arm, self.force
        return self.moment + np.stack([b * z - c * y, c * x - a * z, a * y - b * x])


def cup_force(vacuum: Vacuum, area: Array) -> Array:
    """What cups hold, straight off the carton, shape of area (n,) [m2] to (n,) [N].

    Source: force is pressure times area (any handbook of mechanics).
    """
    return vacuum.pressure * area * (1.0 - vacuum.leakage)


def shares(
    cups: OnTop, force: Array, friction: float, wrench: Wrench, height: float, safety: float
) -> tuple[Array, Array]:
    """How much of what cups can hold is used, with the safety factor: peel and slip, (n,) each.

    Peel: the cup that is pulled hardest. The carton counts as stiff and the cups as equal
    springs: besides its part of the pull, a cup takes what keeps the carton from tipping about
    the cups' middle, in proportion to its distance; cups in one line (or a single one) keep it
    from tipping over that line by the width of their lips alone.

    Slip: lips hold by friction what they are pressed on with, their force less the pull. Turning
    about the normal is shared in proportion to the distance from the cups' middle; it counts in
    both.

    Errs: on the safe side: the friction that turning takes is added to the rest as if both
    pointed the same way. Bellows that give unevenly are not seen.

    Source: common practice, no source, for slip and for rows of cups (pull plus shear over
    friction; half the pull plus moment over the distance of the rows), of which this is the
    case of any number of cups anywhere, turning included.

    Args:
        cups: Those that seal, at least one.
        force: Of each of them [N].
        friction: Of lips on carton.
        wrench: What they must bring up.
        height: Of the lips over the centre of gravity [m].
        safety: Factor.
    """
    middle = cups.at.mean(axis=0)
    off = cups.at - middle
    rim = float((cups.radius**2).sum())
    pull, shear = wrench.force[2], np.hypot(wrench.force[0], wrench.force[1])
    about = wrench.about((-float(middle[0]), -float(middle[1]), -height))
    tip = np.stack([-about[1], about[0]])  # pull times the distance of its middle
    tipping: list[tuple[Array, list[float]]] = []  # about each axis, and each cup's part of it
    for axis, spread in _principal(off):
        along = tip[0] * axis[0] + tip[1] * axis[1]
        lever = (off * axis).sum(axis=1)
        if spread >= rim:
            tipping.append((along, (lever / spread).tolist()))
        else:
            wide = (np.abs(lever) + cups.radius) / (spread + rim / 2.0)
            tipping.append((np.abs(along), wide.tolist()))
    pressed = float(force.sum()) / safety - pull
    # Where pull and tipping leave the lips pressed unevenly, friction acts off their middle.
    uneven = np.abs(wrench.force[0] * tip[1] - wrench.force[1] * tip[0])
    least = np.maximum(np.maximum(pressed, shear / friction), 1e-9)
    turning = np.abs(about[2]) + uneven / least
    distance = np.hypot(off[:, 0], off[:, 1]) + cups.radius
    rate = distance / float((off**2).sum() + rim)
    (one, ones), (other, others) = tipping
    each, peel = pull / len(off), np.zeros(len(pull))
    rows = zip(ones, others, (rate / friction).tolist(), (safety / force).tolist(), strict=True)
    for first, second, turned, scale in rows:  # cup by cup: a table of all would be slower
        pulled = each + one * first + other * second + turning * turned
        np.maximum(peel, pulled * scale, out=peel)
    needed = pull + (shear + turning * float(rate.sum())) / friction
    return peel, np.maximum(needed, 0.0) * (safety / float(force.sum()))


def _principal(off: Array) -> list[tuple[Array, float]]:
    """Main axes of points about their middle, with the sum of squared distances along each."""
    moments = (off[:, :, None] * off[:, None, :]).sum(axis=0)
    values, vectors = np.linalg.eigh(moments)
    return [(vectors[:, k], float(values[k])) for k in range(2)]
