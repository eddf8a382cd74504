"""A progress bar on standard error, where a person watches."""

import sys
from collections.abc import Callable, Generator
from contextlib import contextmanager

Progress = Callable[[int, int], None]


@contextmanager
def progress_bar(label: str, wanted: bool = True) -> Generator[Progress | None]:
    """Yield a function of (done, all) that moves the bar; None where nobody watches."""
    if not wanted or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
    )
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(label, total=None)

        def move(done: int, total: int) -> None:
            bar.update(task, completed=done, total=total)

        yield move
