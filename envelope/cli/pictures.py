"""Pictures are drawn in a process of their own.

Where the OpenGL libraries are missing, the drawing library ends its process without
an exception. A child may die like that; the verdicts must not. It may be started while the
check still runs: to load the drawing library takes as long as to draw.
"""

import multiprocessing
import os
import signal
import tempfile
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # the process is started before any of this is loaded
    from ..cell.model import Cell
    from ..checks.finding import Result
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


class Drawing:
    """A process that draws; entered it stands ready, left it is ended."""

    def __init__(self, *, ahead: bool) -> None:
        """Start it.

        Args:
            ahead: Whether there is time until the first picture, in which it gets ready.
        """
        context = multiprocessing.get_context("spawn")
        self._connection, other = context.Pipe()
        self._child = context.Process(target=_child, args=(other, ahead), daemon=True)
        self._child.start()
        other.close()

    def __enter__(self) -> "Drawing":
        return self

    def __exit__(self, *_: object) -> None:
        self._connection.close()
        self._child.terminate()
        self._child.join()

    def trouble(self, work: Callable[..., None], *arguments: object) -> str | None:
        """Have something drawn; None if all went well, else what went wrong in one line."""
        try:
            self._connection.send((work, arguments))
            answer: str | None = self._connection.recv()
        except (EOFError, OSError):  # it died before it could say anything
            self._child.join()
            answer = f"the drawing process ended with status {self._child.exitcode}"
        if answer is None:
            return None
        packages = f"on Debian and Ubuntu install the packages {PACKAGES}"
        return f"{answer}. If OpenGL is missing, {packages}."


def draw_apart(
    cell: "Cell", result: "Result", folder: Path, drawing: Drawing | None = None
) -> Drawn:
    """Draw every problem spot into a folder; whatever happens there, this returns.

    Args:
        cell: The cell.
        result: What a check of it found.
        folder: It is made if it is not there.
        drawing: The process that draws, if one was started before.
    """
    try:
        with tempfile.TemporaryDirectory(
            prefix=f".{folder.name}.", dir=folder.resolve().parent
        ) as parts:
            trouble = _trouble(drawing, _all, cell, result, Path(parts))
            if trouble is not None:
                return Drawn((), f"No pictures: {trouble}")
            folder.mkdir(exist_ok=True)
            paths = tuple(_moved(sorted(Path(parts).iterdir()), folder))
            return Drawn(paths, older=sum(1 for _ in folder.iterdir()) - len(paths))
    except OSError as error:
        return Drawn((), f"No pictures: {folder} cannot be written: {error.strerror}")


def draw_one_apart(cell: "Cell", result: "Result", placement: str | None, path: Path) -> str | None:
    """Draw one placement, or the whole cell, into a file; returns in one line what went wrong."""
    trouble = _trouble(None, _one, cell, result, placement, path)
    return None if trouble is None else f"no picture: {trouble}"


def draw_spots_apart(
    cell: "Cell",
    result: "Result",
    spots: Sequence["Problem"],
    folder: Path,
    drawing: Drawing | None = None,
) -> Drawn:
    """Draw these problem spots into an existing folder, in their order; as `draw_apart`."""
    trouble = _trouble(drawing, _spots, cell, result, spots, folder)
    if trouble is not None:
        return Drawn((), f"No still pictures: {trouble}")
    return Drawn(tuple(folder / f"{number}.png" for number in range(len(spots))))


def _trouble(drawing: Drawing | None, work: Callable[..., None], *arguments: object) -> str | None:
    if drawing is not None:
        return drawing.trouble(work, *arguments)
    with Drawing(ahead=False) as own:
        return own.trouble(work, *arguments)


def _moved(parts: Iterable[Path], folder: Path) -> Iterable[Path]:
    for part in parts:
        yield part.replace(folder / part.name)


def _child(connection: Connection, ahead: bool) -> None:
    """What the child does; the drawing library's own chatter is dropped."""
    with open(os.devnull, "wb") as nowhere:
        os.dup2(nowhere.fileno(), 1)
        os.dup2(nowhere.fileno(), 2)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # who asked for pictures ends this process
    if ahead:
        with suppress(Exception):  # it comes again, and is told, when something is to be drawn
            _get_ready()
    while True:
        try:
            work, arguments = connection.recv()
        except EOFError:  # nobody wants a picture any more
            return
        try:
            work(*arguments)
        except Exception as error:
            connection.send(" ".join(f"{type(error).__name__}: {error}".split()))
        else:
            connection.send(None)


def _get_ready() -> None:
    from ..scene.pictures import open_ahead

    open_ahead()


def _all(cell: "Cell", result: "Result", folder: Path) -> None:
    from ..scene.pictures import draw_problems

    draw_problems(cell, result, folder)


def _spots(cell: "Cell", result: "Result", spots: Sequence["Problem"], folder: Path) -> None:
    from ..scene.pictures import draw_spots

    draw_spots(cell, result, spots, folder)


def _one(cell: "Cell", result: "Result", placement: str | None, path: Path) -> None:
    from ..scene.pictures import draw_one

    draw_one(cell, result, placement, path)
