"""Values set on top of a file: "pallets.A.at.x=650"."""

import copy
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, cast

from .errors import CellError, Key, Problem, key_text, nearest
from .yaml_reading import Document, read_value

NAMED = ("cartons", "groups", "pallets", "stacks", "patterns")  # sections of entries by name


def with_settings(document: Document, settings: Sequence[str]) -> Document:
    """The document with values set, in order. Raises CellError, naming the settings."""
    data = copy.deepcopy(document.data)
    lines, from_settings = dict(document.lines), dict(document.settings)
    problems: list[Problem] = []
    for setting in settings:
        fault = _apply(data, setting, lines, from_settings)
        if fault is not None:
            key, found, right = fault
            problems.append(Problem(document.file, None, key, found, right, setting))
    if problems:
        raise CellError(problems)
    return replace(document, data=data, lines=lines, settings=from_settings)


def _apply(
    data: dict[str, Any], setting: str, lines: dict[Key, int], from_settings: dict[Key, str]
) -> tuple[str, str, str] | None:
    """Set one value; returns key, what is wrong, and what would be right."""
    name, equals, text = setting.partition("=")
    if not equals or not name.strip():
        return "", "no value is set", "write KEY=VALUE, such as pallets.A.at.x=650"
    try:
        value = read_value(text)
    except CellError as error:
        return name.strip(), f'"{text}": {error.problems[0].found}', "write a value as in the file"
    here: Any = data
    key: Key = ()
    rest = name.strip()
    while True:
        step, rest = next_step(here, rest)
        key = (*key, step)
        fault = _cannot_step(here, key, bool(rest))
        if fault is not None:
            return key_text(key), *fault
        if not rest:
            here[step] = value
            for old in [k for k in lines if k[: len(key)] == key]:
                del lines[old]
            from_settings[key] = setting
            return None
        if isinstance(here, dict) and here.get(step) is None:  # pyright: ignore
            here[step] = {}  # a section that was left out, or is empty
            from_settings[key] = setting
        here = cast(Any, here[step])


def next_step(here: Any, rest: str) -> tuple[str | int, str]:
    """The next step of a dotted key: the longest name that is there, else up to the dot."""
    if isinstance(here, dict):
        names: list[str] = [str(name) for name in here]  # pyright: ignore
        for name in sorted(names, key=len, reverse=True):
            if rest == name or rest.startswith(name + "."):
                return name, rest[len(name) + 1 :]
    first, _, after = rest.partition(".")
    return (int(first) if isinstance(here, list) and first.isdecimal() else first), after


def _cannot_step(here: Any, key: Key, deeper: bool) -> tuple[str, str] | None:
    """Why a step cannot be taken: what is wrong, what would be right."""
    step = key[-1]
    if isinstance(here, list):
        size = len(here)  # pyright: ignore[reportUnknownArgumentType]
        if not isinstance(step, int):
            return f'"{step}" is not a position in a list', f"write 0 to {size - 1}"
        if step >= size:
            return f"the list has {size} entries", f"write 0 to {size - 1}" if size else ""
        return None
    if not isinstance(here, dict):
        return "no key can stand here", f"{key_text(key[:-1])} holds a single value"
    if not str(step):
        return "a key is empty", "write keys with one dot between them"
    inside_named = len(key) == 2 and key[0] in NAMED and deeper
    if inside_named and step not in here:
        known = [str(name) for name in here]  # pyright: ignore
        return f'there is no "{step}" in {key[0]}', nearest(str(step), known)
    return None
