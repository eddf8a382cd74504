"""The process that draws may fail in any way; what is seen of it is one line."""

import faulthandler
import os
import signal
import sys
from pathlib import Path
from types import ModuleType

import pytest

from envelope.cell.load import load
from envelope.cell.starter import starter_cell
from envelope.checks.finding import Judged, Result
from envelope.cli import pictures
from tests.report import synthetic as made

# Python 3.12 and later warn of every fork in a process with threads.
pytestmark = pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")


@pytest.fixture
def drawing(monkeypatch):
    """Replace what the child draws, and start it by fork so that it sees the replacement."""
    if not hasattr(os, "fork"):
        pytest.skip("the replacement reaches the child by fork only")
    context = pictures.multiprocessing.get_context("fork")
    monkeypatch.setattr(pictures.multiprocessing, "get_context", lambda method: context)

    def replace(function):
        module = ModuleType("envelope.scene.pictures")
        module.draw_problems = function
        monkeypatch.setitem(sys.modules, "envelope.scene.pictures", module)

    return replace


def drawn(folder):
    result = made.result(made.judged(1, made.CLASH))
    return pictures.draw_apart(made.cell_of(result), result, folder)


def test_pictures_end_up_in_the_folder(drawing, tmp_path):
    drawing(lambda cell, result, folder: (folder / "A-1-1.png").write_bytes(b"picture"))
    folder = tmp_path / "shots"
    answer = drawn(folder)
    assert answer.trouble is None
    assert answer.paths == (folder / "A-1-1.png",)
    assert (folder / "A-1-1.png").read_bytes() == b"picture"
    assert [path.name for path in tmp_path.iterdir()] == ["shots"]


def test_older_files_are_kept_and_counted(drawing, tmp_path):
    drawing(lambda cell, result, folder: (folder / "new.png").write_bytes(b"new"))
    folder = tmp_path / "shots"
    folder.mkdir()
    (folder / "old.png").write_bytes(b"old")
    answer = drawn(folder)
    assert (len(answer.paths), answer.older) == (1, 1)
    assert (folder / "old.png").read_bytes() == b"old"


def test_a_child_that_dies_is_one_line_with_the_packages(drawing, tmp_path):
    def crash(cell, result, folder):
        (folder / "half.png").write_bytes(b"half")
        faulthandler.disable()  # which pytest has set up, and a user has not
        os.kill(os.getpid(), signal.SIGSEGV)

    drawing(crash)
    answer = drawn(tmp_path / "shots")
    assert answer.paths == ()
    assert "status -11" in answer.trouble
    assert "libegl1 libgl1-mesa-dri libx11-6" in answer.trouble
    assert "\n" not in answer.trouble
    assert list(tmp_path.iterdir()) == []  # no half of a picture


def test_a_child_that_raises_is_one_line(drawing, tmp_path):
    def fail(cell, result, folder):
        raise RuntimeError("no\ndisplay")

    drawing(fail)
    answer = drawn(tmp_path / "shots")
    assert answer.trouble.startswith("No pictures: RuntimeError: no display. ")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_made_is_one_line(drawing, tmp_path):
    drawing(lambda cell, result, folder: None)
    answer = drawn(Path("/proc/nowhere") if sys.platform == "linux" else tmp_path / "a" / "b")
    assert answer.trouble.startswith("No pictures: ")
    assert "cannot be written" in answer.trouble


def test_a_process_started_before_draws_what_it_is_asked_for_again_and_again(drawing, tmp_path):
    def draw(cell, result, folder):
        if (tmp_path / "one").exists():
            raise RuntimeError("once is enough")
        (folder / "A-1-1.png").write_bytes(b"picture")

    drawing(draw)
    result = made.result(made.judged(1, made.CLASH))
    cell = made.cell_of(result)
    with pictures.Drawing(ahead=False) as process:
        assert pictures.draw_apart(cell, result, tmp_path / "one", process).trouble is None
        again = pictures.draw_apart(cell, result, tmp_path / "two", process)
        assert again.trouble.startswith("No pictures: RuntimeError: once is enough. ")
        child = process._child
        assert child.is_alive()
    assert not child.is_alive()


def test_a_process_that_died_while_it_got_ready_is_one_line(drawing, tmp_path):
    def crash():
        faulthandler.disable()
        os.kill(os.getpid(), signal.SIGSEGV)

    drawing(None)
    sys.modules["envelope.scene.pictures"].open_ahead = crash
    result = made.result(made.judged(1, made.CLASH))
    with pictures.Drawing(ahead=True) as process:
        for name in ("one", "two"):
            answer = pictures.draw_apart(made.cell_of(result), result, tmp_path / name, process)
            assert "ended with status -11" in answer.trouble
    assert list(tmp_path.iterdir()) == []


@pytest.mark.opengl
def test_a_process_of_its_own_draws_the_cell(tmp_path):
    """The real child, started as on every platform, with the real drawing."""
    (tmp_path / "cell.yaml").write_text(starter_cell(), encoding="utf-8")
    cell = load(tmp_path / "cell.yaml")
    first = Judged(cell.pallets[0].placements[0], (made.PASS,), None)
    result = Result(cell.name, cell.sha256, (first,))
    answer = pictures.draw_apart(cell, result, tmp_path / "shots")
    if answer.trouble is not None and "ended with status" in answer.trouble:
        pytest.skip(answer.trouble)
    assert answer.trouble is None
    assert [path.name for path in answer.paths] == ["overview.png"]
    assert answer.paths[0].read_bytes().startswith(b"\x89PNG")
