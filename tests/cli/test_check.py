import csv
import json
from dataclasses import replace
from pathlib import Path

import pytest

from envelope.cell.errors import CellError, Problem
from envelope.cell.load import load
from envelope.cell.starter import starter_cell
from envelope.cli import files, pictures
from envelope.cli.main import main
from envelope.cli.pictures import Drawn
from tests.report import synthetic as made


@pytest.mark.parametrize(
    ("findings", "status"),
    [
        ([made.PASS, made.PASS], 0),
        ([made.PASS, made.NEAR], 0),
        ([made.PASS, made.CLASH], 1),
        ([made.PASS, made.NOT_CHECKED], 1),  # what was not checked is not good
    ],
)
def test_exit_status_is_the_verdict(answers, findings, status, capsys):
    answers.judged = tuple(made.judged(n, f) for n, f in enumerate(findings, start=1))
    assert main(["check", "cell.yaml", "--quiet"]) == status
    assert len(capsys.readouterr().out.splitlines()) == 1


def test_a_placement_without_an_answer_is_never_a_pass(answers, capsys):
    answers.judged = (made.judged(1, made.PASS), made.judged(2))
    assert main(["check", "cell.yaml"]) == 70
    assert "no answer for A/1/2" in capsys.readouterr().err


def test_a_placement_that_the_check_forgot_is_never_a_pass(answers, capsys):
    answers.door = lambda path: made.cell((made.placement(1), made.placement(2)))
    assert main(["check", "cell.yaml"]) == 70
    assert "no answer for A/1/2" in capsys.readouterr().err


def test_the_answer_is_on_standard_output_and_nothing_else(answers, capsys):
    answers.judged = (made.judged(1, made.CLASH),)
    assert main(["check", "cell.yaml", "--results", "r.json"]) == 1
    out, err = capsys.readouterr()
    assert "fail: collision" in out
    assert out.endswith("FAIL: of 1 placement 1 fails.\n")
    assert err == "Wrote r.json\n"


def test_files_hold_the_result(answers):
    answers.judged = (made.judged(1, made.CLASH), made.judged(2, made.PASS))
    assert main(["check", "cell.yaml", "--results", "r.json", "--csv", "t.csv"]) == 1
    data = json.loads(Path("r.json").read_text(encoding="utf-8"))
    assert data["counts"] == {
        "placements": 2,
        "pass": 1,
        "marginal": 0,
        "fail": 1,
        "not_checked": 0,
    }
    with Path("t.csv").open(encoding="utf-8-sig", newline="") as file:
        assert [row["placement"] for row in csv.DictReader(file)] == ["A/1/1", "A/1/2"]
    assert sorted(path.name for path in Path().iterdir()) == ["r.json", "t.csv"]


def test_settings_and_jobs_are_handed_on(answers):
    values = ["--set", "pallets.A.at.x=650", "--set", "name=x = y"]
    assert main(["check", "cell.yaml", *values, "--jobs", "3"]) == 0
    assert answers.asked["settings"] == ("pallets.A.at.x=650", "name=x = y")
    assert answers.asked["jobs"] == 3
    assert answers.asked["placements"] is None


def test_selection(answers, capsys):
    answers.judged = (
        made.judged(1, made.PASS),
        made.judged(2, made.PASS, layer=2),
        made.judged(3, made.PASS, layer=2),
    )
    assert main(["check", "cell.yaml", "--layer", "2", "--quiet"]) == 0
    assert set(answers.asked["placements"]) == {"A/2/2", "A/2/3"}
    assert "Only these were checked, of 3 in the cell." in capsys.readouterr().out
    assert main(["check", "cell.yaml", "--layer", "2", "--placement", "A/2/3"]) == 0
    assert set(answers.asked["placements"]) == {"A/2/3"}
    assert main(["check", "cell.yaml", "--pallet", "A"]) == 0
    assert len(answers.asked["placements"]) == 3


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (["--placement", "A/1/9"], 'no placement "A/1/9" is to be checked'),
        (["--placement", "A/1/1", "--placement", ""], 'no placement ""'),
        (["--pallet", "B"], 'no pallet "B"'),
        (["--layer", "7"], 'no layer "7"'),
        (["--placement", "A/1/1", "--layer", "2"], "no placement is in all of"),
        (["--jobs", "0"], "0 is not in the range"),
        (["--layer", "x"], "'x' is not a valid integer"),
        (["--nonsense"], "No such option"),
    ],
)
def test_a_wrong_option_is_named_and_nothing_is_written(answers, asked, said, capsys):
    answers.judged = (made.judged(1, made.PASS), made.judged(2, made.PASS, layer=2))
    assert main(["check", "cell.yaml", "--results", "r.json", *asked]) == 2
    out, err = capsys.readouterr()
    assert said in err
    assert out == ""
    assert list(Path().iterdir()) == []


def test_a_finished_pallet_leaves_nothing_to_check(answers, capsys):
    cell = made.cell((made.placement(1),))
    answers.door = lambda path: replace(cell, pallets=(replace(cell.pallets[0], done=1),))
    assert main(["check", "cell.yaml"]) == 2
    assert "nothing to check" in capsys.readouterr().err


