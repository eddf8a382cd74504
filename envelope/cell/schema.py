"""What the parts of all files have in common: strict keys, poses, shapes."""

from typing import Annotated, Any, ClassVar, Self

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    model_validator,
)
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, core_schema

from .units import Angle, Length, Name, Size, Text, Word, said


class Part(BaseModel):
    """A mapping of the file: no unknown keys, no guessing of types, defaults in file units."""

    model_config = ConfigDict(
        extra="forbid", strict=True, allow_inf_nan=False, frozen=True, validate_default=True
    )
    quiet: ClassVar[bool] = False  # whether defaults of its keys are too small to report


class OrNone:
    """Lets the word "none" stand for nothing (guides: none)."""

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """The annotated schema, with the word replaced before."""
        return core_schema.no_info_before_validator_function(
            lambda value: None if value == "none" else value, handler(source)
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """The annotated schema or the word."""
        return {"anyOf": [*handler(schema).get("anyOf", []), {"const": "none"}]}


class Point(Part):
    """A place and a turn about the vertical."""

    quiet = True
    x: Length
    y: Length
    yaw: Angle = Field(default=0.0, description="turn about the vertical, counter-clockwise")


class Stand(Part):
    """Where something stands in the world."""

    quiet = True
    x: Length
    y: Length
    z: Length = Field(default=0.0, description="height; the floor is 0")
    yaw: Angle = Field(default=0.0, description="turn about the vertical, counter-clockwise")


class Place(Part):
    """A pose; turned by roll, then pitch, then yaw, about the fixed axes x, y and z."""

    quiet = True
    x: Length = 0.0
    y: Length = 0.0
    z: Length = 0.0
    roll: Angle = 0.0
    pitch: Angle = 0.0
    yaw: Angle = 0.0


Triple = tuple[Length, Length, Length]
SizeTriple = tuple[Size, Size, Size]


class Round(Part):
    """A cylinder or a capsule between the centres of its ends."""

    quiet = True
    diameter: Size
    from_: Triple = Field(alias="from", description="centre of one end")
    to: Triple = Field(description="centre of the other end")

    @model_validator(mode="after")
    def _has_a_length(self) -> Self:
        if sum((a - b) ** 2 for a, b in zip(self.from_, self.to, strict=True)) < 1e-12:
            raise said("from and to are the same point", "write the centres of the two ends")
        return self


MeshUnit = Annotated[str, Word("a unit", choices=("mm", "cm", "m", "in"))]
SHAPES = ("box", "block", "cylinder", "capsule", "hull", "mesh")


class Shape(Part):
    """A solid: exactly one of box, block, cylinder, capsule, hull and mesh."""

    quiet = True
    name: Name | None = None
    at: Place = Field(default_factory=Place, description="where the shape's own frame stands")
    box: SizeTriple | None = Field(default=None, description="sizes in x, y, z; centred on `at`")
    block: SizeTriple | None = Field(default=None, description="a box that stands on `at`")
    cylinder: Round | None = None
    capsule: Round | None = Field(default=None, description="a cylinder with round ends beyond")
    hull: tuple[Triple, ...] | None = Field(default=None, description="convex hull of points")
    mesh: Text | None = Field(default=None, description="STL, OBJ, PLY or GLB beside this file")
    mesh_unit: MeshUnit | None = Field(
        default=None, description="left out: mm; for GLB m, with y up, as glTF 2.0 has it"
    )

    @model_validator(mode="after")
    def _is_one_shape(self) -> Self:
        given = [kind for kind in SHAPES if getattr(self, kind) is not None]
        if len(given) != 1:
            found = f"{' and '.join(given)} are given" if given else "the shape is missing"
            raise said(found, f"write exactly one of {', '.join(SHAPES)}")
        if "mesh_unit" in self.model_fields_set and self.mesh is None:
            raise said("mesh_unit is given without a mesh", "leave it out")
        return self
