"""A changed cell file: the change is there, and nothing else has changed."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from envelope.cell.errors import CellError
from envelope.cell.load import load
from envelope.cell.writing import changed, with_changes
from envelope.cell.yaml_reading import read_value, read_yaml
from envelope.cell.yaml_writing import flow

ROOT = Path(__file__).parents[2]
FILES = sorted([*(ROOT / "cells").glob("*.yaml"), *(ROOT / "tests/cells/accepted").glob("*.yaml")])

FILE = """\
# Above.
name: Cell   # a remark
arm:  # of the arm
  at: {x: 0, y: 0,
       z: 500}    # spread over lines
  note: |
    two
    lines

stacks:
- a
- b
# before pallets
pallets:
    A:
        size: [1200, 800, 144] # deck
        at: {}
# the end
"""


def change(**changes):
    return changed(
        FILE.encode(), "f", [(k.replace("__", "."), v) for k, v in changes.items()]
    ).splitlines()


def test_only_the_value_s_own_text_changes():
    lines = change(pallets__A__size=[1000, 800.5, 150])
    before = FILE.splitlines()
    assert [k for k, line in enumerate(lines) if line != before[k]] == [15]
    assert lines[15] == "        size: [1000, 800.5, 150] # deck"


def test_a_number_inside_a_mapping_spread_over_lines():
    assert change(arm__at__z=1000)[4] == "       z: 1000}    # spread over lines"


def test_an_entry_is_added_at_the_end_of_its_mapping_and_before_the_remarks_that_follow():
    lines = change(pallets__B={"stack": "main"})
    assert lines[17:] == ["    B: {stack: main}", "# the end"]
    assert change(pallets__A__at__x=5)[16] == "        at: {x: 5}"
    assert change(arm__at__yaw=90)[4] == "       z: 500, yaw: 90}    # spread over lines"


def test_sections_that_are_not_there_are_added():
    lines = change(motion__blend__radius=3)
    assert lines[17] == "motion: {blend: {radius: 3}}"


def test_a_list_without_indent_is_replaced():
    lines = change(stacks=["c"])
    assert lines[9:12] == ["stacks: [c]", "# before pallets", "pallets:"]


def test_what_is_long_goes_line_by_line_and_keeps_the_remark_of_its_key():
    rows = [{"group": "pair", "at": {"x": 400 + k, "y": 140}} for k in range(4)]
    lines = change(arm={"order": "as written", "placements": rows})
    assert lines[2:5] == ["arm: # of the arm", "  order: as written", "  placements:"]
    assert lines[5] == "    - {group: pair, at: {x: 400, y: 140}}"


def test_a_text_in_lines_of_its_own_is_replaced():
    lines = change(arm__note="one")
    assert lines[5:7] == ["  note: one", "stacks:"]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_every_cell_takes_a_change_and_keeps_every_other_line(path):
    text = path.read_text(encoding="utf-8")
    there = with_changes(path, {"name": "Another", "motion.grip_time": 0.75})
    data = read_yaml(there.encode(), path.name).data
    assert data["name"] == "Another"
    assert data["motion"]["grip_time"] == 0.75
    kept = [line for line in text.splitlines() if not line.startswith(("name:", "motion:"))]
    assert [line for line in there.splitlines() if not line.startswith(("name:", "motion:"))] == (
        kept
    )


def test_settings_come_first(tmp_path):
    path = tmp_path / "cell.yaml"
    path.write_text((ROOT / "cells/tea-five-layers.yaml").read_text(encoding="utf-8"))
    path.write_text(with_changes(path, {"stacks.main.layers": 2}, ["arm.at.z=1100"]))
    cell = load(path)
    assert cell.mounted.world_from_base[2, 3] == 1.1
    assert len(cell.pallets[0].placements) == 16


def test_windows_line_ends_stay():
    text = changed(FILE.replace("\n", "\r\n").encode(), "f", [("name", "New")])
    assert text.count("\r\n") == text.count("\n") == FILE.count("\n")


@pytest.mark.parametrize("key", ["one", "two", "two.x", "one.x"])
def test_what_an_alias_repeats_is_not_changed_behind_the_user_s_back(key):
    content = b"one: &a {x: 1}\ntwo: *a\nthree: 3\n"
    with pytest.raises(CellError, match=key):
        changed(content, "f", [(key, 5)])
    assert changed(content, "f", [("three", 4)]).startswith("one: &a {x: 1}\ntwo: *a\n")


def test_a_key_cannot_be_added_to_a_single_value_or_a_list():
    for key in (("name", "x"), ("stacks", "7")):
        with pytest.raises(CellError, match=r"no key can be added|no entry|cannot"):
            changed(FILE.encode(), "f", [(key, 5)])


PLAIN = st.recursive(
    st.one_of(
        st.booleans(),
        st.integers(-9999, 9999),
        st.floats(-1e6, 1e6).map(lambda x: x + 0.0),
        st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=8),
        st.sampled_from(["yes", "no", "null", "~", "1:30", "0x1f", "1e3", "+x-y", "a: b", "- c"]),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(st.text("ab 1:#", min_size=1, max_size=4), inner, max_size=3),
    ),
    max_leaves=12,
)


@settings(deadline=None, max_examples=60)
@given(PLAIN)
def test_any_plain_data_is_read_as_it_was_written(value):
    assert read_value(flow(value)) == value


@settings(deadline=None, max_examples=60)
@given(st.sampled_from(["arm", "pallets.A", "stacks", "pallets.A.at", "new.er", "arm.at"]), PLAIN)
def test_any_plain_data_anywhere_leaves_the_rest_as_it_was(key, value):
    before, after = (
        read_yaml(text.encode(), "f").data
        for text in (FILE, changed(FILE.encode(), "f", [(key, value)]))
    )
    section = key.split(".")[0]
    assert {k: v for k, v in after.items() if k != section} == {
        k: v for k, v in before.items() if k != section
    }
    here = after
    for step in key.split("."):
        here = here[step]
    assert here == value
