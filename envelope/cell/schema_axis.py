"""A lift or a track under the arm, as the cell file writes it."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from .schema import Part, Shape
from .units import Acceleration, Length, Speed, Word, said


class AxisPart(Part):
    """What lift and track share; places count from where `arm.at` puts the mounting base."""

    travel: tuple[Length, Length] = Field(description="lowest and highest place")
    positions: tuple[Length, ...] | None = Field(
        default=None,
        description="the places where it may stand while the arm works",
        json_schema_extra={"left_out": "anywhere along its travel"},
    )
    speed: Speed
    acceleration: Acceleration
    carriage: tuple[Shape, ...] = Field(
        default=(),
        description="solids that move, in the frame of the mounting base",
        json_schema_extra={"left_out": "none"},
    )

    @model_validator(mode="after")
    def _makes_sense(self) -> Self:
        low, high = self.travel
        if low >= high:
            raise said("the travel is empty", "write travel: [lowest, highest]")
        if self.positions is not None:
            if not self.positions:
                raise said("the list of positions is empty", "write at least one, or leave it out")
            if not all(low <= place <= high for place in self.positions):
                raise said("a position lies beyond the travel", "keep positions within travel")
        return self


class LiftPart(AxisPart):
    """A lift: it carries the mounting base up."""

    column: tuple[Shape, ...] = Field(
        default=(),
        description="solids that stand, in the frame of the mounting base at place 0",
        json_schema_extra={"left_out": "none"},
    )


Way = Annotated[str, Word("an axis", ("x", "y"))]


class TrackPart(AxisPart):
    """A track: it carries the mounting base along."""

    along: Way = Field(default="x", description="axis of the mounting base that it runs along")
    rails: tuple[Shape, ...] = Field(
        default=(),
        description="solids that stand, in the frame of the mounting base at place 0",
        json_schema_extra={"left_out": "none"},
    )
