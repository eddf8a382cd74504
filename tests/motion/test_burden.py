"""Tool and cartons at the flange: what hangs where, in every turn."""

from pathlib import Path

import numpy as np
import pytest

from envelope.cell.load import load, load_tool
from envelope.motion.burden import burden, of_carton, of_tool

OATS = "cells/oats-two-heads.yaml"


def group(cell, name):
    return next(group for group in cell.groups if group.name == name)


def test_a_pair_by_hand():
    cell = load(OATS)
    all_ = burden(cell.tool, group(cell, "pair"))
    assert all_.mass == pytest.approx(8 + 2 * 6)
    # Tool 8 kg at 118 mm; cartons of 6 kg hang 230 / 2 below lips at 220 mm.
    assert all_.centre == pytest.approx([0, 0, (8 * 0.118 + 12 * 0.335) / 20])
    carton = 6 * (0.4**2 + 0.26**2) / 12 + 6 * 0.2**2
    assert all_.inertia[2, 2] == pytest.approx(2 * carton + cell.tool.inertia[2, 2])


def test_a_single_under_one_head_hangs_where_that_head_is():
    cell = load(OATS)
    single = group(cell, "single")
    for turn in (0.0, np.pi):  # the left head holds it, however the tool is turned
        found = of_carton(cell.tool, single, turn, 0)
        assert found.centre == pytest.approx([-0.2, 0, 0.335], abs=1e-12)


def test_what_was_put_down_hangs_no_more():
    cell = load(OATS)
    pair = group(cell, "pair")
    empty = burden(cell.tool, pair, carried=())
    assert empty.mass == cell.tool.mass
    assert empty.centre == pytest.approx(cell.tool.centre)
    assert empty.inertia == pytest.approx(cell.tool.inertia)
    one = burden(cell.tool, pair, carried=(1,))
    assert one.mass == 14
    assert one.centre[0] == pytest.approx(6 * 0.2 / 14)
    # In the half-turn the other head holds the second carton.
    turned = burden(cell.tool, pair, np.pi, carried=(1,))
    assert turned.centre[0] == pytest.approx(-6 * 0.2 / 14)


def test_an_inertia_that_is_left_out_is_never_too_small():
    """Taken about the stated centre of gravity: more than about the bodies' own."""
    tool = load_tool("two-heads-400")
    own = of_tool(tool)
    assert own.mass == 8
    assert np.all(np.linalg.eigvalsh(own.inertia) > 0)
    # Two heads of 360 x 260 at 200 mm from the middle are most of it.
    assert 0.2 < own.inertia[2, 2] < 8 * (0.38**2 + 0.13**2)
    assert ("tool.inertia", "estimated from its bodies, filled evenly") in {
        (default.key, default.value) for default in load(OATS).defaults
    }


def test_a_stated_inertia_is_taken_as_it_is(tmp_path):
    text = Path("models/tools/two-heads-400.yaml").read_text()
    text = text.replace("\nbodies:", "\ninertia: {xx: 0.2, yy: 0.4, zz: 0.5, xz: 0.01}\nbodies:", 1)
    path = tmp_path / "tool.yaml"
    path.write_text(text)
    tool = load_tool(str(path))
    assert tool.inertia.tolist() == [[0.2, 0, 0.01], [0, 0.4, 0], [0.01, 0, 0.5]]
    assert "tool.inertia" not in {default.key for default in tool.defaults}
