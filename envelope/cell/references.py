"""Names in a cell file that must be there: checked on the plain data, valid or not.

This runs beside the schema, so that a wrong number in one place does not hide a wrong
name in another.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from .errors import Key, Problem, nearest
from .yaml_reading import Document

# Where a name stands ("*" for any key or position), and the section it must be in.
_NAMES = (
    ("pallets.*.stack", "stacks"),
    ("stacks.*.patterns.*", "patterns"),
    ("patterns.*.of", "patterns"),
    ("patterns.*.column.group", "groups"),
    ("patterns.*.brick.group", "groups"),
    ("patterns.*.pinwheel.group", "groups"),
    ("patterns.*.best.group", "groups"),
    ("patterns.*.placements.*.group", "groups"),
    ("groups.*.row.carton", "cartons"),
    ("groups.*.cartons.*.carton", "cartons"),
)
_FIELDS = ("groups.*.fields.*", "groups.*.fields.*.*")
_NOUN = {"stacks": "stack", "patterns": "pattern", "groups": "group", "cartons": "carton"}


def unknown_names(
    document: Document, joints: Sequence[str] | None, fields: Sequence[str] | None
) -> Iterator[Problem]:
    """Every name that stands for nothing.

    Args:
        document: The cell file.
        joints: Names of the arm's joints, None where the arm is not known.
        fields: Names of the tool's grip fields, None where the tool is not known.
    """
    known = {section: _names(document.data.get(section)) for section in _NOUN}
    known["groups"] = list(dict.fromkeys([*known["groups"], *known["cartons"]]))
    for pattern, section in _NAMES:
        for key, value in _found(document.data, tuple(pattern.split("."))):
            if isinstance(value, str | int) and str(value) not in known[section]:
                found = f'there is no {_NOUN[section]} "{value}"'
                yield document.problem(key, found, nearest(str(value), known[section]))
    for pattern in _FIELDS if fields is not None else ():
        for key, value in _found(document.data, tuple(pattern.split("."))):
            if isinstance(value, str) and value not in (fields or ()):
                found = f'the tool has no grip field "{value}"'
                yield document.problem(key, found, nearest(value, fields or ()))
    arm = document.data.get("arm")
    usable: Any = arm.get("usable") if isinstance(arm, dict) else None  # pyright: ignore
    for name in _names(usable) if joints is not None else ():
        if name not in (joints or ()):
            found = f'the arm has no joint "{name}"'
            yield document.problem(("arm", "usable", name), found, nearest(name, joints or ()))


def pattern_rings(document: Document) -> Iterator[Problem]:
    """Patterns that are made of themselves."""
    patterns = document.data.get("patterns")
    if not isinstance(patterns, Mapping):
        return
    of: dict[str, str] = {
        str(name): str(part["of"])  # pyright: ignore
        for name, part in patterns.items()  # pyright: ignore
        if isinstance(part, Mapping) and "of" in part
    }
    for name in of:
        seen = [name]
        while seen[-1] in of and of[seen[-1]] not in seen:
            seen.append(of[seen[-1]])
        if of.get(seen[-1]) == name:
            ring = " of ".join(f'"{step}"' for step in [*seen, name])
            right = "start from a pattern that is written out"
            yield document.problem(("patterns", name, "of"), f"made of itself: {ring}", right)


def _names(section: Any) -> list[str]:
    return [str(name) for name in section] if isinstance(section, dict) else []  # pyright: ignore


def _found(data: Any, pattern: tuple[str, ...], key: Key = ()) -> Iterator[tuple[Key, Any]]:
    """Each value at a key pattern, with its key."""
    if not pattern:
        yield key, data
        return
    steps: list[tuple[str | int, Any]] = []
    if isinstance(data, dict):
        steps = list(data.items())  # pyright: ignore
    elif isinstance(data, list):
        steps = list(enumerate(data))  # pyright: ignore
    for step, value in steps:
        if pattern[0] in ("*", step):
            yield from _found(value, pattern[1:], (*key, step))
