"""The cell file: arm, tool, cartons, infeed, pallets and what stands around them."""

from typing import Annotated, Any, Self, cast

from pydantic import (
    Discriminator,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    Tag,
    model_validator,
)
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, core_schema

from .schema import OrNone, Part, Shape, SizeTriple, Stand
from .schema_axis import LiftPart, TrackPart
from .schema_limits import (
    ClearancesPart,
    HoldPart,
    LoadPart,
    MotionPart,
    SupportPart,
    TolerancesPart,
)
from .schema_line import LinePart
from .schema_pattern import PatternPart
from .schema_tool import ToolChoice, ToolPart
from .units import (
    Angle,
    Count,
    CountOrNone,
    Distance,
    JointAmount,
    Length,
    Mass,
    Name,
    Quantity,
    Seconds,
    Size,
    Speed,
    Text,
    Tilt,
    Whole,
    Word,
    said,
    shown,
)


class PedestalPart(Part):
    """A box from the floor to the mounting base, centred under it."""

    size: tuple[Size, Size] = Field(description="along the base's x and y")


Usable = tuple[JointAmount, JointAmount]


class MountedPart(Part):
    """The arm and where it stands."""

    model: Text = Field(description="a generic arm, or the path of an arm file")
    at: Stand = Field(description="where the mounting base stands in the world")
    pedestal: PedestalPart | None = Field(
        default=None, json_schema_extra={"left_out": "none: nothing is under the base"}
    )
    usable: dict[Name, Usable] = Field(
        default_factory=dict[str, Usable],
        description="narrower range of a joint, in deg (mm where it slides)",
        json_schema_extra={"left_out": "the whole range of every joint"},
    )
    joint_margin: Annotated[float, Quantity("an angle", "deg", "degree", None, 0.0, 90.0)] = 5
    slide_margin: Distance = Field(
        default=5, description="the same for joints that slide; room under it is marginal"
    )
    lift: LiftPart | None = Field(
        default=None,
        description="carries the mounting base up",
        json_schema_extra={"left_out": "none: the arm stands still"},
    )
    track: TrackPart | None = Field(
        default=None,
        description="carries the mounting base along",
        json_schema_extra={"left_out": "none: the arm stands still"},
    )

    @model_validator(mode="after")
    def _has_one_axis(self) -> Self:
        if self.lift is not None and self.track is not None:
            raise said("lift and track are both given", "write one of them")
        return self


Side = Annotated[str, Word("a side of the carton", ("+x", "-x", "+y", "-y"))]


class CartonPart(Part):
    """A carton type."""

    size: SizeTriple = Field(description="length (x), width (y), height (z)")
    mass: Mass
    labels: tuple[Side, ...] = Field(
        default=(),
        description="sides that must face out of the pallet",
        json_schema_extra={"left_out": "none"},
    )
    bulge: Distance = Field(default=0, description="how far the sides bulge while carried")
    sag: Distance = Field(default=0, description="how far the bottom sags while carried")
    tilt: Tilt = Field(default=0, description="how far it may tilt on the lips while carried")


Axis = Annotated[str, Word("an axis", ("x", "y"))]


class RowPart(Part):
    """Cartons of one type in a row, centred on the group's frame."""

    carton: Name
    count: Count
    along: Axis = Field(default="x", description="the axis of the cartons along which they follow")
    gap: Distance = Field(default=0, description="between neighbours")


class ItemPlace(Part):
    """Where a carton sits in its group, from any point; the door centres the group."""

    quiet = True
    x: Length
    y: Length
    yaw: Angle = 0


class ItemPart(Part):
    """One carton of a group."""

    quiet = True
    carton: Name
    at: ItemPlace


