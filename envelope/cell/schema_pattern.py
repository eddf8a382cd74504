"""Patterns: by a named generator, placement by placement, or from another pattern."""

import math
from typing import Annotated, Any, Self

from pydantic import Field, GetCoreSchemaHandler, GetJsonSchemaHandler, model_validator
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, core_schema

from .schema import Part, Point
from .units import Count, Distance, Name, Word, said, shown

_DIRECTIONS = ("+x", "-x", "+y", "-y", "+x+y", "+x-y", "-x+y", "-x-y")


class Approach:
    """Horizontal direction from which a group comes in: "+x", "-x+y", "down", or [x, y]."""

    @staticmethod
    def read(value: Any) -> tuple[float, float]:
        """A unit vector, or (0, 0) for straight down. Raises PydanticCustomError."""
        right = 'write "down", a side like "+x" or "-x+y", or a direction [x, y]'
        if value == "down":
            return (0.0, 0.0)
        if isinstance(value, str) and value in _DIRECTIONS:
            x = {"+x": 1.0, "-x": -1.0}.get(value[:2], 0.0)
            y = {"+y": 1.0, "-y": -1.0}.get(value[-2:], 0.0)
        elif isinstance(value, tuple) and len(value) == 2 and all(map(_is_number, value)):  # pyright: ignore
            x, y = float(value[0]), float(value[1])  # pyright: ignore
        else:
            raise said(f"{shown(value)} is not a direction", right)
        length = math.hypot(x, y)
        if length == 0.0:
            raise said("[0, 0] points nowhere", right)
        return (x / length, y / length)

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Validate by `read`."""
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """One of the words, or two numbers."""
        vector = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}
        return {"anyOf": [{"enum": ["down", *_DIRECTIONS]}, vector]}


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e9


Direction = Annotated[tuple[float, float] | None, Approach()]


class GeneratedPart(Part):
    """One group laid all over the deck."""

    group: Name
    gap: Distance = Field(default=0, description="between neighbours")
    overhang: Distance = Field(default=0, description="how far groups may hang over each side")


class OrientedPart(GeneratedPart):
    """A generated pattern whose first groups lie lengthwise or crosswise."""

    orientation: Annotated[str, Word("an orientation", ("lengthwise", "crosswise"))] = Field(
        default="lengthwise", description="of the group's x to the pallet's length"
    )


class ColumnPart(GeneratedPart):
    """Rows and columns, all groups the same way round."""

    orientation: Annotated[
        str, Word("an orientation", ("lengthwise", "crosswise", "whichever lays more"))
    ] = Field(default="whichever lays more", description="of the group's x to the pallet's length")


class PartialPart(Part):
    """Some cartons of a group, put down while the others stay on the tool."""

    quiet = True
    cartons: tuple[Count, ...] = Field(description="numbers of the cartons, from 1")
    at: Point = Field(description="where the group's centre then stands in the pallet's frame")
    approach: Direction = Field(default=None, validate_default=False)


class PlacementPart(Part):
    """One group put down."""

    quiet = True
    group: Name
    at: Point | None = Field(
        default=None, description="where the group's centre stands in the pallet's frame"
    )
    approach: Direction = Field(default=None, validate_default=False)
    parts: tuple[PartialPart, ...] | None = None

    @model_validator(mode="after")
    def _is_whole_or_parts(self) -> Self:
        if (self.at is None) == (self.parts is None):
            found = "at and parts are both given" if self.at else "at is missing"
            raise said(found, "write at for the whole group, or parts, each with its own at")
        if self.parts is not None and self.approach is not None:
            raise said("approach is given beside parts", "write it in each part")
        if self.parts is not None and not self.parts:
            raise said("the list of parts is empty", "write at least one")
        return self


SOURCES = ("column", "brick", "pinwheel", "best", "placements", "of")


class PatternPart(Part):
    """One layer's placements: exactly one of the sources, and in which order."""

    column: ColumnPart | None = None
    brick: OrientedPart | None = None
    pinwheel: OrientedPart | None = None
    best: GeneratedPart | None = None
    placements: tuple[PlacementPart, ...] | None = None
    of: Name | None = Field(default=None, description="another pattern, mirrored or turned")
    mirrored: Annotated[str, Word("an axis", ("x", "y"))] | None = Field(
        default=None, description='"x" swaps the ends of the length, "y" those of the width'
    )
    turned: bool = Field(default=False, description="by 180 degrees about the deck's centre")
    order: Annotated[str, Word("an order", ("derived", "as written"))] | None = Field(
        default=None,
        json_schema_extra={"left_out": "derived; as written where placements are listed"},
    )

    @model_validator(mode="after")
    def _has_one_source(self) -> Self:
        given = [name for name in SOURCES if getattr(self, name) is not None]
        if len(given) != 1:
            found = f"{' and '.join(given)} are given" if given else "the pattern is empty"
            raise said(found, f"write exactly one of {', '.join(SOURCES)}")
        if self.of is None and (self.mirrored is not None or self.turned):
            raise said("mirrored and turned need another pattern", "write of: NAME beside them")
        if self.of is not None and self.mirrored is None and not self.turned:
            raise said("the pattern only repeats another", "add mirrored: x, or turned: true")
        if self.placements is not None and not self.placements:
            raise said("the list of placements is empty", "write at least one")
        return self
