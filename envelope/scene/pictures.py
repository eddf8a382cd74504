"""Pictures of problem spots, and one of the whole cell, as PNG files."""

from collections.abc import Generator, Sequence
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path

from ..cell.model import Cell
from ..checks.finding import Result
from .choose import Problem, chosen, file_names, problem_of, problems, tightest_of
from .draw import Canvas
from .instant import Scenery
from .overview import overview
from .problem_picture import problem_picture
from .sheet import Sheet
from .subjects import scene_of

_KEPT: list[Canvas] = []  # of a process that does nothing but draw


def open_ahead() -> None:
    """Open a canvas for all pictures that this process is going to draw."""
    for name in ("scipy.optimize", "scipy.spatial"):  # needed for where bodies meet, slow to load
        import_module(name)
    canvas = Canvas()
    canvas.warm_up()
    _KEPT.append(canvas)


@contextmanager
def _canvas() -> Generator[Canvas]:
    """The canvas of this process, or one for these pictures."""
    if _KEPT:
        yield _KEPT[0]
        return
    with Canvas() as canvas:
        yield canvas


def draw_problems(cell: Cell, result: Result, directory: Path) -> list[Path]:
    """Draw the whole cell and its problem spots, the worst of each kind.

    Args:
        cell: The cell.
        result: What a check of it found.
        directory: An existing folder for the pictures: `overview.png`, and one for each
            problem spot such as `A-3-5-collision.png`.

    Returns:
        The files written, the overview first.

    Raises:
        OSError: A file cannot be written.
    """
    found = problems(result)
    picked = chosen(found)
    written: list[Path] = []
    with _canvas() as canvas:
        scenery = {pallet.name: Scenery(cell, pallet) for pallet in cell.pallets}
        sheet = overview(canvas, scenery, result, len(found), len(picked))
        written.append(_saved(sheet, directory / "overview.png"))
        for name, problem in zip(file_names(picked), picked, strict=True):
            place = scenery[problem.judged.placement.pallet]
            scene = scene_of(place, problem.judged, problem.finding, result.placements)
            sheet = problem_picture(canvas, scene, problem)
            written.append(_saved(sheet, directory / name))
    return written


def draw_spots(cell: Cell, result: Result, spots: Sequence[Problem], directory: Path) -> list[Path]:
    """Draw these problem spots and nothing else, as `0.png`, `1.png` and so on.

    Args:
        cell: The cell.
        result: What a check of it found.
        spots: Which placement, and which of its findings.
        directory: An existing folder.

    Raises:
        OSError: A file cannot be written.
    """
    written: list[Path] = []
    with _canvas() as canvas:
        places = {pallet.name: pallet for pallet in cell.pallets}
        scenery: dict[str, Scenery] = {}
        for number, problem in enumerate(spots):
            name = problem.judged.placement.pallet
            if name not in scenery:
                scenery[name] = Scenery(cell, places[name])
            place = scenery[name]
            scene = scene_of(place, problem.judged, problem.finding, result.placements)
            sheet = problem_picture(canvas, scene, problem)
            # They are read again at once: to make them small is a waste of time.
            written.append(_saved(sheet, directory / f"{number}.png", compress_level=1))
    return written


def draw_one(cell: Cell, result: Result, placement: str | None, path: Path) -> None:
    """Draw one placement at its worst or tightest spot; without a placement the whole cell.

    Args:
        cell: The cell.
        result: What a check of it found; the placement is in it.
        placement: Its id, or None.
        path: The file to be written, a PNG.

    Raises:
        OSError: The file cannot be written.
    """
    found = problems(result)
    with _canvas() as canvas:
        if placement is None:
            scenery = {pallet.name: Scenery(cell, pallet) for pallet in cell.pallets}
            sheet = overview(canvas, scenery, result, len(found), None)
        else:
            judged = next(j for j in result.placements if j.placement.id == placement)
            pallet = next(p for p in cell.pallets if p.name == judged.placement.pallet)
            problem = problem_of(judged) or tightest_of(judged)
            scene = scene_of(Scenery(cell, pallet), judged, problem.finding, result.placements)
            sheet = problem_picture(canvas, scene, problem)
        _saved(sheet, path)


def _saved(sheet: Sheet, path: Path, compress_level: int = 6) -> Path:
    """Write a file whole or not at all."""
    part = path.with_name(f".{path.name}.part")
    try:
        sheet.image.save(part, format="PNG", compress_level=compress_level)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    return path
