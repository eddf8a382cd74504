"""Plain numbers are mm, deg, kg, s; texts carry their unit; nothing else is a number."""

import math
import subprocess
import sys
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic_core import PydanticCustomError

from envelope.cell import units


def reader(annotated):
    return get_args(annotated)[1]


def refused(annotated, value) -> str:
    with pytest.raises(PydanticCustomError) as caught:
        reader(annotated).read(value)
    return f"{caught.value.context['found']}; {caught.value.context['right']}"


@pytest.mark.parametrize(
    ("kind", "written", "si"),
    [
        (units.Length, 350, 0.35),
        (units.Length, "48 in", 1.2192),  # the inch is 25.4 mm by definition
        (units.Length, "0.5 m", 0.5),
        (units.Length, "-3.5cm", -0.035),
        (units.Length, "2 ft", 0.6096),
        (units.Mass, "22 lb", 22 * 0.45359237),  # the pound by definition
        (units.Mass, 6, 6.0),
        (units.Angle, 90, math.pi / 2),
        (units.Angle, "90 deg", math.pi / 2),
        (units.Angle, "90 °", math.pi / 2),
        (units.Angle, "1.57 rad", 1.57),
        (units.Seconds, "300 ms", 0.3),
        (units.Speed, "0.6 m/s", 0.6),
        (units.Speed, 600, 0.6),
        (units.Acceleration, "2 m/s^2", 2.0),
        (units.Acceleration, 2000, 2.0),
    ],
)
def test_units(kind, written, si):
    assert reader(kind).read(written) == pytest.approx(si, rel=1e-12)


def test_millimetres_become_the_nearest_metre():
    """No 0.30000000000000004: placements on a grid stay on it."""
    for number in range(0, 3000, 7):
        assert reader(units.Length).read(number) == float(f"{number}e-3")


@pytest.mark.parametrize(
    "value",
    [True, None, "yes", "1:30", "", " ", "mm", "5 kg", "5 deg", "5 percent", "5", "5 m**9999",
     "1/0 m", "5 mm; import os", "__import__('os')", math.nan, math.inf, 1e300, "1e400 m", [5], {}],
)  # fmt: skip
def test_what_is_no_length(value):
    assert "a length" in refused(units.Length, value) or "without quotes" in refused(
        units.Length, value
    )


@pytest.mark.parametrize("value", ["5 percent", "5 mm", "5 mm/mm", "5 kg"])
def test_a_ratio_is_no_angle(value):
    """Angles have no dimension, but not everything without a dimension is an angle."""
    assert "is not an angle" in refused(units.Angle, value) or "no unit" in refused(
        units.Angle, value
    )


def test_bounds_hold_in_the_written_unit_too():
    assert "is not above 0" in refused(units.Size, "-2 in")
    assert "is not above 0" in refused(units.Size, "0 m")
    assert reader(units.Distance).read("0 m") == 0.0
    assert "more than 100000 mm" in refused(units.Size, "101 m")


@given(st.text(max_size=30))
def test_no_text_breaks_the_door(text):
    for kind in (units.Length, units.Angle, units.Count, units.Name, units.JointAmount):
        try:
            value = reader(kind).read(text)
        except PydanticCustomError:
            continue
        assert isinstance(value, str) or math.isfinite(value)


def test_the_unit_library_is_only_imported_for_texts():
    code = (
        "import sys; from envelope.cell.load import load\n"
        "load('tests/cells/accepted/two-heads-one-carton.yaml')\n"
        "print([m for m in ('pint', 'scipy', 'trimesh', 'pyvista', 'fcl') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
