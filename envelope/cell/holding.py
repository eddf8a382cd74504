"""How grip fields hold, and how well cartons must be held. SI units."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Vacuum:
    """What makes the cups of a tool hold.

    Attributes:
        pressure: Below the air around, while cartons hang [Pa].
        leakage: Share of the force that is lost through board and lips.
        friction: Of lips on carton.
    """

    pressure: float
    leakage: float = 0.1
    friction: float = 0.4


@dataclass(frozen=True, slots=True)
class Clamp:
    """Two jaws that squeeze the cartons of a field between them.

    Attributes:
        along: Axis of the tool frame along which they squeeze.
        force: Of each jaw [N].
        jaw: Size of a jaw's face: across the squeeze, and high [m].
        depth: Of its middle below the cartons' tops [m].
        friction: Of jaws on carton.
        carton_friction: Of carton on carton, where several are squeezed in a row.
    """

    along: Literal["x", "y"]
    force: float
    jaw: tuple[float, float]
    depth: float
    friction: float = 0.4
    carton_friction: float = 0.3


@dataclass(frozen=True, slots=True)
class Fork:
    """Tines under the whole field: they carry what stands on them, up to their friction.

    Attributes:
        friction: Of carton on tines.
        stops: Whether stops all round keep cartons from sliding and tipping.
    """

    friction: float = 0.3
    stops: bool = False


@dataclass(frozen=True, slots=True)
class HoldLimits:
    """How well cartons must be held.

    Attributes:
        safety: Times the demand that the grip must hold while moving as timed.
        safety_stop: The same while braking in a stop.
        safety_cup_lost: The same while moving as timed, with any one cup lost.
        one_cup_lost: Whether a lost cup is judged.
        stop_deceleration: Braking in a stop, all joints in step, as a share of the joints'
            rated accelerations; may be above 1.
        margin: A grip that uses more than 1 less this share is marginal.
    """

    safety: float = 2.0
    safety_stop: float = 1.5
    safety_cup_lost: float = 1.2
    one_cup_lost: bool = True
    stop_deceleration: float = 1.5
    margin: float = 0.0
