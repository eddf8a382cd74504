"""Tool files: a gripper with one or more grip fields."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from .schema import Part, Place, Shape, Triple
from .units import (
    Count,
    Distance,
    Inertia,
    InertiaProduct,
    Length,
    Mass,
    Name,
    Size,
    Text,
    Word,
    said,
)


class Cups(Part):
    """Round suction cups, in a grid about the field's centre or each at its place."""

    quiet = True
    diameter: Size
    rows: Count | None = Field(default=None, description="how many along y")
    columns: Count | None = Field(default=None, description="how many along x")
    pitch: tuple[Size, Size] | None = Field(default=None, description="distance along x and y")
    at: tuple[tuple[Length, Length], ...] | None = Field(
        default=None, description="centres in the tool frame, in place of a grid"
    )

    @model_validator(mode="after")
    def _is_grid_or_list(self) -> Self:
        _grid_or_list(self.rows, self.columns, self.pitch, self.at)
        return self


class Pads(Part):
    """Rectangular foam or suction pads, in a grid about the field's centre or each at its place."""

    quiet = True
    size: tuple[Size, Size] = Field(description="of one pad, along x and y")
    rows: Count | None = Field(default=None, description="how many along y")
    columns: Count | None = Field(default=None, description="how many along x")
    pitch: tuple[Size, Size] | None = Field(default=None, description="distance along x and y")
    at: tuple[tuple[Length, Length], ...] | None = Field(
        default=None, description="centres in the tool frame, in place of a grid"
    )

    @model_validator(mode="after")
    def _is_grid_or_list(self) -> Self:
        _grid_or_list(self.rows, self.columns, self.pitch, self.at)
        return self


def _grid_or_list(
    rows: int | None,
    columns: int | None,
    pitch: tuple[float, float] | None,
    at: tuple[tuple[float, float], ...] | None,
) -> None:
    if at is not None:
        if (rows, columns, pitch) != (None, None, None):
            raise said("both a grid and `at` are given", "write rows, columns and pitch, or at")
        if not at:
            raise said("`at` is empty", "write at least one centre")
        return
    if rows is None or columns is None:
        raise said("the grid is incomplete", "write rows and columns (and pitch), or at")
    if pitch is None and (rows > 1 or columns > 1):
        raise said("the pitch is missing", "write pitch: [along x, along y]")
    if rows * columns > 10_000:
        raise said(f"{rows} x {columns} cups are more than any tool has", "write fewer")


class Field_(Part):  # noqa: N801  (Field is pydantic's)
    """A part of the tool that grips by itself."""

    quiet = True
    centre: tuple[Length, Length] = Field(description="in the tool frame")
    size: tuple[Size, Size] = Field(description="of the gripping face, along x and y")
    cups: Cups | None = None
    pads: Pads | None = None
    stroke: Size = Field(description="how far an idle lip may be pressed in")
    compression: Distance = Field(description="how far a lip is pressed in while it holds")

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        if (self.cups is None) == (self.pads is None):
            found = "cups and pads are both given" if self.cups else "cups or pads are missing"
            raise said(found, "write cups or pads, one of them")
        if self.compression > self.stroke + 1e-9:
            raise said(
                f"the compression of {self.compression * 1e3:g} is more than the stroke "
                f"of {self.stroke * 1e3:g}",
                "a lip holds within its stroke",
            )
        return self


class TcpPart(Part):
    """The tool centre point; its z points away from the flange."""

    quiet = True
    at: Place = Field(description="in the flange frame; the lips' plane")
    on: Annotated[Literal["free", "compressed"], Word("a state", ("free", "compressed"))] = Field(
        description="whether the TCP lies on the lips free or compressed"
    )


class InertiaPart(Part):
    """Inertia about the centre of gravity, axes parallel to the flange frame's."""

    quiet = True
    xx: Inertia
    yy: Inertia
    zz: Inertia
    xy: InertiaProduct = Field(default=0, description="product of inertia, minus the sum of m x y")
    xz: InertiaProduct = 0
    yz: InertiaProduct = 0

    @model_validator(mode="after")
    def _is_of_a_solid(self) -> Self:
        least, middle, most = sorted((self.xx, self.yy, self.zz))
        if most > least + middle + 1e-9:
            found = f"no solid has {most:g} about one axis and only {least:g} and {middle:g}"
            raise said(found, "the two smaller ones add up to at least the largest")
        for product, both in (
            ("xy", self.xx * self.yy),
            ("xz", self.xx * self.zz),
            ("yz", self.yy * self.zz),
        ):
            if getattr(self, product) ** 2 > both:
                raise said(f"{product} is too large beside the moments of inertia")
        return self


class ToolPart(Part):
    """A tool: rigid bodies in the flange frame (z outward), and grip fields."""

    format: Literal[1] | None = None
    name: Name | None = None
    note: Text | None = None
    mass: Mass
    centre_of_gravity: Triple = Field(description="in the flange frame")
    inertia: InertiaPart | None = Field(
        default=None,
        description="about the centre of gravity [kg m2]",
        json_schema_extra={"left_out": "estimated from its bodies, filled evenly"},
    )
    bodies: tuple[Shape, ...] = Field(description="rigid solids in the flange frame")
    tcp: TcpPart
    fields: dict[Name, Field_]

    @model_validator(mode="after")
    def _has_something(self) -> Self:
        if not self.bodies:
            raise said("the tool has no bodies", "write at least one rigid solid")
        if not self.fields:
            raise said("the tool has no grip field", "write at least one")
        return self


class ToolChoice(Part):
    """A tool by the name of a generic one, or by a file."""

    model: Text = Field(description="a generic tool, or the path of a tool file")
