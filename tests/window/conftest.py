"""A display of our own for the window, where the virtual X server is installed."""

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from envelope.cell.load import load
from envelope.verify import check

ROOT = Path(__file__).parents[2]
CELL = ROOT / "tests" / "cells" / "accepted" / "single.yaml"
TRY = (
    "import pyvista as pv\n"
    "pv.Plotter(window_size=[64, 64]).show(auto_close=True, interactive=False)"
)


@dataclass(frozen=True)
class Display:
    """A virtual display; what is on it lies in a file."""

    name: str
    file: Path

    def environment(self) -> dict[str, str]:
        return {**os.environ, "DISPLAY": self.name}

    def pixels(self) -> np.ndarray:
        """What is on the screen, shape (height, width, 3); the X window dump format."""
        dump = self.file.read_bytes()
        head = np.frombuffer(dump, ">u4", 25)
        size, width, height, row, colours = (int(head[k]) for k in (0, 4, 5, 12, 19))
        start = size + 12 * colours
        rows = np.frombuffer(dump, np.uint8, row * height, start).reshape(height, row)
        return rows[:, : 4 * width].reshape(height, width, 4)[:, :, 2::-1]


@pytest.fixture(scope="session")
def display(tmp_path_factory):
    """A display on which the drawing library can open a window; skipped where it cannot."""
    server = shutil.which("Xvfb")
    if server is None:
        pytest.skip("the virtual X server (Debian's package xvfb) is not installed")
    folder = tmp_path_factory.mktemp("display")
    reading, writing = os.pipe()
    command = [server, "-displayfd", str(writing), "-screen", "0", "1300x850x24"]
    # Without -noreset the server starts anew whenever its last window is closed, and shuts out who
    # comes at that moment.
    command += ["-fbdir", str(folder), "-nolisten", "tcp", "-noreset"]
    with subprocess.Popen(command, pass_fds=[writing], stderr=subprocess.DEVNULL) as running:
        os.close(writing)
        try:
            number = os.read(reading, 16).decode().strip()
            if not number:
                pytest.skip("the virtual X server does not start here")
            found = Display(f":{number}", folder / "Xvfb_screen0")
            tried = subprocess.run(
                [sys.executable, "-c", TRY], env=found.environment(), capture_output=True,
                timeout=120, check=False,
            )  # fmt: skip
            if tried.returncode != 0:
                pytest.skip(f"no OpenGL on a display: status {tried.returncode}")
            yield found
        finally:
            os.close(reading)
            running.terminate()


@cache
def judged(*settings, placements=None):
    cell = load(CELL, ("stacks.main.layers=1", *settings))
    return cell, check(cell, placements=placements)


@pytest.fixture(scope="session")
def clash():
    """Cartons put down beside the pedestal; two placements judged, the later one fails."""
    return judged("pallets.A.at.x=230", placements=("A/1/2", "A/1/7"))
