"""A cell file with values changed: everything else stays as the user wrote it.

Only the text of the values that change is replaced, so that comments, order, spacing and
units elsewhere are kept to the letter. What comes out is read again and compared.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, cast

from ruamel.yaml import YAML
from ruamel.yaml.nodes import MappingNode, SequenceNode

from .errors import CellError, Key, Problem, key_text
from .settings import next_step
from .yaml_reading import read_file, read_value, read_yaml
from .yaml_writing import block, flow, is_long

Changes = Mapping[str | Key, Any]


def with_changes(path: str | Path, changes: Changes, settings: Sequence[str] = ()) -> str:
    """The text of a cell file with values changed.

    Args:
        path: The cell file; it is not written to.
        changes: Values by key path, dotted ("arm.at.x") or as a tuple; in the file's units, as
            plain data. Sections and entries that are not there are added.
        settings: Values set on top of the file before ("pallets.A.at.x=650").

    Returns:
        The whole text. That it is a valid cell is for the door to say.

    Raises:
        CellError: The file cannot be read, or a value cannot be changed where it stands.
    """
    content = read_file(Path(path), str(path))
    before = [(name.strip(), read_value(value)) for name, _, value in _split(settings, str(path))]
    return changed(content, str(path), [*before, *changes.items()])


def changed(content: bytes, file: str, changes: Sequence[tuple[str | Key, Any]]) -> str:
    """The text of a file's content with values changed, in order; see `with_changes`."""
    data: Any = read_yaml(content, file).data
    written = content.decode("utf-8-sig")
    windows = "\r\n" in written
    written = written.replace("\r\n", "\n")
    for name, value in changes:
        key = _key(data, name)
        data = _set(data, key, value)
        written = _Splice(written, file, key).put(value)
    if read_yaml(written.encode(), file).data != _plain(data):
        raise CellError([Problem(file, None, "", "cannot be changed as asked", _BY_HAND)])
    return written.replace("\n", "\r\n") if windows else written


_BY_HAND = "write the file without aliases and remarks inside of values, and try again"


def _split(settings: Sequence[str], file: str) -> Iterator[tuple[str, str, str]]:
    for setting in settings:
        name, equals, value = setting.partition("=")
        if not equals or not name.strip():
            right = "write KEY=VALUE, such as pallets.A.at.x=650"
            raise CellError([Problem(file, None, "", "no value is set", right, setting)])
        yield name, equals, value


def _key(data: Any, name: str | Key) -> Key:
    """A dotted key as a path through what is there."""
    if isinstance(name, tuple):
        return name
    key: Key = ()
    here, rest = data, name
    while rest:
        step, rest = next_step(here, rest)
        key = (*key, step)
        inside = isinstance(here, list) and isinstance(step, int) and step < len(here)  # pyright: ignore
        known = isinstance(here, dict) and step in here
        here = cast(Any, here[step]) if inside or known else None
    return key


def _plain(value: Any) -> Any:
    """As it will be read: names as keys, lists for tuples."""
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in cast(Mapping[Any, Any], value).items()}
    if isinstance(value, list | tuple):
        return [_plain(entry) for entry in cast(Sequence[Any], value)]
    return value


def _set(data: Any, key: Key, value: Any) -> Any:
    """The data with the value at a key path."""
    if not key:
        return value
    if isinstance(data, list):
        entries = cast(list[Any], data)
        return [_set(entry, key[1:], value) if k == key[0] else entry
                for k, entry in enumerate(entries)]  # fmt: skip
    known: dict[str, Any] = {**data} if isinstance(data, dict) else {}
    return {**known, str(key[0]): _set(known.get(str(key[0])), key[1:], value)}


