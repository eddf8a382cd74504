"""The page for a browser, with still pictures of problem spots where they can be drawn."""

import tempfile
from pathlib import Path

from ..cell.model import Cell
from ..checks.finding import Result
from .answer import remark
from .files import write_whole
from .pictures import Drawn, draw_apart

NO_STILLS = (
    "Still pictures of the problem spots are left out: the machine that wrote this page could not "
    "draw them. The 3D view shows the same spots."
)


def write_page(result: Result, cell: Cell, path: Path, drawn: Drawn | None) -> None:
    """Write the page; drawn: the pictures, where they were asked for as well."""
    from ..report.html import as_html
    from ..scene.choose import chosen, file_names, problems

    picked = chosen(problems(result))
    names = dict(zip(file_names(picked), (p.judged.placement.id for p in picked), strict=True))
    with tempfile.TemporaryDirectory(prefix="envelope-") as folder:
        if drawn is None and picked:
            drawn = draw_apart(cell, result, Path(folder) / "stills")
            if drawn.trouble is not None:
                remark(drawn.trouble)
        paths = () if drawn is None else drawn.paths
        stills = {names[path.name]: path.read_bytes() for path in paths if path.name in names}
    missing = NO_STILLS if picked and not stills else ""
    write_whole(path, as_html(result, cell, stills, missing))
    remark(f"Wrote {path}")
