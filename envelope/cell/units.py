"""Numbers as users write them, to SI: the one change of units on the way in.

A plain number is in the unit of its kind (mm, deg, kg, s); a text carries its own
unit ("48 in"). These are the field types of the schema.
"""

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any, cast

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

_WITH_UNIT = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*([^\s\d.].*?)\s*")
_UNIT = re.compile(r"[A-Za-zµμ°²³·*/ ]{1,24}(?:\^?-?[0-9]?)")


def said(found: str, right: str = "") -> PydanticCustomError:
    """An error in our own words, for validators of the schema to raise."""
    return PydanticCustomError("said", "{found}", {"found": found, "right": right})


def shown(value: Any) -> str:
    """A value of the file as it is quoted in an error."""
    if isinstance(value, str):
        return f'"{value}"' if len(value) <= 60 else f'"{value[:57]}..."'
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return f"{value:g}" if abs(value) < 1e6 and value == round(value, 3) else str(value)
    return "a mapping" if isinstance(value, dict) else "a list"


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with a unit, as a pydantic annotation.

    Attributes:
        noun: What it is, with its article ("a length").
        unit: The unit of a plain number.
        pint_unit: The same for the unit library, which also gives the dimension.
        per_si: How many of that unit make one SI unit; None for degrees.
        low: Least value in that unit; open_low: it must lie above that.
        high: Greatest value in that unit; beyond it lies a slip of the keyboard.
    """

    noun: str
    unit: str
    pint_unit: str
    per_si: float | None
    low: float = -math.inf
    high: float = math.inf
    open_low: bool = False

    def read(self, value: Any) -> float:
        """The SI value of what the user wrote. Raises PydanticCustomError."""
        number = self._in_text(value) if isinstance(value, str) else value
        if number is None or isinstance(number, bool) or not isinstance(number, int | float):
            raise said(f"{shown(value)} is not {self.noun}", self.wanted)
        if not math.isfinite(number):
            raise said(f"{shown(value)} is not a finite number", self.wanted)
        if number < self.low or (self.open_low and number <= self.low):
            bound = f"above {self.low:g}" if self.open_low else f"at least {self.low:g}"
            raise said(f"{shown(value)} is not {bound}", self.wanted)
        if number > self.high:
            raise said(f"{shown(value)} is more than {self.high:g} {self.unit}", self.wanted)
        # Dividing by 1000 gives the float nearest to the decimal; times 0.001 does not.
        return math.radians(number) if self.per_si is None else float(number) / self.per_si

    @property
    def wanted(self) -> str:
        """What would be right."""
        bounds: list[str] = []
        if self.low >= 0.0:
            bounds.append(f"above {self.low:g}" if self.open_low else f"of at least {self.low:g}")
        if self.low >= 0.0 and self.high < 1000:
            bounds.append(f"of at most {self.high:g}")
        text = " and ".join(bounds) + " " if bounds else ""
        return (
            f"write {self.noun} {text}in {self.unit}"
            if self.unit
            else (f"write {self.noun} {text}".rstrip())
        )

    def show(self, value: float) -> str:
        """A value in the file's unit, as reports repeat it."""
        return f"{value:g} {self.unit}".rstrip()

    def _in_text(self, text: str) -> float | None:
        match = _WITH_UNIT.fullmatch(text)
        if match is None:
            try:
                float(text)
            except ValueError:
                return None
            raise said(f"{shown(text)} is a text", f"write {text.strip()} without quotes")
        if not self.pint_unit:
            raise said(f"{shown(text)} carries a unit", self.wanted)
        if not _UNIT.fullmatch(match[2]):
            raise said(f"{shown(text)} is not {self.noun}", self.wanted)
        return _converted(float(match[1]), match[2], self, text)

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Validate by `read`."""
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """A number, or a text with a unit."""
        number: dict[str, Any] = {"type": "number"}
        if self.low > -math.inf:
            number["exclusiveMinimum" if self.open_low else "minimum"] = self.low
        if self.high < math.inf:
            number["maximum"] = self.high
        if not self.pint_unit:
            return number
        number["description"] = f"in {self.unit}"
        text = {"type": "string", "description": "a number and its unit"}
        return {"anyOf": [number, text]}


@lru_cache(maxsize=1)
def _registry() -> Any:
    """The unit library, imported when the first text with a unit turns up."""
    import pint

    registry = cast(Any, pint.UnitRegistry())
    registry.define("carton = [cartons]")
    return registry


def _converted(number: float, unit: str, quantity: Quantity, text: str) -> float:
    registry = _registry()
    try:
        written = registry.parse_units(unit)
        target = registry.parse_units(quantity.pint_unit)
        same_base = registry.get_base_units(written)[1] == registry.get_base_units(target)[1]
        value = float((number * written).to(target).magnitude) if same_base else None
    except Exception:  # the library has many errors, all of which mean the same here
        raise said(f'"{unit}" in {shown(text)} is no unit', quantity.wanted) from None
    if value is None:
        raise said(f"{shown(text)} is not {quantity.noun}", quantity.wanted)
    return value


@dataclass(frozen=True, slots=True)
class Amount:
    """A joint's amount: in deg, in mm where the joint slides, or a text with either unit.

    It stays in deg or mm: only the arm knows which of them it is.
    """

    def read(self, value: Any) -> float:
        """The amount [deg or mm]. Raises PydanticCustomError."""
        if isinstance(value, str):
            try:
                return math.degrees(_ANGLE.read(value))
            except PydanticCustomError:
                return 1e3 * _LENGTH.read(value)
        return _PLAIN.read(value)

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Validate by `read`."""
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """A number, or a text with a unit."""
        return {"type": ["number", "string"], "description": "in deg; in mm where it slides"}


