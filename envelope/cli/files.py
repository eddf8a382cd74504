"""Files the commands write: whole or not at all, and never over what the user has."""

import os
from collections.abc import Iterable
from pathlib import Path

import click


def refuse_existing(paths: Iterable[Path], force: bool, inputs: Iterable[Path] = ()) -> None:
    """Make sure that files can be written, before any long work.

    Args:
        paths: The files to be written.
        force: Whether they may replace what is there.
        inputs: Files that are read, which may not be replaced even so.

    Raises:
        click.UsageError: Saying which one cannot be written, and why.
    """
    taken = {path.resolve(): "is read, and may not be written over" for path in inputs}
    for path in paths:
        place = path.resolve()
        if place in taken:
            raise click.UsageError(f"{path} {taken[place]}")
        taken[place] = "is named for two outputs"
        if path.is_dir():
            raise click.UsageError(f"{path} is a folder; name a file")
        if not place.parent.is_dir():
            raise click.UsageError(f"{path}: there is no folder {path.parent}")
        if path.exists() and not path.is_file():
            raise click.UsageError(f"{path} is not a plain file")
        if path.exists() and not force:
            raise click.UsageError(f"{path} is already there; --force writes over it")


def refuse_full_folder(folder: Path, force: bool) -> None:
    """Make sure that a folder is new, empty, or may be added to.

    Raises:
        click.UsageError: Saying why it cannot be used.
    """
    if folder.exists() and not folder.is_dir():
        raise click.UsageError(f"{folder} is a file; name a folder")
    if not folder.resolve().parent.is_dir():
        raise click.UsageError(f"{folder}: there is no folder {folder.parent}")
    if folder.is_dir() and not force and any(folder.iterdir()):
        raise click.UsageError(f"{folder} is not empty; --force writes into it")


def write_whole(path: Path, text: str, encoding: str = "utf-8") -> None:
    """Write a text file so that it is there whole or not at all; line ends as they are.

    Raises:
        click.ClickException: If it cannot be written.
    """
    write_whole_bytes(path, text.encode(encoding))


def write_whole_bytes(path: Path, content: bytes) -> None:
    """The same for any file.

    Raises:
        click.ClickException: If it cannot be written.
    """
    place = path.resolve()
    part = place.with_name(f".{place.name}.{os.getpid()}.part")
    try:
        try:
            with part.open("xb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            part.replace(place)
        finally:
            part.unlink(missing_ok=True)
    except OSError as error:
        raise click.ClickException(f"{path} cannot be written: {error.strerror}") from None
