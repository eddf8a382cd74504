"""What all surveys take, and how they are run from the command line."""

import sys
import time
from collections.abc import Callable, Generator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from .answer import remark
from .cores import cores as cores
from .files import refuse_existing, write_whole
from .progress import Progress, progress_bar

if TYPE_CHECKING:
    from ..cell.variants import CellFile
    from ..surveys.results import Survey
    from ..surveys.runner import Runner
    from ..surveys.store import Store

F = TypeVar("F", bound=Callable[..., Any])
A = TypeVar("A")
S = TypeVar("S", bound="Survey")
TOLD_EVERY = 15.0  # [s]: between lines of progress where standard error is no terminal


def survey_options(command: F) -> F:
    """Add the options that every survey takes: jobs, cluster, set, results, survey_file, ..."""
    options = (
        click.option("--results", type=click.Path(path_type=Path), help="Write all as JSON."),
        click.option(
            "--set",
            "settings",
            multiple=True,
            metavar="KEY=VALUE",
            help="Change one value of the cell for all variants; may be repeated.",
        ),
        click.option(
            "--jobs",
            type=click.IntRange(min=1),
            help="Number of processes.  [default: all cores]",
        ),
        click.option(
            "--cluster",
            metavar="ADDRESS",
            help="Work on a Dask cluster instead: address of its scheduler, as tcp://host:8786.",
        ),
        click.option(
            "--survey-file",
            type=click.Path(path_type=Path),
            help="Keep what is done in this file, and go on from it.  [default: beside the cell, "
            "and only until the survey is complete]",
        ),
        click.option("--quiet", is_flag=True, help="Print the best in one line; no progress."),
        click.option("--force", is_flag=True, help="Write over files that are already there."),
    )
    for option in reversed(options):
        command = option(command)
    return command


def report_option(command: F) -> F:
    """Add the option that writes a page."""
    return click.option(
        "--report",
        type=click.Path(path_type=Path),
        help="Write one page that opens in any browser, without a network.",
    )(command)


def refuse_outputs(cell: Path, asked: dict[str, Any], names: tuple[str, ...]) -> None:
    """Make sure that outputs can be written, before any work. Raises click.UsageError."""
    outputs = [asked[name] for name in names if asked[name] is not None]
    refuse_existing(outputs, asked["force"], inputs=[cell])
    best: Path | None = asked.get("best")
    if best is not None and best.resolve().parent != cell.resolve().parent:
        remark(f"Note: what {cell} names by a path is looked for beside {best}.")


@contextmanager
def opened(
    file: "CellFile",
    kind: str,
    wanted: str,
    asked: dict[str, Any],
    to_json: Callable[[A], Any],
    from_json: Callable[[Any], A],
) -> "Generator[Store[A]]":
    """The survey file of one survey of one cell; deleted when the survey is complete.

    Args:
        file: The cell.
        kind: Name of the survey.
        wanted: All else that its answers depend on, as text.
        asked: The options of the command.
        to_json: An answer as plain data.
        from_json: And back.
    """
    from .. import __version__
    from ..surveys.store import Store, survey_key

    named: Path | None = asked["survey_file"]
    cell = Path(file.file)
    path = cell.with_name(f"{cell.stem}.{kind}.survey") if named is None else named
    key = survey_key(__version__, file.cell().sha256, kind, wanted)
    with Store(path, key, to_json, from_json, asked["force"]) as store:
        had = len(store)
        if had:
            remark(f"Going on from {path}: {had} answers are there.")
        try:
            yield store
        except KeyboardInterrupt:
            if len(store):
                remark(f"{path} keeps what is done; the same command goes on from there.")
            raise
        if named is None:
            store.remove()


@contextmanager
def at_work(
    asked: dict[str, Any], store: "Store[A]", label: str, quiet: bool
) -> "Generator[tuple[Runner[A], Progress | None]]":
    """What does the work of a survey, as its options ask, and what is told of its progress."""
    from ..surveys.runner import Runner

    with (
        Runner(jobs=asked["jobs"] or cores(), cluster=asked["cluster"], store=store) as runner,
        survey_progress(label, wanted=not quiet) as progress,
    ):
        yield runner, progress


def write_outputs(
    survey: S,
    asked: dict[str, Any],
    *,
    picture: Callable[[S], str] | None = None,
    page: Callable[[S], str] | None = None,
) -> None:
    """Write what is asked for of the results, the picture and the page of a survey."""
    from ..surveys.results import as_json

    ways = (("results", as_json, "Wrote"), ("picture", picture, "Drew"), ("report", page, "Wrote"))
    for name, made, verb in ways:
        if made is not None and asked[name] is not None:
            write_whole(asked[name], made(survey))
            remark(f"{verb} {asked[name]}")


def write_best(path: Path, text: str) -> None:
    """Write a cell file that was found best."""
    write_whole(path, text)
    remark(f"Wrote {path}. Check it with: envelope check {path}")


@contextmanager
def survey_progress(label: str, wanted: bool = True) -> Generator[Progress | None]:
    """Progress with time left: a bar where a person watches, else a line now and then."""
    if not wanted or sys.stderr.isatty():
        with progress_bar(label, wanted) as progress:
            yield progress
        return
    yield _Lines(label).tell


class _Lines:
    """Lines of progress for a log."""

    def __init__(self, label: str) -> None:
        self._label = label
        self._start: tuple[float, int] | None = None
        self._told = time.monotonic()

    def tell(self, done: int, total: int) -> None:
        """Write a line if the last one is some time ago."""
        now = time.monotonic()
        if self._start is None or done < self._start[1]:
            self._start = (now, done)
        if now - self._told < TOLD_EVERY:
            return
        self._told = now
        worked = done - self._start[1]
        left = (now - self._start[0]) / worked * (total - done) if worked else None
        time_left = "" if left is None else f", {_in_words(left)} left"
        remark(f"{self._label}: {done} of {total}{time_left}")


def _in_words(seconds: float) -> str:
    if seconds < 90.0:
        return f"{seconds:.0f} s"
    return f"{seconds / 60.0:.0f} min" if seconds < 5400.0 else f"{seconds / 3600.0:.1f} h"
