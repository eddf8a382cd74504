import json
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from envelope.cell.load import arm_names, load
from envelope.cli.main import main


def test_arms_are_listed(capsys):
    assert main(["arms"]) == 0
    out = capsys.readouterr().out
    assert [line.split()[0] for line in out.splitlines()[1:]] == list(arm_names())


def test_one_arm_shows_its_joints(capsys):
    assert main(["arms", "palletizer-3000-160"]) == 0
    out = capsys.readouterr().out
    assert [line.split()[:2] for line in out.splitlines()[3:7]] == [
        ["joint", str(number)] for number in (1, 2, 3, 4)
    ]
    assert "deg for -1 joint 2 +1 joint 3" in out


def test_an_arm_is_written_as_urdf(capsys):
    assert main(["arms", "spherical-1300-12", "--urdf", "arm.urdf"]) == 0
    assert ET.parse("arm.urdf").getroot().tag == "robot"
    before = Path("arm.urdf").read_bytes()
    assert main(["arms", "spherical-1800-25", "--urdf", "arm.urdf"]) == 2
    assert Path("arm.urdf").read_bytes() == before
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["arms", "spherical-1300-21"], 'did you mean "spherical-1300-12"?'),
        (["arms", "no/such.yaml"], "there is no such file"),
        (["arms", "--urdf", "f.urdf"], "--urdf needs the NAME"),
        (["arms", "nonsense", "--urdf", "f.urdf"], "no generic arm"),
        (["schema", "--output", "no/such/folder"], "there is no folder"),
        (["new", "no/such/folder"], "there is no folder"),
        (["new", "."], "is a folder"),
        (["new"], "Missing argument 'FILE'"),
    ],
)
def test_wrong_input_is_status_2_and_writes_nothing(arguments, said, capsys):
    assert main(arguments) == 2
    out, err = capsys.readouterr()
    assert said in err
    assert out == ""
    assert list(Path().iterdir()) == []


def test_the_schema_names_the_keys_of_the_cell_file(capsys):
    assert main(["schema"]) == 0
    shown = capsys.readouterr().out
    keys = json.loads(shown)["properties"]
    assert {"name", "arm", "tool", "cartons", "infeed", "pallets", "patterns"} <= set(keys)
    assert main(["schema", "--output", "cell.schema.json"]) == 0
    assert Path("cell.schema.json").read_text(encoding="utf-8") == shown


def test_the_starter_cell_is_a_cell_and_is_not_written_over(capsys):
    assert main(["new", "my-cell.yaml"]) == 0
    cell = load("my-cell.yaml")
    assert len(cell.pallets[0].placements) > 8
    Path("my-cell.yaml").write_text("mine")
    assert main(["new", "my-cell.yaml"]) == 2
    assert Path("my-cell.yaml").read_text() == "mine"
    assert main(["new", "my-cell.yaml", "--force"]) == 0
    assert load("my-cell.yaml").name == cell.name