@dataclass(frozen=True, slots=True)
class Whole:
    """A whole number of at least `low`, as a pydantic annotation."""

    low: int
    high: int = 100_000

    def read(self, value: Any) -> int:
        """The number. Raises PydanticCustomError."""
        right = f"write a whole number of at least {self.low}"
        if isinstance(value, bool) or not isinstance(value, int):
            raise said(f"{shown(value)} is not a whole number", right)
        if not self.low <= value <= self.high:
            limits = f"between {self.low} and {self.high}"
            raise said(f"{shown(value)} is out of bounds", f"write a whole number {limits}")
        return value

    def show(self, value: float) -> str:
        """The number, as reports repeat it."""
        return f"{value:g}"

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Validate by `read`."""
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """An integer."""
        return {"type": "integer", "minimum": self.low, "maximum": self.high}


@dataclass(frozen=True, slots=True)
class Word:
    """A text, as a pydantic annotation.

    Attributes:
        noun: What it is, with its article.
        choices: What it may be; empty for any text.
        name: Whether it names something: then it must be short and fit into ids like "A/3/5".
    """

    noun: str
    choices: tuple[str, ...] = ()
    name: bool = False

    def read(self, value: Any) -> str:
        """The text. Raises PydanticCustomError."""
        if self.name and isinstance(value, int) and not isinstance(value, bool):
            value = str(value)  # a pallet called 1
        if not isinstance(value, str):
            raise said(f"{shown(value)} is not {self.noun}", self._wanted())
        if self.choices and value not in self.choices:
            raise said(f"{shown(value)} is not {self.noun}", self._wanted())
        if not value.strip():
            raise said("the text is empty", self._wanted())
        if not value.isprintable():
            raise said(f"{self.noun} holds a character that cannot be printed")
        if self.name and ("/" in value or len(value) > 60 or value != value.strip()):
            right = "use up to 60 characters, no slash, no blank at the ends"
            raise said(f"{shown(value)} cannot be a name", right)
        return value

    def _wanted(self) -> str:
        listed = ", ".join(f'"{choice}"' for choice in self.choices)
        return f"write one of {listed}" if self.choices else f"write {self.noun}"

    def show(self, value: str) -> str:
        """The text."""
        return value

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Validate by `read`."""
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """A text, or one of a few."""
        if self.choices:
            return {"enum": list(self.choices)}
        return {"type": ["string", "integer"]} if self.name else {"type": "string"}


_FAR = 100_000.0  # mm: no cell is longer than 100 m
_LENGTH = Quantity("a length", "mm", "mm", 1e3, -_FAR, _FAR)
_ANGLE = Quantity("an angle", "deg", "degree", None, -3600.0, 3600.0)
_PLAIN = Quantity("a number", "", "", 1.0, -1e6, 1e6)
Length = Annotated[float, _LENGTH]
Distance = Annotated[float, Quantity("a length", "mm", "mm", 1e3, 0.0, _FAR)]
Size = Annotated[float, Quantity("a length", "mm", "mm", 1e3, 0.0, _FAR, True)]
Angle = Annotated[float, _ANGLE]
JointAmount = Annotated[float, Amount()]
Tilt = Annotated[float, Quantity("an angle", "deg", "degree", None, 0.0, 90.0)]
Mass = Annotated[float, Quantity("a mass", "kg", "kg", 1.0, 0.0, 1e5, True)]
Seconds = Annotated[float, Quantity("a time", "s", "s", 1.0, 0.0, 3600.0)]
Speed = Annotated[float, Quantity("a speed", "mm/s", "mm/s", 1e3, 0.0, 1e5, True)]
Acceleration = Annotated[
    float, Quantity("an acceleration", "mm/s2", "mm/s**2", 1e3, 0.0, 1e6, True)
]
Jerk = Annotated[float, Quantity("a jerk", "mm/s3", "mm/s**3", 1e3, 0.0, 1e8, True)]
CartonRate = Annotated[
    float, Quantity("a rate", "cartons/min", "carton/min", 60.0, 0.0, 6000.0, True)
]
Share = Annotated[float, Quantity("a share", "", "", 1.0, 0.0, 1.0)]
PositiveShare = Annotated[float, Quantity("a share", "", "", 1.0, 0.0, 1.0, True)]
Number = Annotated[float, Quantity("a number", "", "", 1.0, -1e9, 1e9)]
Moment = Annotated[float, Quantity("a moment", "N m", "N*m", 1.0, 0.0, 1e6, True)]
Inertia = Annotated[float, Quantity("an inertia", "kg m2", "kg*m**2", 1.0, 0.0, 1e6, True)]
InertiaProduct = Annotated[
    float, Quantity("a product of inertia", "kg m2", "kg*m**2", 1.0, -1e6, 1e6)
]
AIR = 101.325  # kPa: the standard atmosphere, ISO 2533; no vacuum is deeper
Vacuum = Annotated[float, Quantity("a pressure", "kPa", "kPa", 1e-3, 0.0, AIR, True)]
Area = Annotated[float, Quantity("an area", "mm2", "mm**2", 1e6, 0.0, 1e7, True)]
Force = Annotated[float, Quantity("a force", "N", "N", 1.0, 0.0, 1e6, True)]
Friction = Annotated[float, Quantity("a coefficient of friction", "", "", 1.0, 0.0, 2.0, True)]
Factor = Annotated[float, Quantity("a factor", "", "", 1.0, 0.0, 100.0, True)]
SafetyFactor = Annotated[float, Quantity("a safety factor", "", "", 1.0, 1.0, 100.0)]
Count = Annotated[int, Whole(1)]
CountOrNone = Annotated[int, Whole(0)]
Text = Annotated[str, Word("a text")]
Name = Annotated[str, Word("a name", name=True)]