class _Splice:
    """One value put into a text."""

    def __init__(self, written: str, file: str, key: Key) -> None:
        self.written, self.file, self.key = written, file, key
        reader: Any = YAML(typ="safe", pure=True)
        self.top: Any = reader.compose(written)
        self.uses = Counter(id(node) for node in _nodes(self.top))

    def put(self, value: Any) -> str:
        """The text with the value in it. Raises CellError."""
        node, above, name = self.top, None, None
        for depth, step in enumerate(self.key):
            found = _child(node, step)
            if found is None:
                return self._added(node, depth, value)
            above, (name, node) = node, found
            self._refuse_shared(node)
        if any(self.uses[id(inner)] > 1 for inner in _nodes(node)):
            raise self._wrong("holds what an alias elsewhere stands for")
        return self._replaced(above, name, node, value)

    def _refuse_shared(self, node: Any) -> None:
        if self.uses[id(node)] > 1:
            raise self._wrong("stands in more than one place through an alias")

    def _wrong(self, found: str) -> CellError:
        key = key_text(self.key)
        return CellError([Problem(self.file, None, key, found, "write it out in each place")])

    def _replaced(self, above: Any, name: Any, node: Any, value: Any) -> str:
        start, end = int(node.start_mark.index), _end(node)
        if name is None or above is None or above.flow_style:
            return self.written[:start] + flow(value) + self.written[end:]
        colon = self.written.index(":", int(name.end_mark.index)) + 1
        head = int(name.start_mark.column)
        broken = is_long(value, head + colon - int(name.start_mark.index) + 1)
        lines = "\n" + "\n".join(block(value, head + 2)) if broken else " " + flow(value)
        if start == end:  # nothing was written after the colon
            return self.written[:colon] + lines + self.written[colon:]
        remark = self.written[colon:start].split("\n", 1)[0].strip()
        if remark.startswith("#"):
            lines = f" {remark}{lines}" if broken else f"{lines} {remark}"
        tail = "\n" if self.written[end - 1] == "\n" else ""  # of a text in lines of its own
        return self.written[:colon] + lines + tail + self.written[end:]

    def _added(self, node: Any, depth: int, value: Any) -> str:
        """The text with an entry at the end of a mapping."""
        for step in self.key[:depth:-1]:
            value = {str(step): value}
        name = str(self.key[depth])
        empty = not _is(node, MappingNode) and not _is(node, SequenceNode)
        if not _is(node, MappingNode):
            found = "holds a single value" if empty else "is a list without that entry"
            where = key_text(self.key[:depth])
            raise CellError([Problem(self.file, None, where, found, "no key can be added there")])
        if node.flow_style:
            close = int(node.end_mark.index) - 1
            inside = self.written[int(node.start_mark.index) + 1 : close].rstrip()
            comma = "" if not inside or inside.endswith(",") else ", "
            at = int(node.start_mark.index) + 1 + len(inside)
            return f"{self.written[:at]}{comma}{flow({name: value})[1:-1]}{self.written[at:]}"
        end = _end(node)
        while self.written[end - 1] == "\n":
            end -= 1
        line = self.written.find("\n", end)
        end = len(self.written) if line < 0 else line
        lines = "\n".join(block({name: value}, int(node.start_mark.column)))
        rest = self.written[end:] or "\n"
        return f"{self.written[:end]}\n{lines}{rest}"


def _is(node: Any, kind: type[Any]) -> bool:
    """Whether a node, whose types the parser leaves open, is of a kind."""
    return isinstance(node, kind)


def _nodes(node: Any) -> Iterator[Any]:
    """A node and all under it; one that aliases repeat comes again."""
    yield node
    if _is(node, MappingNode):
        for name, value in cast(list[tuple[Any, Any]], node.value):
            yield name
            yield from _nodes(value)
    elif _is(node, SequenceNode):
        for value in cast(list[Any], node.value):
            yield from _nodes(value)


def _child(node: Any, step: str | int) -> tuple[Any, Any] | None:
    """The key's node (None in a list) and the value's node of an entry."""
    if _is(node, MappingNode):
        for name, value in cast(list[tuple[Any, Any]], node.value):
            if str(name.value) == str(step):
                return name, value
    elif _is(node, SequenceNode) and str(step).isdecimal():
        entries: list[Any] = node.value
        if int(step) < len(entries):
            return None, entries[int(step)]
    return None


def _end(node: Any) -> int:
    """Where a node's own text ends; the parser ends blocks only where the next thing starts."""
    if _is(node, MappingNode) and not node.flow_style and node.value:
        name, value = cast(list[tuple[Any, Any]], node.value)[-1]
        # Of a value that is not there, the parser's mark lies beyond blank lines.
        written = int(value.end_mark.index) > int(value.start_mark.index)
        return _end(value) if written else int(name.end_mark.index) + 1
    if _is(node, SequenceNode) and not node.flow_style and node.value:
        return _end(cast(list[Any], node.value)[-1])
    return int(node.end_mark.index)
