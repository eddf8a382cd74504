"""Every file in cells/accepted loads; every file in cells/rejected is refused as it says."""

import pickle
import re
from pathlib import Path

import numpy as np
import pytest

from envelope.cell.errors import CellError
from envelope.cell.load import load

CELLS = Path(__file__).parents[1] / "cells"
ACCEPTED = sorted((CELLS / "accepted").glob("*.yaml"))
REJECTED = sorted((CELLS / "rejected").glob("*.yaml"))
EXPECT = re.compile(r"# expect: line=(\d+|none) key=(.*?) text=(.*)")
# Words of the libraries behind the door, which say nothing to a user.
LEAKS = (
    *("Input should", "validation error", "type=", "pydantic", "ruamel", "NoneType", "tuple"),
    *("dict", "valid number", "Traceback", "Field required", "Extra inputs", "?choice"),
)


def test_there_are_many():
    assert len(ACCEPTED) >= 5
    assert len(REJECTED) >= 40


@pytest.mark.parametrize("path", ACCEPTED, ids=lambda path: path.stem)
def test_accepted(path):
    cell = load(path)
    assert cell.pallets
    assert all(pallet.placements for pallet in cell.pallets)
    copy = pickle.loads(pickle.dumps(cell))
    assert copy.sha256 == cell.sha256
    q = np.array([[(joint.lower + joint.upper) / 2 for joint in cell.mounted.arm.joints]])
    poses = cell.mounted.arm.chain.flange_poses(q)
    assert np.array_equal(copy.mounted.arm.chain.flange_poses(q), poses)
    assert np.array_equal(copy.mounted.arm.solve(poses), cell.mounted.arm.solve(poses), True)


@pytest.mark.parametrize("path", REJECTED, ids=lambda path: path.stem)
def test_rejected(path):
    """Exactly the problems named at the head, no other: an error must not bring more errors."""
    expected = EXPECT.findall(path.read_text(encoding="utf-8"))
    assert expected
    with pytest.raises(CellError) as caught:
        load(path)
    problems = caught.value.problems
    found = {(str(p.line).lower(), p.key) for p in problems}
    assert found == {(line, key) for line, key, _ in expected}, str(caught.value)
    for line, key, text in expected:
        mine = [str(p) for p in problems if (str(p.line).lower(), p.key) == (line, key)]
        assert any(text in message for message in mine), mine
    for message in str(caught.value).splitlines():
        assert not any(word in message for word in LEAKS), message
        assert str(path) in message
