"""Arm files of families that slide: mm where they slide, degrees where they turn, or refused."""

from pathlib import Path

import pytest

from envelope.cell.errors import CellError
from envelope.cell.load import load_arm

MODELS = Path(__file__).parents[2] / "models" / "arms"
COLUMN, GANTRY = "column-arm-1600-50", "gantry-3200-80"


@pytest.fixture
def problems(write):
    """The problems of a generic arm's file with pieces of its text replaced."""

    def of(name, *changes):
        text = (MODELS / f"{name}.yaml").read_text(encoding="utf-8")
        for old, new in changes:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        with pytest.raises(CellError) as caught:
            load_arm(str(write(text, "arm.yaml")))
        return [(p.key, p.line, f"{p.found}; {p.right}") for p in caught.value.problems]

    return of


def test_slides_are_read_in_mm_and_turns_in_degrees():
    arm = load_arm(GANTRY)
    assert [joint.upper for joint in arm.joints[:3]] == pytest.approx([1.6, 1.1, 1.9])
    assert arm.joints[0].speed == pytest.approx(1.5)
    assert arm.joints[3].upper == pytest.approx(6.283185307)
    assert arm.chain.turning() == (False, False, False, True)
    assert load_arm(COLUMN).chain.turning() == (False, True, True, True)


def test_a_slide_told_as_a_turn_is_refused(problems):
    """1800 read as degrees would be 31 m of travel: everything would be in reach."""
    for change in (("slides: true, ", ""), ("slides: true", "slides: false")):
        ((key, line, said),) = problems(COLUMN, change)
        assert key in ("joints.0.name", "joints.0.slides", "joints[0].name", "joints[0].slides")
        assert line == 6
        assert "joint 1 of the family column arm slides; write slides: true" in said
        assert "mm" in said


def test_a_turn_told_as_a_slide_is_refused(problems):
    change = ("name: joint 4, range", "name: joint 4, slides: true, range")
    ((_, line, said),) = problems(GANTRY, change)
    assert line == 9
    assert "joint 4 of the family gantry turns; write slides: false" in said
    more = problems(GANTRY, change, ("name: joint 2, slides: true", "name: joint 2"))
    assert len(more) == 2


def test_coupled_limits_take_in_no_slide(problems):
    coupled = "coupled:\n  - {name: fold, factors: [1, 0, 1, 0], range: [-90, 90]}\nbodies:"
    ((_, line, said),) = problems(COLUMN, ("bodies:", coupled))
    assert line == 11
    assert "fold takes in joint 1, which slides" in said


def test_a_coupled_limit_of_joints_that_turn_is_taken(write):
    coupled = "coupled:\n  - {name: fold, factors: [0, 1, 1, 0], range: [-90, 90]}\nbodies:"
    text = (MODELS / f"{COLUMN}.yaml").read_text(encoding="utf-8").replace("bodies:", coupled)
    arm = load_arm(str(write(text, "arm.yaml")))
    assert arm.coupled[0].upper == pytest.approx(1.5707963)


@pytest.mark.parametrize("kind", ["moments", "moments_moving", "inertias"])
def test_no_load_turns_about_a_slide(problems, kind):
    old = "inertias: {joint 4: 9}"
    new = "inertias: {joint 4: 9, joint 1: 3}" if kind == "inertias" else f"{kind}: {{joint 1: 3}}"
    ((key, _, said),) = problems(COLUMN, (old, new))
    assert kind in key
    assert "joint 1 slides, so no load turns about it" in said


def test_the_family_keeps_to_its_dimensions(problems):
    ((_, _, said),) = problems(GANTRY, ("flange_height: 450, ", ""))
    assert "dimension 'flange_height' is missing" in said
    ((_, _, said),) = problems(COLUMN, ("upper_arm: 850", "upper_arm: 0"))
    assert "must be greater than 0" in said


def test_an_arm_as_urdf_is_refused_in_words(starter, errors):
    (said,) = errors(starter(("model: spherical-2600-60", "model: my/gantry.urdf")))
    assert "is URDF, which is written (envelope arms NAME --urdf) but not read" in said
    assert "it ends in .yaml" in said
    with pytest.raises(CellError, match="is URDF"):
        load_arm("gantry.URDF")
