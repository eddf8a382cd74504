"""Sections of numbers with a default each: clearances, motion, support, tolerances.

The defaults are those of the model in file units; a test holds the two together.
"""

from typing import Annotated

from pydantic import Field

from .schema import OrNone, Part
from .units import (
    Acceleration,
    Distance,
    Factor,
    Jerk,
    PositiveShare,
    SafetyFactor,
    Seconds,
    Share,
    Size,
    Speed,
    Tilt,
    Whole,
    Word,
)


class ClearancesPart(Part):
    """Least distances asked for, by what comes near what."""

    carried_to_placed: Distance = 10
    carried_to_guide: Distance = 3
    carried_to_fixed: Distance = 20
    tool_to_placed: Distance = 5
    tool_to_fixed: Distance = 20
    arm_to_any: Distance = 20
    arm_to_itself: Distance = 5
    margin: Distance = Field(default=5, description="nearer to the limit than this is marginal")
    taper_height: Distance = Field(
        default=50, description="height still to go above which the full clearance is asked for"
    )
    placing_gap: Distance = Field(default=0, description="clearance asked for at rest")
    contact: Distance = Field(default=0.1, description="how deep touching by design may go")


class MotionPart(Part):
    """How cycles are made."""

    approach_height: Distance = Field(
        default=100, description="above the placement, where the approach starts"
    )
    approach_slant: Distance = Field(
        default=50, description="sideways shift at the start of a slanted approach"
    )
    lift_off: Size = Field(default=150, description="at least this far straight up from the pick")
    transfer_clearance: Distance = Field(
        default=80, description="of the carried bottom over what stands"
    )
    linear_speed: Speed = 500
    linear_acceleration: Acceleration = 2000
    linear_jerk: Annotated[Jerk | None, OrNone()] = Field(
        default=None,
        description="of straight lines; none: no limit",
        json_schema_extra={"left_out": "no limit"},
    )
    joint_speed_share: PositiveShare = Field(
        default=1, description="share of the joints' rated speeds that is used"
    )
    joint_acceleration_share: PositiveShare = Field(
        default=1, description="share of the joints' rated accelerations that is used"
    )
    loaded_acceleration_share: PositiveShare = Field(
        default=1, description="share of both accelerations that is used while cartons hang"
    )
    grip_time: Seconds = 0.3
    release_time: Seconds = 0.2
    settle_time: Seconds = Field(
        default=0,
        description="standing still before gripping and before releasing, where a riser sways",
    )
    blend_radius: Distance = Field(default=0, description="within which corners may be rounded")


class SupportPart(Part):
    """What a stack must offer."""

    least_area: Share = Field(
        default=0.6, description="share of the bottom face that must be carried"
    )
    least_corners: Annotated[int, Whole(0, 4)] = Field(
        default=3, description="corners of the bottom face that must be carried"
    )
    settle: Distance = Field(default=0, description="how far each layer may settle")


class TolerancesPart(Part):
    """Half-widths by which the real cell may differ from the drawn one."""

    carton_size: Distance = 0
    carton_height: Distance = 0
    pick_position: Distance = 0
    pick_skew: Tilt = 0
    group_gap: Distance = 0
    pallet_position: Distance = 0
    pallet_yaw: Tilt = 0
    pallet_height: Distance = 0
    arm_repeatability: Distance = 0
    added: Annotated[str, Word("a way to add up", ("sum", "root of squares"))] = "sum"


class LoadPart(Part):
    """How tool and cartons are judged against the arm's rating."""

    margin: Share = Field(
        default=0.1, description="a load that uses more than 1 less this share is marginal"
    )


class HoldPart(Part):
    """How well cartons must be held, where the tool says how it holds them."""

    safety: SafetyFactor = Field(default=2, description="times the demand, while moving as timed")
    safety_stop: SafetyFactor = Field(
        default=1.5, description="times the demand, while braking in a stop"
    )
    safety_cup_lost: SafetyFactor = Field(
        default=1.2, description="times the demand, with any one cup lost"
    )
    one_cup_lost: bool = Field(default=True, description="whether a lost cup is judged")
    stop_deceleration: Factor = Field(
        default=1.5,
        description="braking in a stop, as a share of the joints' rated accelerations",
    )
    margin: Share = Field(
        default=0, description="a grip that uses more than 1 less this share is marginal"
    )
