"""From plain data to a schema's part, with every error rephrased for the user."""

import types
from collections.abc import Iterator
from typing import Annotated, Any, TypeVar, Union, cast, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from .errors import Key, Problem, nearest
from .schema import Part
from .units import Quantity, Whole, Word, shown
from .yaml_reading import Document

P = TypeVar("P", bound=Part)


def validated(part: type[P], document: Document, key: Key = ()) -> tuple[P | None, list[Problem]]:
    """A part read from a document's data at a key path, or everything wrong with it."""
    data: Any = document.data
    for step in key:
        data = data[step]
    try:
        return part.model_validate(_tuples(data)), []
    except ValidationError as error:
        return None, [_problem(part, document, key, raw) for raw in error.errors()]


def _tuples(data: Any) -> Any:
    """The data with tuples for lists, as frozen parts hold them."""
    if isinstance(data, dict):
        return {name: _tuples(value) for name, value in data.items()}  # pyright: ignore
    if isinstance(data, list):
        return tuple(_tuples(value) for value in data)  # pyright: ignore
    return data


def _problem(part: type[Part], document: Document, prefix: Key, raw: Any) -> Problem:
    place: Key = tuple(step for step in raw["loc"] if not str(step).startswith("?"))
    if place and place[-1] == "[key]":
        place = place[:-1]
    found, right = _words(part, place, raw)
    return document.problem(prefix + place, found, right)


def _words(part: type[Part], place: Key, raw: Any) -> tuple[str, str]:
    """What is wrong and what would be right, for one error of the schema."""
    kind, value, context = str(raw["type"]), raw.get("input"), raw.get("ctx", {})
    if kind == "said":
        return str(context["found"]), str(context["right"])
    if kind == "missing":
        if isinstance(place[-1], int):
            return "a value is missing from the list", f"write at least {place[-1] + 1} values"
        return "missing", _wanted(_field_at(part, place), str(place[-1]))
    if kind == "extra_forbidden":
        return "no such key here", nearest(str(place[-1]), _keys_at(part, place[:-1]))
    if kind == "too_long":
        length = context.get("max_length")
        actual = context.get("actual_length")
        return f"{actual} values where {length} belong", f"write {length} values"
    if kind in ("model_type", "dict_type", "model_attributes_type"):
        right = _keys_at(part, place)
        return f"{shown(value)} stands where keys belong", (
            "write keys: " + ", ".join(right[:8]) if right else "write entries by name"
        )
    if kind == "tuple_type":
        right = f"write [{value}]" if isinstance(value, str | int | float) else "write [ ... ]"
        return f"{shown(value)} is not a list", right
    if kind == "bool_type":
        return f"{shown(value)} is neither true nor false", "write true or false"
    if kind == "literal_error":
        return f"{shown(value)} is not known here", f"write {context.get('expected', 'another')}"
    return f"{shown(value)} cannot be read here", "see `envelope new FILE` for what each key takes"


def _wanted(field: FieldInfo | None, key: str) -> str:
    """What would be right for a key that is missing."""
    if field is None:
        return f"write {key}"
    quantity = next((m for m in field.metadata if isinstance(m, Quantity)), None)
    hint = f"write {key}" if quantity is None else quantity.wanted
    return f"{hint}: {field.description}" if field.description else hint


def _parts_in(annotation: Any) -> Iterator[Any]:
    """The alternatives of an annotation, without Annotated and None."""
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from _parts_in(get_args(annotation)[0])
    elif origin in (Union, types.UnionType):
        for choice in get_args(annotation):
            yield from _parts_in(choice)
    elif annotation is not type(None):
        yield annotation


def _annotations_at(part: type[Part], place: Key) -> list[Any]:
    """What may stand at a key path below a part."""
    here: list[Any] = [part]
    for step in place:
        below: list[Any] = []
        for annotation in here:
            origin, arguments = get_origin(annotation), get_args(annotation)
            if isinstance(annotation, type) and issubclass(annotation, BaseModel):
                field = _field(annotation, step)
                below += [] if field is None else list(_parts_in(field.annotation))
            elif origin is dict:
                below += list(_parts_in(arguments[1]))
            elif origin is tuple and isinstance(step, int):
                item = arguments[0] if Ellipsis in arguments else arguments[step:] or (None,)
                below += list(_parts_in(item[0] if isinstance(item, tuple) else item))
        here = below
    return here


def _field(part: type[BaseModel], step: str | int) -> FieldInfo | None:
    return next((f for n, f in part.model_fields.items() if step in (f.alias, n)), None)


def _field_at(part: type[Part], place: Key) -> FieldInfo | None:
    for owner in _annotations_at(part, place[:-1]):
        if isinstance(owner, type) and issubclass(owner, BaseModel):
            field = _field(owner, place[-1])
            if field is not None:
                return field
    return None


def _keys_at(part: type[Part], place: Key) -> list[str]:
    """The keys that may be written at a key path."""
    keys: dict[str, None] = {}
    for owner in _annotations_at(part, place):
        if isinstance(owner, type) and issubclass(owner, BaseModel):
            keys.update({f.alias or name: None for name, f in owner.model_fields.items()})
    return list(keys)


def defaults_of(part: Part, key: str = "") -> Iterator[tuple[str, str]]:
    """Each key the user left out, with the value taken, as shown."""
    for name, field in type(part).model_fields.items():
        value = getattr(part, name)
        here = f"{key}.{field.alias or name}" if key else (field.alias or name)
        if name in part.model_fields_set or isinstance(value, Part):
            yield from _below(value, here)
        elif not part.quiet and not field.is_required():
            text = _shown_default(field)
            if text:
                yield here, text


def _below(value: Any, key: str) -> Iterator[tuple[str, str]]:
    """Defaults within a value that is a part or holds parts."""
    if isinstance(value, Part):
        yield from defaults_of(value, key)
    elif isinstance(value, dict):
        for name, item in value.items():  # pyright: ignore
            yield from _below(item, f"{key}.{name}")
    elif isinstance(value, tuple):
        for index, item in enumerate(value):  # pyright: ignore
            yield from _below(item, f"{key}.{index}")


def _shown_default(field: FieldInfo) -> str:
    extra = field.json_schema_extra
    if isinstance(extra, dict) and "left_out" in extra:
        return str(cast(Any, extra["left_out"]))
    for metadata in field.metadata:
        if isinstance(metadata, Quantity | Whole | Word) and field.default is not None:
            return metadata.show(field.default)
    if isinstance(field.default, bool):
        return "yes" if field.default else "no"
    return ""
