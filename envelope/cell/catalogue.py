"""The generic arms and tools that come with the package, and files the user names."""

from collections.abc import Callable
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Literal

from .errors import CellError, Problem, nearest
from .meshes import beside
from .yaml_reading import Document, read_file, read_yaml

Kind = Literal["arms", "tools"]
Complain = Callable[[str, str], Problem]


def generic_names(kind: Kind) -> tuple[str, ...]:
    """Names of the generic models of a kind, sorted."""
    folder = _models() / kind
    if not folder.is_dir():
        return ()
    names = [entry.name for entry in folder.iterdir() if entry.name.endswith(".yaml")]
    return tuple(sorted(name.removesuffix(".yaml") for name in names))


def find_model(name: str, kind: Kind, folder: Path | None, complain: Complain) -> Document:
    """The file of a generic model or of a path.

    Args:
        name: A generic model's name, or a path.
        kind: "arms" or "tools".
        folder: Where a path starts and which it must not leave; None for any path.
        complain: Makes the problem when there is no such model.

    Raises:
        CellError: There is none, or its file is no YAML.
    """
    known = generic_names(kind)
    if name in known:
        return _generic(name, kind)
    if kind == "arms" and name.lower().endswith(".urdf"):
        found = f'"{name}" is URDF, which is written (envelope arms NAME --urdf) but not read'
        right = "write an arm file: one of the families, with its dimensions; it ends in .yaml"
        raise CellError([complain(found, right)])
    if not _is_path(name):
        right = f"{nearest(name, known)} A file of your own ends in .yaml"
        raise CellError([complain(f'no generic {kind[:-1]} is called "{name}"', right)])
    path = Path(name) if folder is None else beside(name, folder)
    if path is None:
        found = f'"{name}" leads out of the folder of this file'
        raise CellError([complain(found, "put it beside the file, and name it without ..")])
    if folder is not None and not path.is_file():
        raise CellError([complain(f'there is no file "{name}" beside this file', "")])
    return read_yaml(read_file(path, str(path)), str(path))


@lru_cache(maxsize=32)
def _generic(name: str, kind: Kind) -> Document:
    """The file of a generic model; surveys ask for the same one again and again."""
    content = (_models() / kind / f"{name}.yaml").read_bytes()
    return read_yaml(content, f"models/{kind}/{name}.yaml")


def _is_path(name: str) -> bool:
    return "/" in name or "\\" in name or name.lower().endswith((".yaml", ".yml"))


def _models() -> Traversable:
    """The folder of the models: inside an installed package, beside it in a checkout."""
    inside = files("envelope") / "models"
    return inside if inside.is_dir() else Path(__file__).parents[2] / "models"