def test_errors_of_the_cell_file_stand_one_a_line(answers, capsys):
    def door(path):
        raise CellError(
            [
                Problem("cell.yaml", 5, "arm.at.z", "-1 is not a height", "write 0 or more"),
                Problem("cell.yaml", 9, "pallets", "is empty"),
            ]
        )

    answers.door = door
    assert main(["check", "cell.yaml", "--results", "r.json"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.splitlines() == [
        "cell.yaml:5: arm.at.z: -1 is not a height; write 0 or more",
        "cell.yaml:9: pallets: is empty",
    ]
    assert list(Path().iterdir()) == []


def test_nothing_is_overwritten_without_force(answers, capsys):
    Path("r.json").write_text("mine")
    assert main(["check", "cell.yaml", "--results", "r.json"]) == 2
    assert "--force writes over it" in capsys.readouterr().err
    assert Path("r.json").read_text() == "mine"
    assert "path" not in answers.asked  # refused before any work
    assert main(["check", "cell.yaml", "--results", "r.json", "--force"]) == 0
    assert json.loads(Path("r.json").read_text())["format"] == 1


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--results", "cell.yaml"], "may not be written over"),
        (["--results", "./cell.yaml"], "may not be written over"),
        (["--results", "one", "--csv", "./one"], "named for two outputs"),
        (["--results", "no/such/r.json"], "there is no folder"),
        (["--results", "folder"], "is a folder"),
        (["--pictures", "cell.yaml"], "is a file"),
        (["--pictures", "no/such"], "there is no folder"),
    ],
)
def test_outputs_that_cannot_be_written_are_refused_even_with_force(answers, options, said, capsys):
    Path("cell.yaml").write_text("mine")
    Path("folder").mkdir()
    assert main(["check", "cell.yaml", "--force", *options]) == 2
    assert said in capsys.readouterr().err
    assert Path("cell.yaml").read_text() == "mine"
    assert "path" not in answers.asked


def test_a_file_is_written_whole_or_not_at_all(monkeypatch, answers, capsys):
    def full(descriptor):
        raise OSError(28, "No space left on device")

    Path("r.json").write_text("mine")
    monkeypatch.setattr(files.os, "fsync", full)
    assert main(["check", "cell.yaml", "--results", "r.json", "--force"]) == 2
    out, err = capsys.readouterr()
    assert "r.json cannot be written: No space left on device" in err
    assert out.endswith("PASS: 1 placement passes.\n")  # the answer is not lost
    assert Path("r.json").read_text() == "mine"
    assert [path.name for path in Path().iterdir()] == ["r.json"]


def test_a_full_folder_is_left_alone_without_force(answers, capsys):
    Path("shots").mkdir()
    Path("shots/mine.png").write_text("mine")
    assert main(["check", "cell.yaml", "--pictures", "shots"]) == 2
    assert "is not empty" in capsys.readouterr().err


def test_pictures_that_fail_leave_the_verdict_alone(monkeypatch, answers, capsys):
    monkeypatch.setattr(pictures, "draw_apart", lambda *_: Drawn((), "No pictures: why"))
    assert main(["check", "cell.yaml", "--pictures", "shots"]) == 0
    out, err = capsys.readouterr()
    assert out.endswith("PASS: 1 placement passes.\n")
    assert err == "No pictures: why\n"


def test_pictures_are_counted(monkeypatch, answers, capsys):
    drawn = Drawn((Path("shots/a.png"), Path("shots/b.png")), older=1)
    monkeypatch.setattr(pictures, "draw_apart", lambda *_: drawn)
    assert main(["check", "cell.yaml", "--pictures", "shots"]) == 0
    assert "Drew 2 pictures in shots (1 older files are there" in capsys.readouterr().err


def test_interrupted(answers, capsys):
    def door(path):
        raise KeyboardInterrupt

    answers.door = door
    assert main(["check", "cell.yaml", "--results", "r.json"]) == 130
    assert "Interrupted." in capsys.readouterr().err
    assert list(Path().iterdir()) == []


def test_a_mistake_of_the_program_is_one_line_and_no_verdict(answers, monkeypatch, capsys):
    def door(path):
        raise ZeroDivisionError("deep\ninside")

    monkeypatch.delenv("ENVELOPE_DEBUG", raising=False)
    answers.door = door
    assert main(["check", "cell.yaml"]) == 70
    out, err = capsys.readouterr()
    assert out == ""
    assert len(err.splitlines()) == 1
    assert "ZeroDivisionError: deep inside" in err
    assert "ENVELOPE_DEBUG=1" in err
    monkeypatch.setenv("ENVELOPE_DEBUG", "1")
    with pytest.raises(ZeroDivisionError):
        main(["check", "cell.yaml"])


def test_a_model_of_the_cell_is_written(tmp_path):
    """The real door, the real check, the real file: of one placement, to be quick."""
    (tmp_path / "cell.yaml").write_text(starter_cell(), encoding="utf-8")
    asked = ["check", "cell.yaml", "--quiet", "--glb", "cell.glb"]
    first = load("cell.yaml").pallets[0].placements[0].id
    assert main([*asked, "--placement", first]) == 0
    assert Path("cell.glb").read_bytes().startswith(b"glTF")
    assert main([*asked, "--placement", first]) == 2  # never over what is there
