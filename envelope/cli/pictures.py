"""Pictures are drawn in a process of their own.

Where the OpenGL libraries are missing, the drawing library ends its process without
an exception. A child may die like that; the verdicts must not.
"""

import multiprocessing
import os
import tempfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING

from ..cell.model import Cell
from ..checks.finding import Result

if TYPE_CHECKING:
    from ..scene.choose import Problem

PACKAGES = "libegl1 libgl1-mesa-dri libx11-6"


@dataclass(frozen=True, slots=True)
class Drawn:
    """What came of drawing.

    Attributes:
        paths: The pictures that were written.
        trouble: In one line, why there are none.
        older: How many files of an earlier time are left in the folder.
    """

    paths: tuple[Path, ...]
    trouble: str | None = None
    older: int = 0


def draw_apart(cell: Cell, result: Result, folder: Path) -> Drawn:
    """Draw every problem spot into a folder; whatever happens there, this returns."""
    try:
        with tempfile.TemporaryDirectory(
            prefix=f".{folder.name}.", dir=folder.resolve().parent
        ) as parts:
            trouble = _drawn_by_child(_all, cell, result, Path(parts))
            if trouble is not None:
                return Drawn((), f"No pictures: {trouble}")
            folder.mkdir(exist_ok=True)
            paths = tuple(_moved(sorted(Path(parts).iterdir()), folder))
            return Drawn(paths, older=sum(1 for _ in folder.iterdir()) - len(paths))
    except OSError as error:
        return Drawn((), f"No pictures: {folder} cannot be written: {error.strerror}")


def draw_one_apart(cell: Cell, result: Result, placement: str | None, path: Path) -> str | None:
    """Draw one placement, or the whole cell, into a file; returns in one line what went wrong."""
    trouble = _drawn_by_child(_one, cell, result, placement, path)
    return None if trouble is None else f"no picture: {trouble}"


def draw_spots_apart(cell: Cell, result: Result, spots: Sequence["Problem"], folder: Path) -> Drawn:
    """Draw these problem spots into an existing folder, in their order."""
    trouble = _drawn_by_child(_spots, cell, result, spots, folder)
    if trouble is not None:
        return Drawn((), f"No still pictures: {trouble}")
    return Drawn(tuple(folder / f"{number}.png" for number in range(len(spots))))


def _moved(parts: Iterable[Path], folder: Path) -> Iterable[Path]:
    for part in parts:
        yield part.replace(folder / part.name)


def _drawn_by_child(work: Callable[..., None], *arguments: object) -> str | None:
    """Run the child to its end; None if all went well, else what went wrong in one line."""
    context = multiprocessing.get_context("spawn")
    receiving, sending = context.Pipe(duplex=False)
    child = context.Process(target=_child, args=(sending, work, *arguments), daemon=True)
    child.start()
    sending.close()
    try:
        trouble: str | None = receiving.recv()
    except EOFError:  # it died before it could say anything
        child.join()
        trouble = f"the drawing process ended with status {child.exitcode}"
    child.join()
    if trouble is None:
        return None
    return f"{trouble}. If OpenGL is missing, on Debian and Ubuntu install the packages {PACKAGES}."


def _child(answer: Connection, work: Callable[..., None], *arguments: object) -> None:
    """What the child does; the drawing library's own chatter is dropped."""
    with open(os.devnull, "wb") as nowhere:
        os.dup2(nowhere.fileno(), 1)
        os.dup2(nowhere.fileno(), 2)
    try:
        work(*arguments)
    except Exception as error:
        answer.send(" ".join(f"{type(error).__name__}: {error}".split()))
    else:
        answer.send(None)


def _all(cell: Cell, result: Result, folder: Path) -> None:
    from ..scene.pictures import draw_problems

    draw_problems(cell, result, folder)


def _spots(cell: Cell, result: Result, spots: Sequence["Problem"], folder: Path) -> None:
    from ..scene.pictures import draw_spots

    draw_spots(cell, result, spots, folder)


def _one(cell: Cell, result: Result, placement: str | None, path: Path) -> None:
    from ..scene.pictures import draw_one

    draw_one(cell, result, placement, path)
