"""The window lives in a process of its own; here the cell is read and judged meanwhile.

Where there is no display, or no OpenGL, the drawing library ends its process without an
exception. That must not be ours: we say what can be done without a display.
"""

import gc
import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .main import GOOD

if TYPE_CHECKING:  # the window's process is started before anything else is loaded
    from ..cell.model import Cell
    from ..checks.finding import Judged

_AT_ONCE = 12  # placements that are judged before the window is told and may ask for others
INSTEAD = (
    "--picture F.png draws a picture and --glb F.glb writes the scene as a file; "
    "neither needs a display"
)
CELL, JUDGED, OPENED, WANTED = "cell", "judged", "opened", "wanted"

Word = tuple[str, Any]


def show_window(path: Path, settings: tuple[str, ...], placement: str | None) -> int:
    """Open a window on a cell, and return when it is closed.

    Raises:
        click.ClickException: There is no display, or the window came to grief.
        CellError: The cell file is wrong.
    """
    _refuse_without_display()
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    child = context.Process(target=_child, args=(theirs,), daemon=True)
    child.start()  # it loads the drawing library while we read the cell
    theirs.close()
    try:
        from ..cell.load import load
        from .selection import select

        cell = load(path, settings)
        select(cell, [placement] if placement else [], [], [])
        opened = _serve(ours, cell, placement)
        child.join()
    finally:
        if child.is_alive():
            child.terminate()
    if not opened:
        raise click.ClickException(
            f"no window could be opened (its process ended with status {child.exitcode}): is "
            f"there a display, and OpenGL? {INSTEAD}"
        )
    if child.exitcode:
        raise click.ClickException(f"the window ended with status {child.exitcode}")
    return GOOD


def _refuse_without_display() -> None:
    """Windows and macOS have a display without saying so."""
    if sys.platform in ("win32", "darwin"):
        return
    if not os.environ.get("DISPLAY"):
        raise click.ClickException(f"there is no display to open a window on. {INSTEAD}")


def _serve(connection: Connection, cell: "Cell", placement: str | None) -> bool:
    """Talk with the window until it is closed; returns whether it was ever opened."""
    opened = False
    judge = Judge(cell, lambda entries: _send(connection, (JUDGED, entries)))
    if placement is not None:
        judge.want(placement)
    if not _send(connection, (CELL, (cell, placement))):
        return opened
    try:
        while True:
            word: Word = connection.recv()
            if word[0] == OPENED and not opened:
                opened = True  # judging would have taken a core from opening
                threading.Thread(target=judge.run, daemon=True).start()
            if word[0] == WANTED:
                judge.want(word[1])
    except (EOFError, OSError):
        return opened
    finally:
        judge.stop()
        if judge.trouble is not None:
            raise judge.trouble


def _send(connection: Connection, word: Word) -> bool:
    """Whether it was taken; a window that is gone takes nothing."""
    try:
        connection.send(word)
    except (BrokenPipeError, OSError):
        return False
    return True


@dataclass(slots=True)
class Judge:
    """Judges all placements of a cell, some at a time, those that are asked for first.

    Attributes:
        tell: Called with the verdicts.
        trouble: What came in the way, if anything did.
    """

    cell: "Cell"
    tell: "Callable[[list[Judged]], object]"
    trouble: Exception | None = None
    _wanted: list[str] = field(default_factory=list[str])
    _ended: threading.Event = field(default_factory=threading.Event)

    def want(self, placement: str) -> None:
        """Judge this one next, and those after it."""
        self._wanted.append(placement)

    def stop(self) -> None:
        """Judge nothing more."""
        self._ended.set()

    def run(self) -> None:
        """Judge until all is judged, or told to stop."""
        try:
            self._run()
        except Exception as error:  # a thread has nobody else to tell
            self.trouble = error

    def _run(self) -> None:
        from ..verify import check
        from .selection import ids_to_check

        left = ids_to_check(self.cell)
        first = True
        while left and not self._ended.is_set():
            chosen = self._next(left, 1 if first else _AT_ONCE)
            first = False
            judged = check(self.cell, placements=chosen).placements
            self.tell(list(judged))
            done = {entry.placement.id for entry in judged} | set(chosen)
            left = [name for name in left if name not in done]

    def _next(self, left: list[str], count: int) -> list[str]:
        """What is asked for, and what follows it in the order; else what comes first."""
        start = 0
        while self._wanted:
            wanted = self._wanted.pop()
            if wanted in left:
                self._wanted.clear()
                start = left.index(wanted)
        pallet = left[start].rpartition("/")[0].rpartition("/")[0]
        chosen = left[start : start + count]
        return [name for name in chosen if name.startswith(f"{pallet}/")]


def _child(connection: Connection) -> None:
    """The window's process: its own chatter is dropped, unless mistakes are looked for."""
    with suppress(ValueError):
        signal.signal(signal.SIGINT, signal.SIG_DFL)  # the drawing library's loop hears no other
    if not os.environ.get("ENVELOPE_DEBUG"):
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), 1)
            os.dup2(nowhere.fileno(), 2)
    gc.disable()  # what is loaded stays: looking through it again and again would find nothing
    from ..scene.library import load_library

    load_library()  # while the cell is still being read
    from ..scene.walk import Walk
    from ..scene.window import Window

    try:
        _, (cell, placement) = connection.recv()
    except EOFError:  # there is no cell to be shown
        return

    def news() -> "list[Judged]":
        found: list[Judged] = []
        while connection.poll():
            try:
                found += connection.recv()[1]
            except EOFError:
                sys.exit(0)  # nobody is there any more
        return found

    def opened() -> None:
        gc.freeze()
        gc.enable()
        connection.send((OPENED, None))

    Window(
        Walk(cell, placement),
        news=news,
        wish=lambda name: connection.send((WANTED, name)),
        opened=opened,
    ).run()
