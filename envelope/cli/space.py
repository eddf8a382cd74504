"""`envelope space CELL`: what arm, tool and groups sweep doing this job."""

import shutil
import sys
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .answer import answer, remark
from .cores import cores
from .files import refuse_existing, write_whole
from .guard_options import asked_of, hint_options
from .main import COMMANDS, FAILS, GOOD
from .progress import progress_bar
from .survey_options import report_option

if TYPE_CHECKING:
    from ..cell.model import Cell
    from ..checks.finding import Result
    from ..surveys.guard_hints import Asked
    from ..surveys.space import Space

PIPED_WIDTH, NARROWEST, WIDEST = 100, 60, 120


@click.command(short_help=COMMANDS["space"])
@click.argument("cell", type=click.Path(path_type=Path))
@click.option("--glb", type=click.Path(path_type=Path), help="Write the solid for 3D viewers.")
@click.option("--stl", type=click.Path(path_type=Path), help="Write the solid for CAD, in mm.")
@click.option(
    "--svg", type=click.Path(path_type=Path), help="Draw outline, sides and cell for a browser."
)
@click.option(
    "--dxf", type=click.Path(path_type=Path), help="The same for CAD, in mm, where the cell stands."
)
@report_option
@click.option(
    "--tolerance",
    type=click.FloatRange(min=10.0, max=1000.0),
    default=50.0,
    show_default=True,
    help="How far the solid may stand out from the exact one [mm].",
)
@click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="KEY=VALUE",
    help="The same cell with one value changed, as in pallets.A.at.x=650.",
)
@click.option(
    "--jobs", type=click.IntRange(min=1), help="Number of processes.  [default: all cores]"
)
@hint_options
@click.option("--force", is_flag=True, help="Write over files that are already there.")
def space(
    cell: Path,
    tolerance: float,
    settings: tuple[str, ...],
    jobs: int | None,
    force: bool,
    **more: Any,
) -> int:
    """Say what room the job takes up: outline on the floor, heights, what is near.

    The solid is what arm, tool and groups sweep over all cycles. It contains the exact one.
    Placements without a motion take up nothing, and are named. Hints at distances that concern
    people are given only for what is asked: a planning estimate, no safety calculation.

    Exit status: 0 no placement fails, 1 at least one fails (the space is that of the motion
    that was found), 2 the input is wrong, 130 interrupted.
    """
    outputs = {name: more.pop(name) for name in ("glb", "stl", "svg", "dxf", "report")}
    refuse_existing([path for path in outputs.values() if path is not None], force, inputs=[cell])
    if not isfinite(tolerance):  # which no range refuses
        raise click.UsageError("--tolerance must be a number")
    asked = asked_of(more)
    if outputs["dxf"] is not None:
        _refuse_without_ezdxf()
    model, result = _checked(cell, settings, jobs)
    found = _space(model, result, tolerance)
    _tell(model, result, found, asked, outputs)
    _write_models(found, outputs["glb"], outputs["stl"])
    return GOOD if result.verdict in ("pass", "marginal") else FAILS


def _refuse_without_ezdxf() -> None:
    from importlib.util import find_spec

    if find_spec("ezdxf") is None:
        raise click.UsageError('--dxf needs ezdxf: python -m pip install "envelope-planner[dxf]"')


def _checked(path: Path, settings: tuple[str, ...], jobs: int | None) -> tuple["Cell", "Result"]:
    from ..cell.load import load
    from .selection import select

    cell = load(path, settings)
    select(cell, (), (), ())  # says so when there is nothing to do
    from ..verify import check as verify

    with progress_bar("checking", wanted=True) as progress:
        return cell, verify(cell, jobs=jobs or cores(), progress=progress)


def _space(cell: "Cell", result: "Result", tolerance: float) -> "Space":
    from ..surveys.space import operating_space

    try:
        return operating_space(cell, result, tolerance / 1e3)
    except ValueError as error:
        raise click.UsageError(f"--tolerance {tolerance:g} is too fine: {error}") from None


def _tell(
    cell: "Cell",
    result: "Result",
    found: "Space",
    asked: "Asked",
    outputs: dict[str, Path | None],
) -> None:
    """Print the answer, and draw it."""
    from ..report.space import as_text, down, up
    from ..report.space_drawing import VIEWS, drawing
    from ..surveys.guard_hints import hints
    from ..surveys.space_clearance import nearest
    from ..surveys.space_views import outline

    wanted = any(outputs[name] is not None for name in ("svg", "dxf", "report"))
    views = [outline(found.swept, axes) for axes, _ in (VIEWS if wanted else VIEWS[:1])]
    near = nearest(cell, result)
    low, high = (down(found.swept.box()[0][2]), up(found.highest.height))
    hinted = hints(asked, low, high, near)
    answer(as_text(cell.name, found, views[0], near, hinted, _width()))
    if not wanted:
        return
    drawn = drawing(cell, found, (views[0], views[1], views[2]), hinted)
    if outputs["svg"] is not None:
        from ..report.space_svg import as_svg

        write_whole(outputs["svg"], as_svg(drawn))
        remark(f"Wrote {outputs['svg']}")
    if outputs["dxf"] is not None:
        from ..report.space_dxf import as_dxf

        write_whole(outputs["dxf"], as_dxf(drawn))
        remark(f"Wrote {outputs['dxf']}")
    if outputs["report"] is not None:
        from ..report.space_page import space_page

        page = space_page(cell, found, (views[0], views[1], views[2]), near, hinted)
        write_whole(outputs["report"], page)
        remark(f"Wrote {outputs['report']}")


def _write_models(found: "Space", glb: Path | None, stl: Path | None) -> None:
    if glb is None and stl is None:
        return
    from ..geometry.voxels import surface
    from ..report.space import CAUTION, WHAT
    from ..scene import space_model

    points, triangles = surface(found.swept.grid, found.swept.taken)
    if glb is not None:
        about = {"about": WHAT, "caution": CAUTION, "notes": "; ".join(found.notes)}
        _write(glb, space_model.glb(points, triangles, about))
    if stl is not None:
        header = "Operating space [mm]. Planning estimate, no risk assessment."
        _write(stl, space_model.stl(points, triangles, header))


def _write(path: Path, content: bytes) -> None:
    from .files import write_whole_bytes

    write_whole_bytes(path, content)
    remark(f"Wrote {path}")


def _width() -> int:
    if sys.stdout.isatty():
        return min(max(shutil.get_terminal_size().columns, NARROWEST), WIDEST)
    return PIPED_WIDTH
