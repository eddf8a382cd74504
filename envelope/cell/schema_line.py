"""The production line that feeds the cell and takes its pallets away.

The defaults are those of the model in file units; a test holds the two together.
"""

from typing import Annotated

from pydantic import Field

from .schema import Part
from .units import CartonRate, Count, PositiveShare, Seconds, Share, Size, Word


class LinePart(Part):
    """What the cell must keep up with."""

    rate: CartonRate = Field(description="cartons that come in a minute")
    index_time: Seconds = Field(
        default=1, description="for a carton to move up into its place at the stop"
    )
    settle_time: Seconds = Field(
        default=0.3, description="for the group to come to rest once its last carton is there"
    )
    queue_length: Size | None = Field(
        default=None,
        description="of the infeed that cartons may stand on, from the stop",
        json_schema_extra={"left_out": "the length of the infeed"},
    )
    queue_places: Count | None = Field(
        default=None,
        description="cartons that the infeed takes, where it has a place for each",
        json_schema_extra={"left_out": "as many as fit on its length"},
    )
    pallet_change: Seconds = Field(
        default=30, description="from the end of a pallet until an empty one stands in its place"
    )
    during_change: Annotated[str, Word("a way to pass the time", ("wait", "go on"))] = Field(
        default="wait", description="whether the arm waits, or goes on with another pallet"
    )
    reduced_share: Share = Field(
        default=0, description="share of the time in which the arm runs at reduced speed"
    )
    reduced_speed: PositiveShare = Field(
        default=0.25, description="share of its speed that the arm has then"
    )
    reduced_stretch: Seconds = Field(
        default=60, description="longest time at reduced speed in one piece"
    )
    margin: Share = Field(
        default=0.1, description="a rate above the line's by less than this share is marginal"
    )
