"""Cells that fail in a known way, checked once; and whether there is an OpenGL library."""

import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

from envelope.cell.load import load
from envelope.verify import check

CELL = Path(__file__).parents[1] / "cells" / "accepted" / "single.yaml"
TRY = "from envelope.scene.draw import Canvas\nwith Canvas() as canvas: canvas.clear()"


@cache
def no_opengl() -> str:
    """Why nothing can be drawn here; empty if something can. Tried in a child: it may die."""
    root = Path(__file__).parents[2]
    tried = subprocess.run(
        [sys.executable, "-c", TRY], cwd=root, capture_output=True, timeout=120, check=False
    )
    return "" if tried.returncode == 0 else f"no OpenGL library: status {tried.returncode}"


def pytest_runtest_setup(item):
    if item.get_closest_marker("opengl") and no_opengl():
        pytest.skip(no_opengl())


@cache
def checked(*settings, placements=None):
    cell = load(CELL, ("stacks.main.layers=1", *settings))
    return cell, check(cell, placements=placements)


@pytest.fixture(scope="session")
def clash():
    """Cartons put down beside the pedestal: the carried one runs into its neighbour."""
    return checked("pallets.A.at.x=230", placements=("A/1/7",))


@pytest.fixture(scope="session")
def out_of_reach():
    """A pallet too far away."""
    return checked("pallets.A.at.x=1000", placements=("A/1/1",))


@pytest.fixture(scope="session")
def over_the_edge():
    """Cartons that grow over the edge of the deck."""
    return checked("tolerances.carton_size=5", placements=("A/1/1",))


@pytest.fixture(scope="session")
def sound():
    """A cell with nothing wrong."""
    return checked(placements=("A/1/1",))
