"""Pictures: there, not blank, about the right bodies, the same every time."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from envelope.cli import pictures as apart
from envelope.scene import colours
from envelope.scene.choose import problems
from envelope.scene.instant import Scenery
from envelope.scene.pictures import draw_problems, draw_spots
from envelope.scene.sheet import MAIN, SIZE
from envelope.scene.subjects import mark_of, scene_of

ROOT = Path(__file__).parents[2]


WHOLE = (20, 160, 1560, 820)  # the pane of the overview


@pytest.fixture(scope="module")
def clash_pictures(clash, tmp_path_factory):
    return draw_problems(*clash, tmp_path_factory.mktemp("clash"))


def pixels(path, box=MAIN):
    left, top, width, height = box
    with Image.open(path) as image:
        assert image.size == SIZE
        return np.asarray(image.convert("RGB"), dtype=float)[
            top : top + height, left : left + width
        ]


def share_of(colour, picture):
    """Share of a picture that has a colour, in any light: the same hue, and as strong."""
    colour = np.array(colour, dtype=float)
    light = (picture @ colour) / (colour @ colour)
    off = np.abs(picture - light[..., None] * colour).max(axis=2)
    return float(((off < 6) & (light > 0.4)).mean())


@pytest.mark.opengl
def test_a_clash_shows_both_bodies_in_their_colours(clash_pictures):
    paths, folder = clash_pictures, clash_pictures[0].parent
    assert [path.name for path in paths] == ["overview.png", "A-1-7-collision.png"]
    assert sorted(path.name for path in folder.iterdir()) == sorted(p.name for p in paths)
    spot = pixels(paths[1])
    assert spot.std() > 20
    assert share_of(colours.FIRST, spot) > 0.02
    assert share_of(colours.SECOND, spot) > 0.02


@pytest.mark.opengl
def test_the_place_of_an_overlap_is_in_the_large_view(clash_pictures):
    spot = pixels(clash_pictures[1])
    yellow = (spot[..., 0] > 180) & (spot[..., 1] > 150) & (spot[..., 2] < 90)
    rows, columns = np.nonzero(yellow)
    assert len(rows) > 500
    height, width = yellow.shape
    assert abs(rows.mean() - height / 2) < height / 4
    assert abs(columns.mean() - width / 2) < width / 4


@pytest.mark.opengl
def test_the_overview_shows_what_fails(clash_pictures):
    overview = pixels(clash_pictures[0], WHOLE)
    assert share_of(colours.BY_VERDICT["fail"], overview) > 0.001


@pytest.mark.opengl
def test_a_sound_cell_has_an_overview_alone_and_no_alarm_in_it(sound, tmp_path):
    paths = draw_problems(*sound, tmp_path)
    assert [path.name for path in paths] == ["overview.png"]
    overview = pixels(paths[0], WHOLE)
    assert overview.std() > 10
    for colour in (colours.VERMILLION, colours.ORANGE, colours.REDDISH_PURPLE):
        assert share_of(colour, overview) == 0.0


@pytest.mark.opengl
def test_reach_without_a_motion_has_a_picture_of_what_is_reached(out_of_reach, tmp_path):
    paths = draw_problems(*out_of_reach, tmp_path)
    assert [path.name for path in paths] == ["overview.png", "A-1-1-reach.png"]
    spot = pixels(paths[1])
    assert share_of(colours.FIRST, spot) > 0.005
    green = (spot[..., 1] - spot[..., 0] > 25) & (spot[..., 1] > spot[..., 2])
    assert green.mean() > 0.05


@pytest.mark.opengl
def test_stacking_has_a_picture_of_the_carton_and_the_deck(over_the_edge, tmp_path):
    paths = draw_problems(*over_the_edge, tmp_path)
    assert [path.name for path in paths] == ["overview.png", "A-1-1-stacking.png"]
    spot = pixels(paths[1])
    assert share_of(colours.FIRST, spot) > 0.01
    assert share_of(colours.SECOND, spot) > 0.01


@pytest.mark.opengl
def test_the_same_result_is_drawn_to_the_same_bytes(clash, clash_pictures, tmp_path):
    again = draw_problems(*clash, tmp_path)
    assert [p.read_bytes() for p in again] == [p.read_bytes() for p in clash_pictures]


@pytest.mark.opengl
def test_a_picture_that_cannot_be_written_leaves_no_half(sound, tmp_path, monkeypatch):
    def full(self, file, **_):
        Path(file).write_bytes(b"half")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Image.Image, "save", full)
    with pytest.raises(OSError, match="No space"):
        draw_problems(*sound, tmp_path)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.opengl
def test_a_child_process_draws_what_it_is_sent(clash, tmp_path):
    drawn = apart.draw_apart(*clash, tmp_path / "shots")
    assert drawn.trouble is None
    assert [path.name for path in drawn.paths] == ["A-1-7-collision.png", "overview.png"]


def test_a_drawing_process_that_is_killed_leaves_the_verdict_and_one_line(tmp_path):
    """The drawing library is replaced by one that ends its process as a missing OpenGL does."""
    (tmp_path / "vtkmodules.py").write_text(
        "import os, signal\nos.kill(os.getpid(), signal.SIGSEGV)\n"
    )
    command = [
        sys.executable, "-m", "envelope", "check", str(ROOT / "tests/cells/accepted/single.yaml"),
        "--set", "stacks.main.layers=1", "--placement", "A/1/1", "--pictures", "shots",
    ]  # fmt: skip
    path = os.pathsep.join([str(tmp_path), str(ROOT)])
    ran = subprocess.run(
        command, cwd=tmp_path, env={**os.environ, "PYTHONPATH": path}, capture_output=True,
        text=True, timeout=120, check=False,
    )  # fmt: skip
    assert ran.returncode == 0
    assert "PASS" in ran.stdout
    lines = [line for line in ran.stderr.splitlines() if "No pictures" in line]
    assert len(lines) == 1
    assert apart.PACKAGES in lines[0]
    assert "Traceback" not in ran.stderr
    assert not (tmp_path / "shots").exists()


@pytest.mark.opengl
def test_single_spots_are_drawn_in_their_order(clash, tmp_path):
    cell, result = clash
    spots = problems(result)[:1]
    paths = draw_spots(cell, result, spots, tmp_path)
    assert [path.name for path in paths] == ["0.png"]
    assert [path.name for path in tmp_path.iterdir()] == ["0.png"]
    with Image.open(paths[0]) as picture:
        assert len(picture.convert("RGB").getcolors(1 << 24)) > 50


def test_a_mark_alone_is_the_mark_of_the_whole_scene(clash, out_of_reach):
    for cell, result in (clash, out_of_reach):
        problem = problems(result)[0]
        place = Scenery(cell, cell.pallets[0])
        whole = scene_of(place, problem.judged, problem.finding, result.placements)
        alone = mark_of(place, problem.judged, problem.finding, result.placements)
        assert whole.swept or whole.level  # which takes longest, and is left out for the mark
        assert whole.mark is not None
        assert alone is not None
        assert alone.start.tolist() == whole.mark.start.tolist()
        assert alone.end.tolist() == whole.mark.end.tolist()
        assert alone.text == whole.mark.text
