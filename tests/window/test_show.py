"""`envelope show` as a user meets it: with a display, without one, and with a broken one."""

import os
import shutil
import subprocess
import sys
import time

import pytest
from PIL import Image

from tests.window.conftest import CELL, ROOT

SMALL = ["--set", "stacks.main.layers=1"]


def command(*more):
    return [sys.executable, "-m", "envelope", "show", str(CELL), *SMALL, *more]


def without_display(**more):
    kept = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")}
    return {**kept, "PYTHONPATH": str(ROOT), **more}


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="there is always a display")
@pytest.mark.parametrize("name", ["", ":9876"])
def test_without_a_display_it_says_what_to_do_instead(name):
    environment = without_display(**({"DISPLAY": name} if name else {}))
    ran = subprocess.run(
        command(), env=environment, capture_output=True, text=True, timeout=120, check=False
    )
    assert ran.returncode == 2
    assert "--picture" in ran.stderr
    assert "--glb" in ran.stderr
    assert "Traceback" not in ran.stderr
    assert ran.stdout == ""


def test_a_wrong_cell_file_is_told_before_anything_is_opened(tmp_path):
    wrong = tmp_path / "cell.yaml"
    wrong.write_text("name: [")
    ran = subprocess.run(
        [sys.executable, "-m", "envelope", "show", str(wrong), "--picture", "x.png"],
        env=without_display(), cwd=tmp_path, capture_output=True, text=True, timeout=120,
        check=False,
    )  # fmt: skip
    assert ran.returncode == 2
    assert "cell.yaml" in ran.stderr


@pytest.mark.opengl
def test_a_picture_needs_no_display_and_is_the_same_each_time(tmp_path):
    for name in ("first.png", "second.png"):
        ran = subprocess.run(
            command("--placement", "A/1/3", "--picture", str(tmp_path / name)),
            env=without_display(), capture_output=True, text=True, timeout=120, check=False,
        )  # fmt: skip
        assert ran.returncode == 0, ran.stderr
    first, second = ((tmp_path / name).read_bytes() for name in ("first.png", "second.png"))
    assert first == second
    with Image.open(tmp_path / "first.png") as image:
        assert image.size == (1600, 1000)


def test_a_placement_that_is_not_there_is_told():
    ran = subprocess.run(
        command("--placement", "A/9/9", "--picture", "x.png"), env=without_display(),
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert ran.returncode == 2
    assert "A/9/9" in ran.stderr


def test_a_3d_model_needs_no_display(tmp_path):
    ran = subprocess.run(
        command("--placement", "A/1/3", "--glb", str(tmp_path / "cell.glb")),
        env=without_display(), capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    content = (tmp_path / "cell.glb").read_bytes()
    assert content[:4] == b"glTF"
    assert b"carton/A/1/2" in content


def waited(condition, seconds=90.0):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.1)
    return False


def test_the_window_opens_answers_keys_and_closes(display):
    if shutil.which("xdotool") is None:
        pytest.skip("xdotool, which presses keys, is not installed")
    environment = {**display.environment(), "PYTHONPATH": str(ROOT)}

    def press(key):
        subprocess.run(
            ["xdotool", "mousemove", "640", "300", "key", key], env=environment, check=True,
            timeout=30,
        )  # fmt: skip

    assert display.pixels().max() == 0  # nothing is on it yet
    with subprocess.Popen(command("--placement", "A/1/3"), env=environment) as running:
        try:
            assert waited(lambda: display.pixels()[:300, :600].std() > 5)
            before = display.pixels()
            press("2")
            assert waited(lambda: (display.pixels() != before).any())
            press("q")
            assert running.wait(timeout=60) == 0
        finally:
            running.kill()
