"""Tool files: a gripper with one or more grip fields."""

from math import pi
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from .schema import Part, Place, Shape, Triple
from .units import (
    Area,
    Count,
    Distance,
    Force,
    Friction,
    Inertia,
    InertiaProduct,
    Length,
    Mass,
    Name,
    Share,
    Size,
    Text,
    Vacuum,
    Word,
    said,
)


class Cups(Part):
    """Round suction cups, in a grid about the field's centre or each at its place."""

    quiet = True
    diameter: Size = Field(description="of the lip")
    area: Area | None = Field(
        default=None,
        description="of one cup, on which the vacuum works",
        json_schema_extra={"left_out": "all within the diameter"},
    )
    rows: Count | None = Field(default=None, description="how many along y")
    columns: Count | None = Field(default=None, description="how many along x")
    pitch: tuple[Size, Size] | None = Field(default=None, description="distance along x and y")
    at: tuple[tuple[Length, Length], ...] | None = Field(
        default=None, description="centres in the tool frame, in place of a grid"
    )

    @model_validator(mode="after")
    def _is_grid_or_list(self) -> Self:
        _grid_or_list(self.rows, self.columns, self.pitch, self.at)
        _area_within(self.area, pi * self.diameter**2 / 4)
        return self


class Pads(Part):
    """Rectangular foam or suction pads, in a grid about the field's centre or each at its place."""

    quiet = True
    size: tuple[Size, Size] = Field(description="of one pad, along x and y")
    area: Area | None = Field(
        default=None,
        description="of one pad, on which the vacuum works",
        json_schema_extra={"left_out": "all of its size"},
    )
    rows: Count | None = Field(default=None, description="how many along y")
    columns: Count | None = Field(default=None, description="how many along x")
    pitch: tuple[Size, Size] | None = Field(default=None, description="distance along x and y")
    at: tuple[tuple[Length, Length], ...] | None = Field(
        default=None, description="centres in the tool frame, in place of a grid"
    )

    @model_validator(mode="after")
    def _is_grid_or_list(self) -> Self:
        _grid_or_list(self.rows, self.columns, self.pitch, self.at)
        _area_within(self.area, self.size[0] * self.size[1])
        return self


def _area_within(area: float | None, whole: float) -> None:
    """Vacuum works on no more than what the lip surrounds."""
    if area is not None and area > whole * (1 + 1e-6):
        found = f"the area of {area * 1e6:g} mm2 is more than the {whole * 1e6:.0f} within the lip"
        raise said(found, "write the area on which the vacuum works, or leave it out")


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


class VacuumPart(Part):
    """What makes cups and pads hold."""

    pressure: Vacuum = Field(description="below the air around, while cartons hang")
    leakage: Share = Field(default=0.1, description="share of the force lost to board and lips")
    friction: Friction = Field(default=0.4, description="of lips on carton")

    @model_validator(mode="after")
    def _leaves_something(self) -> Self:
        if self.leakage >= 1:
            raise said("a leakage of 1 leaves no force", "write a share below 1")
        return self


class ClampPart(Part):
    """Two jaws that squeeze cartons from two sides."""

    along: Annotated[Literal["x", "y"], Word("an axis", ("x", "y"))] = Field(
        description="axis of the tool frame along which the jaws squeeze"
    )
    force: Force = Field(description="of each jaw")
    jaw: tuple[Size, Size] = Field(description="size of a jaw's face: across the squeeze, high")
    depth: Size = Field(description="of the jaws' middle below the cartons' tops")
    friction: Friction = Field(default=0.4, description="of jaws on carton")
    carton_friction: Friction = Field(
        default=0.3, description="of carton on carton, where several are squeezed in a row"
    )


class ForkPart(Part):
    """Tines under the whole field."""

    friction: Friction = Field(default=0.3, description="of carton on tines")
    stops: bool = Field(
        default=False, description="whether stops all round keep cartons from sliding and tipping"
    )


class Field_(Part):  # noqa: N801  (Field is pydantic's)
    """A part of the tool that grips by itself."""

    quiet = True
    centre: tuple[Length, Length] = Field(description="in the tool frame")
    size: tuple[Size, Size] = Field(description="of the gripping face, along x and y")
    cups: Cups | None = None
    pads: Pads | None = None
    clamp: ClampPart | None = None
    fork: ForkPart | None = None
    stroke: Size | None = Field(default=None, description="how far an idle lip may be pressed in")
    compression: Distance | None = Field(
        default=None, description="how far a lip is pressed in while it holds"
    )

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        kinds = ("cups", "pads", "clamp", "fork")
        given = [kind for kind in kinds if getattr(self, kind) is not None]
        if len(given) != 1:
            both = "both " if len(given) == 2 else ""
            found = (
                f"{' and '.join(given)} are {both}given" if given else "cups or pads are missing"
            )
            raise said(found, "write one of cups, pads, clamp and fork")
        if self.cups is None and self.pads is None:
            if self.stroke is not None or self.compression is not None:
                raise said(f"a {given[0]} has no lips", "leave out stroke and compression")
            return self
        if self.stroke is None or self.compression is None:
            left_out = "stroke" if self.stroke is None else "compression"
            raise said(f"{left_out} is missing", f"write {left_out}, in mm")
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
    vacuum: VacuumPart | None = Field(
        default=None,
        description="what makes cups and pads hold",
        json_schema_extra={"left_out": "not stated: whether the cups hold is not judged"},
    )

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
