"""Arm files: a generic family with its dimensions, limits, bodies and rating."""

from itertools import pairwise
from typing import Literal, Self

from pydantic import Field, model_validator

from .schema import Part, Shape
from .units import Distance, Inertia, JointAmount, Length, Mass, Moment, Name, Number, Text, said


class JointPart(Part):
    """One joint coordinate; in deg (mm where it slides), per second, its square, its cube."""

    quiet = True
    name: Name
    range: tuple[JointAmount, JointAmount]
    speed: Number
    acceleration: Number
    jerk: Number | None = Field(default=None, description="left out: no limit")
    slides: bool = Field(default=False, description="a sliding joint: mm instead of deg")

    @model_validator(mode="after")
    def _makes_sense(self) -> Self:
        if self.range[0] >= self.range[1]:
            raise said("the range is empty", "write [lower, upper]")
        if self.speed <= 0 or self.acceleration <= 0:
            raise said("speed and acceleration must be above 0")
        if self.jerk is not None and self.jerk <= 0:
            raise said("the jerk must be above 0", "leave it out for no limit")
        return self


class CoupledPart(Part):
    """A limit on a sum of joint coordinates."""

    quiet = True
    name: Name
    factors: tuple[Number, ...] = Field(description="one for each joint, in order")
    range: tuple[JointAmount, JointAmount]


class TouchingPart(Part):
    """Two links that touch by construction."""

    quiet = True
    links: tuple[Name, Name]
    reason: Text


class RatingPart(Part):
    """What the mechanical interface may carry."""

    quiet = True
    mass: Mass
    moments: dict[Name, Moment] = Field(
        default_factory=dict[str, float],
        description="allowed static moment about a joint's axis, by joint",
    )
    moments_moving: dict[Name, Moment] = Field(
        default_factory=dict[str, float],
        description="allowed moment about a joint's axis while moving, by joint, where stated",
    )
    inertias: dict[Name, Inertia] = Field(
        default_factory=dict[str, float],
        description="allowed inertia about a joint's axis, by joint",
    )
    table: tuple[tuple[Distance, Mass], ...] = Field(
        default=(),
        description="rows: distance of the centre of gravity from the flange, allowed mass",
    )

    @model_validator(mode="after")
    def _table_goes_out_and_down(self) -> Self:
        for (near, more), (far, less) in pairwise(self.table):
            if far <= near or less > more:
                raise said(
                    f"the row at {far * 1e3:g} does not follow the row at {near * 1e3:g}",
                    "write rows of growing distance, none with more mass than the one before",
                )
        return self


class ArmPart(Part):
    """An arm file."""

    quiet = True
    format: Literal[1] | None = None
    name: Name
    family: Name
    note: Text | None = None
    dimensions: dict[Name, Length]
    joints: tuple[JointPart, ...]
    coupled: tuple[CoupledPart, ...] = ()
    bodies: dict[Name, tuple[Shape, ...]]
    touching: tuple[TouchingPart, ...] = ()
    rating: RatingPart