class FieldNames:
    """For each carton, by its number from 1, the grip field or fields that hold it."""

    @staticmethod
    def read(value: Any) -> dict[int, tuple[str, ...]]:
        """The mapping. Raises PydanticCustomError."""
        right = "write a field or a list of fields for each carton: {1: left, 2: [right]}"
        if not isinstance(value, dict):
            raise said(f"{shown(value)} names no fields", right)
        fields: dict[int, tuple[str, ...]] = {}
        for number, names in value.items():  # pyright: ignore[reportUnknownVariableType]
            listed = cast(tuple[Any, ...], names if isinstance(names, tuple) else (names,))
            if not str(number).isdigit():  # pyright: ignore[reportUnknownArgumentType]
                raise said(f"{shown(number)} is not the number of a carton", right)
            if not listed or not all(isinstance(name, str) for name in listed):
                raise said(f"{shown(names)} names no field", right)
            fields[int(number)] = listed  # pyright: ignore[reportUnknownArgumentType]
        return fields

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Validate by `read`."""
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """A mapping from carton numbers to names."""
        names = {"type": "array", "items": {"type": "string"}, "minItems": 1}
        return {
            "type": "object",
            "propertyNames": {"pattern": "^[0-9]+$"},
            "additionalProperties": {"anyOf": [{"type": "string"}, names]},
        }


class GroupPart(Part):
    """What one cycle carries: a row, or cartons each at its place."""

    row: RowPart | None = None
    cartons: tuple[ItemPart, ...] | None = None
    fields: Annotated[dict[int, tuple[str, ...]] | None, FieldNames()] = Field(
        default=None, validate_default=False
    )
    offset: tuple[Length, Length] | None = Field(
        default=None,
        description="group centre in the tool frame",
        json_schema_extra={"left_out": "derived from the grip fields"},
    )
    turns: tuple[Angle, ...] = Field(
        default=(0.0,),
        description="turns of the tool over the group that are tried at the pick",
        json_schema_extra={"left_out": "0 deg"},
    )

    @model_validator(mode="after")
    def _is_row_or_cartons(self) -> Self:
        if (self.row is None) == (self.cartons is None):
            found = "row and cartons are both given" if self.row else "the cartons are missing"
            raise said(found, "write row or cartons, one of them")
        if self.cartons is not None and not self.cartons:
            raise said("the list of cartons is empty", "a group has at least one carton")
        if not self.turns:
            raise said("the list of turns is empty", "write at least one, [0]")
        return self


GuideSides = Annotated[str, Word("a choice of sides", ("both", "left", "right"))]


class GuidesPart(Part):
    """Side guides along the belt, for the widest group."""

    height: Size = Field(default=60, description="over the belt")
    gap: Distance = Field(default=10, description="between the group and each guide")
    thickness: Size = 20
    sides: GuideSides = Field(default="both", description="as seen along the travel")


class StopPart(Part):
    """The end stop across the belt."""

    height: Size = Field(default=60, description="over the belt")
    thickness: Size = 20


class DetectorsPart(Part):
    """What sees the cartons; the set-up sheet says which of them release which group."""

    positions: tuple[Distance, ...] | None = Field(
        default=None,
        description="distances from the end stop, rising",
        json_schema_extra={"left_out": "where they see best, on the set-up sheet"},
    )
    tolerance: Distance = Field(default=5, description="each sits and switches within this")
    beam: Size = Field(default=10, description="width along the travel, hysteresis included")
    on_delay: Seconds = Field(default=0.3, description="on for so long before it counts")
    belt_speed: Annotated[Speed | None, OrNone()] = Field(
        default=None,
        description="at which cartons come; none: not told",
        json_schema_extra={"left_out": "not told"},
    )


class InfeedPart(Part):
    """Where cartons are picked; its x runs against their travel, from the end stop."""

    at: Stand = Field(description="belt surface at the end stop, on the centre line")
    length: Size = 2000
    width: Size = 500
    depth: Size | None = Field(
        default=None,
        description="height of the belt's body under its surface",
        json_schema_extra={"left_out": "down to the floor"},
    )
    carton_turn: Angle = Field(default=0, description="turn of the groups on the belt")
    guides: Annotated[GuidesPart | None, OrNone()] = Field(default_factory=GuidesPart)
    stop: Annotated[StopPart | None, OrNone()] = Field(default_factory=StopPart)
    detectors: DetectorsPart = Field(default_factory=DetectorsPart)
    queue: CountOrNone = Field(default=3, description="groups waiting behind the one picked")
    queue_gap: Distance = Field(default=0, description="between them")
    bodies: tuple[Shape, ...] | None = Field(
        default=None,
        description="solids in the infeed's frame, in place of the plain body of the belt",
        json_schema_extra={"left_out": "one box under the belt"},
    )


class PalletPart(Part):
    """A pallet; its frame has x along the length and y along the width, from one corner."""

    size: SizeTriple = Field(description="length, width, height")
    at: Stand = Field(description="the corner where length and width start, on the underside")
    stack: Name = Field(description="the stack that is built on it")
    done: CountOrNone = Field(default=0, description="placements that are there at the start")
    max_height: Size | None = Field(
        default=None,
        description="of the stack, pallet included",
        json_schema_extra={"left_out": "no limit"},
    )
    max_load: Mass | None = Field(
        default=None, description="on the pallet", json_schema_extra={"left_out": "no limit"}
    )
    overhang: Distance = Field(default=0, description="how far cartons may hang over the deck")
    body: Shape | None = Field(
        default=None,
        description="a solid in the frame of the underside's corner, in place of the plain box",
        json_schema_extra={"left_out": "one box"},
    )


class StackPart(Part):
    """The layers of a pallet in order."""

    layers: Annotated[int, Whole(1, 200)]
    patterns: tuple[Name, ...] = Field(description="from the bottom; repeated over the layers")

    @model_validator(mode="after")
    def _has_patterns(self) -> Self:
        if not self.patterns:
            raise said("the list of patterns is empty", "write at least one name")
        return self


Kind = Annotated[
    str, Word("a kind", ("fence", "ceiling", "column", "keep-out", "obstacle", "pedestal"))
]


class SurroundingPart(Shape):
    """A solid that stands still in the world."""

    quiet = True
    name: Name = Field()  # pyright: ignore[reportIncompatibleVariableOverride]
    kind: Kind = "obstacle"


def _tool_form(value: Any) -> str:
    return "?choice" if isinstance(value, dict) and "model" in value else "?inline"


class CellPart(Part):
    """A cell file."""

    name: Text
    note: Text | None = None
    arm: MountedPart
    tool: Annotated[
        Annotated[ToolChoice, Tag("?choice")] | Annotated[ToolPart, Tag("?inline")],
        Discriminator(_tool_form),
    ]
    cartons: dict[Name, CartonPart]
    groups: dict[Name, GroupPart] = Field(
        default_factory=dict[str, GroupPart],
        json_schema_extra={"left_out": "one of each carton type that a pattern names"},
    )
    infeed: InfeedPart
    pallets: dict[Name, PalletPart]
    stacks: dict[Name, StackPart]
    patterns: dict[Name, PatternPart]
    surroundings: tuple[SurroundingPart, ...] = Field(
        default=(), json_schema_extra={"left_out": "none"}
    )
    floor: bool = Field(default=True, description="whether the floor counts as a body")
    clearances: ClearancesPart = Field(default_factory=ClearancesPart)
    motion: MotionPart = Field(default_factory=MotionPart)
    support: SupportPart = Field(default_factory=SupportPart)
    tolerances: TolerancesPart = Field(default_factory=TolerancesPart)
    line: LinePart | None = Field(
        default=None,
        description="the production line that the cell must keep up with",
        json_schema_extra={"left_out": "none: the rate is not judged"},
    )
    load: LoadPart = Field(default_factory=LoadPart)
    hold: HoldPart = Field(default_factory=HoldPart)

    @model_validator(mode="after")
    def _has_content(self) -> Self:
        for section in ("cartons", "pallets", "stacks", "patterns"):
            if not getattr(self, section):
                raise said(f"{section} is empty", "write at least one entry")
        return self
