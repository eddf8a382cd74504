"""YAML 1.2 as plain data that remembers its lines. Data only: no tags, no code.

Scalars are read by rules of our own on top of the parsed nodes, so that neither a
`%YAML 1.1` line nor a tag can turn `yes` into a number or `1:30` into 90.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, cast

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.nodes import MappingNode, ScalarNode, SequenceNode

from .errors import CellError, Key, Problem, key_text

LARGEST_FILE = 500_000  # bytes: 500 placements written out take some 40 000
MOST_NODES = 200_000  # after aliases are expanded: stops files that grow by repetition
MOST_PROBLEMS = 100  # in the YAML itself: more help nobody
DEEPEST = 40  # levels of nesting; the deepest key of a cell file has nine

_TAG = "tag:yaml.org,2002:"
_KINDS = ("int", "float", "bool", "null", "timestamp", "str", "merge", "value")
_PLAIN = {_TAG + kind for kind in _KINDS}
_INTEGER = re.compile(r"[-+]?[0-9]+")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_NOT_FINITE = re.compile(r"[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)")


@dataclass(frozen=True, slots=True)
class Document:
    """One YAML file as plain data.

    Attributes:
        file: As the user named it.
        data: Mappings, lists, texts, numbers, true/false and None.
        lines: Line, from 1, of each key path.
        settings: The `--set` text behind each key path that was set from outside.
        content: The bytes of the file.
    """

    file: str
    data: dict[str, Any]
    lines: Mapping[Key, int]
    content: bytes
    settings: Mapping[Key, str] = field(default_factory=dict[Key, str])

    def problem(self, key: Key, found: str, right: str = "") -> Problem:
        """A problem at a key path, on the line of the nearest key that is written."""
        setting, line = None, None
        for end in range(len(key), -1, -1):
            setting, line = self.settings.get(key[:end]), self.lines.get(key[:end])
            if setting is not None or line is not None:
                break
        return Problem(self.file, line, key_text(key), found, right, setting)


def read_file(path: Path, file: str, limit: int = LARGEST_FILE) -> bytes:
    """The bytes of a file the user named. Raises CellError, also for one over the limit."""
    try:
        if path.is_dir():
            raise CellError([Problem(file, None, "", "is a folder", "name a file")])
        if path.exists() and not path.is_file():
            raise CellError([Problem(file, None, "", "is not a plain file", "name a file")])
        if path.stat().st_size > limit:
            found = f"is larger than {limit / 1e6:g} MB"
            raise CellError([Problem(file, None, "", found, "this is more than is read")])
        return path.read_bytes()
    except FileNotFoundError:
        raise CellError([Problem(file, None, "", "there is no such file")]) from None
    except (OSError, ValueError) as error:  # ValueError: a null byte in the name
        reason = getattr(error, "strerror", None) or "the name is not one a file can have"
        raise CellError([Problem(file, None, "", "cannot be read", reason)]) from None


def read_yaml(content: bytes, file: str) -> Document:
    """A YAML file whose top level is a mapping, as data with lines. Raises CellError."""
    text = _decode(content, file)
    node = _compose(text, file)
    if node is None:
        found = "the file is empty"
        raise CellError([Problem(file, None, "", found, "`envelope new FILE` writes a start")])
    reader = _Reader(file)
    data = reader.value(node, (), 0)
    if not isinstance(data, dict) and not reader.problems:
        found = "the file is not a list of keys and values"
        reader.problems.append(
            Problem(file, reader.lines[()], "", found, "start with `name: My cell`")
        )
    if reader.problems:
        raise CellError(reader.problems)
    return Document(file, cast(dict[str, Any], data), reader.lines, content)


def read_value(text: str) -> Any:
    """The value of a setting, written as YAML ("650", "[-180, 180]", "tea"). Raises CellError."""
    node = _compose(text, "--set")
    reader = _Reader("--set")
    value = None if node is None else reader.value(node, (), 0)
    if reader.problems:
        raise CellError(reader.problems)
    return value


def _decode(content: bytes, file: str) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        found = f"byte 0x{content[error.start]:02x} is not UTF-8 text"
        raise CellError([Problem(file, line, "", found, "save the file as UTF-8")]) from None


def _compose(text: str, file: str) -> Any:
    if _open_brackets(text) > 10 * DEEPEST:  # the parser would take minutes to find out
        found = f"nested deeper than {DEEPEST} levels"
        raise CellError([Problem(file, None, "", found, "a cell needs no more than ten")])
    try:
        reader: Any = YAML(typ="safe", pure=True)
        return reader.compose(text)
    except MarkedYAMLError as error:
        raw: Any = error
        mark = raw.problem_mark or raw.context_mark
        line = None if mark is None else int(mark.line) + 1
        found, right = _syntax(str(raw.problem or ""), line, text)
        raise CellError([Problem(file, line, "", found, right)]) from None
    except (YAMLError, ValueError) as error:
        bad = re.search(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", text)
        line = None if bad is None else text.count("\n", 0, bad.start()) + 1
        found = "not a YAML text" if bad is None else "a control character that no text may have"
        del error
        raise CellError([Problem(file, line, "", found)]) from None
    except RecursionError:
        found = f"nested deeper than {DEEPEST} levels"
        raise CellError([Problem(file, None, "", found, "a cell needs no more than ten")]) from None


def _open_brackets(text: str) -> int:
    """The most brackets that are open at once, those in texts and remarks counted too."""
    deepest = depth = 0
    for bracket in re.findall(r"[\[{}\]]", text):
        depth = depth + 1 if bracket in "[{" else max(depth - 1, 0)
        deepest = max(deepest, depth)
    return deepest


def _syntax(problem: str, line: int | None, text: str) -> tuple[str, str]:
    """What is wrong with the YAML, and what would be right, in words for users."""
    rows = text.splitlines()
    row = rows[line - 1] if line is not None and 0 < line <= len(rows) else ""
    if "\\t" in problem or "\t" in row:
        return "a tab", "indent with spaces; YAML allows no tabs there"
    if "another document" in problem:
        return "a second document starts here (---)", "one file holds one document"
    alias = re.search(r"undefined alias '?([^']*)'?", problem)
    if alias:
        return f"*{alias[1]} stands for nothing", f"mark what it repeats with &{alias[1]} first"
    if "mapping values are not allowed" in problem:
        return "a colon where none can stand", "check the indentation, or put the text in quotes"
    if "end of stream" in problem or "stream end" in problem:
        return "the file ends within a text or a bracket", "close the bracket or the quotes"
    if "<block end>" in problem or "expected ',' or" in problem or "could not find" in problem:
        return "this line does not fit the one before", "check indentation, brackets and colons"
    if "cannot start any token" in problem:
        return "a character that no value may start with", "put the text in quotes"
    return "this is not YAML", "check indentation, brackets, quotes and colons"


class _Reader:
    """Nodes to plain data; collects lines and problems on the way."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.lines: dict[Key, int] = {}
        self.problems: list[Problem] = []
        self.count = 0

    def value(self, node: Any, key: Key, depth: int) -> Any:
        """The data of a node at a key path."""
        line = int(node.start_mark.line) + 1
        self.lines.setdefault(key, line)
        self.count += 1
        if self.count > MOST_NODES:
            found = f"holds more than {MOST_NODES} values once its aliases are followed"
            raise CellError([Problem(self.file, None, "", found, "write a smaller file")])
        if depth > DEEPEST:  # an alias inside what it stands for ends here, too
            found = f"nested deeper than {DEEPEST} levels"
            right = "a cell needs no more than ten; does an alias stand inside itself?"
            raise CellError([Problem(self.file, line, key_text(key[:3]), found, right)])
        kind = cast(type[Any], type(node))
        if issubclass(kind, MappingNode):
            return self._mapping(node, key, depth)
        if issubclass(kind, SequenceNode):
            self._refuse_tag(node, key, "seq")
            items: list[Any] = node.value
            return [self.value(item, (*key, i), depth + 1) for i, item in enumerate(items)]
        return self._scalar(node, key)

    def _mapping(self, node: Any, key: Key, depth: int) -> dict[str, Any]:
        self._refuse_tag(node, key, "map")
        data: dict[str, Any] = {}
        pairs: list[tuple[Any, Any]] = node.value
        for name_node, value_node in pairs:
            line = int(name_node.start_mark.line) + 1
            if not issubclass(type(name_node), ScalarNode):
                found, right = "a list or mapping stands as a key", "a key is a single word or text"
                self._complain(line, key, found, right)
                continue
            name = str(name_node.value)
            here = (*key, name)
            if name_node.tag == _TAG + "merge":
                self._complain(line, here, "merge keys are not read", "repeat the keys instead")
            elif name in data:
                found = f"written twice, first on line {self.lines[here]}"
                self._complain(line, here, found, "keep one of them")
            else:
                self.lines[here] = line
                data[name] = self.value(value_node, here, depth + 1)
        return data

    def _scalar(self, node: Any, key: Key) -> Any:
        text, tag = str(node.value), str(node.tag)
        if tag not in _PLAIN:
            self._refuse_tag(node, key, "str")
            return text
        if tag == _TAG + "str" or node.style in ("'", '"', "|", ">"):
            return text
        if tag == _TAG + "null" and text in ("", "~", "null", "Null", "NULL"):
            return None
        if text.lower() in ("true", "false"):
            return text.lower() == "true"
        if _INTEGER.fullmatch(text) and len(text) < 20:
            return int(text)
        if _FLOAT.fullmatch(text):
            return float(text)
        if _NOT_FINITE.fullmatch(text):
            return float(text.replace(".", ""))
        return text

    def _refuse_tag(self, node: Any, key: Key, kind: str) -> None:
        tag = str(node.tag)
        if tag not in (_TAG + kind, "!"):
            line = int(node.start_mark.line) + 1
            shown = tag.replace(_TAG, "!!")
            self._complain(line, key, f"the tag {shown} is not read", "write plain values only")

    def _complain(self, line: int, key: Key, found: str, right: str) -> None:
        self.problems.append(Problem(self.file, line, key_text(key), found, right))
        if len(self.problems) >= MOST_PROBLEMS:
            raise CellError(self.problems)
