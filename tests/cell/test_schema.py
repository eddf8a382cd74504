"""The schema against the model, and the JSON Schema against the example files."""

import dataclasses
from pathlib import Path

import pytest

from envelope.cell import model, schema_limits, schema_line
from envelope.cell.holding import HoldLimits
from envelope.cell.load import json_schema
from envelope.cell.yaml_reading import read_yaml

ACCEPTED = Path(__file__).parents[1] / "cells" / "accepted"


@pytest.mark.parametrize(
    ("kind", "part"),
    [
        (model.Clearances, schema_limits.ClearancesPart),
        (model.Motion, schema_limits.MotionPart),
        (model.Support, schema_limits.SupportPart),
        (model.Tolerances, schema_limits.TolerancesPart),
        (model.LoadLimits, schema_limits.LoadPart),
        (HoldLimits, schema_limits.HoldPart),
    ],
)
def test_defaults_of_files_are_those_of_the_model(kind, part):
    ours, theirs = part().model_dump(), dataclasses.asdict(kind())
    assert ours.keys() == theirs.keys()
    for key, value in theirs.items():
        exact = value is None or isinstance(value, str)
        assert ours[key] == (value if exact else pytest.approx(value, rel=1e-12))


def test_defaults_of_the_line_are_those_of_the_model():
    ours = schema_line.LinePart(rate=12).model_dump()
    theirs = dataclasses.asdict(model.Line(rate=0.2, queue_length=2.0))
    assert ours.keys() == theirs.keys()
    assert ours == {**theirs, "queue_length": None}  # its own default is the infeed's length


def test_the_schema_is_one_that_editors_read():
    jsonschema = pytest.importorskip("jsonschema")
    jsonschema.Draft202012Validator.check_schema(json_schema())


@pytest.mark.parametrize("path", sorted(ACCEPTED.glob("*.yaml")), ids=lambda path: path.stem)
def test_accepted_files_keep_to_the_json_schema(path):
    validator = _Validator(json_schema())
    assert validator.faults(read_yaml(path.read_bytes(), path.name).data) == []


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        ({"name": None}, "name"),
        ({"surrounding": []}, "surrounding"),
        ({"floor": "yes"}, "floor"),
        ({"cartons": {"tea": {"size": [400, 300], "mass": 6}}}, "size"),
        ({"cartons": {"tea": {"size": [400, 300, -1], "mass": 6}}}, "size"),
        ({"motion": {"lift_of": 3}}, "lift_of"),
    ],
)
def test_the_json_schema_refuses_what_the_door_refuses(change, fault):
    path = ACCEPTED / "single.yaml"
    data = {**read_yaml(path.read_bytes(), path.name).data, **change}
    assert any(fault in found for found in _Validator(json_schema()).faults(data))


class _Validator:
    """As much of JSON Schema as ours uses, so that no library is needed to test it."""

    def __init__(self, schema):
        self.root = schema

    def faults(self, data, schema=None, key="") -> list[str]:
        schema = self.root if schema is None else schema
        if "$ref" in schema:
            schema = self.root["$defs"][schema["$ref"].removeprefix("#/$defs/")]
        for word in ("anyOf", "oneOf"):
            if word in schema:
                tries = [self.faults(data, choice, key) for choice in schema[word]]
                return [] if any(not faults for faults in tries) else min(tries, key=len)
        if "const" in schema or "enum" in schema:
            return [] if data in schema.get("enum", [schema.get("const")]) else [f"{key}: value"]
        types = schema.get("type", [])
        types = [types] if isinstance(types, str) else types
        if types and not any(_is(data, kind) for kind in types):
            return [f"{key}: {types}"]
        if isinstance(data, dict):
            return self._object(data, schema, key)
        if isinstance(data, list):
            return self._array(data, schema, key)
        return self._number(data, schema, key)

    def _object(self, data, schema, key) -> list[str]:
        known, more = schema.get("properties", {}), schema.get("additionalProperties", True)
        faults = [
            f"{key}.{name}: missing" for name in schema.get("required", []) if name not in data
        ]
        for name, value in data.items():
            if name in known or isinstance(more, dict):
                faults += self.faults(value, known.get(name, more), f"{key}.{name}")
            elif more is False:
                faults.append(f"{key}.{name}: unknown")
        return faults

    def _array(self, data, schema, key) -> list[str]:
        faults = []
        if not schema.get("minItems", 0) <= len(data) <= schema.get("maxItems", 10**9):
            faults.append(f"{key}: length")
        first = schema.get("prefixItems", [])
        for index, value in enumerate(data):
            own = first[index] if index < len(first) else schema.get("items", {})
            faults += self.faults(value, own, f"{key}.{index}")
        return faults

    def _number(self, data, schema, key) -> list[str]:
        if not isinstance(data, int | float) or isinstance(data, bool):
            return []
        low, open_low = schema.get("minimum", -1e99), schema.get("exclusiveMinimum", -1e99)
        inside = low <= data <= schema.get("maximum", 1e99) and data > open_low
        return [] if inside else [f"{key}: bounds"]


def _is(data, kind) -> bool:
    if kind in ("number", "integer"):
        number = isinstance(data, int) or (kind == "number" and isinstance(data, float))
        return number and not isinstance(data, bool)
    kinds = {"object": dict, "array": list, "string": str, "boolean": bool, "null": type(None)}
    return isinstance(data, kinds[kind])
