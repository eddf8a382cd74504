"""The starter cell: it loads, it passes, and every key it shows is one that is read."""

import re

from envelope.cell.load import load
from envelope.cell.model import Line
from envelope.cell.starter import starter_cell


def test_it_loads_as_it_stands(starter):
    cell = load(starter())
    assert len(cell.pallets[0].placements) == 24
    assert cell.notes == ()


def test_the_defaults_it_shows_are_the_defaults(starter, write):
    """Uncommented, the sections of numbers change nothing."""
    shown = starter_cell()
    sections = shown[shown.index("# clearances:") :]
    uncommented = re.sub(r"(?m)^# ?", "", sections)
    text = shown[: shown.index("# clearances:")] + uncommented
    plain, full = load(starter()), load(write(text, "full.yaml"))
    for section in ("clearances", "motion", "support", "tolerances"):
        assert getattr(plain, section) == getattr(full, section)
    assert plain.line is None
    assert full.line == Line(rate=0.2, queue_length=2.0, queue_places=8)
    left_out = {default.key.split(".")[0] for default in full.defaults}
    assert not left_out & {"clearances", "motion", "support", "tolerances", "line"}


def test_every_key_it_shows_is_read(write):
    """All comments that hold keys, uncommented, with names that fit the tool."""
    text = (
        starter_cell().replace("# groups:", "groups:").replace("# surroundings:", "surroundings:")
    )
    text = re.sub(r"(?m)^#(  +)(- |\w+: ?)", r"\1\2", text)
    text = re.sub(r"(?m)^(  +)# ( *)(- |[a-z_ ]+: ?)", r"\1\2\3", text)
    text = re.sub(r"(?m)^# (floor|clearances|motion|support|tolerances|line):", r"\1:", text)
    text = text.replace("{model: one-field-400x300}", "{model: two-heads-400}")
    text = re.sub(r"(?m)^.*mesh: frame.stl.*$", "", text)
    cell = load(write(text))
    assert [group.name for group in cell.groups] == ["pair", "box"]
    assert len(cell.fixtures) == 4
    left_out = {default.key for default in cell.defaults}
    # the lift is shown in short; an arm has a lift or a track, not both
    left_out -= {"arm.track", *(key for key in left_out if key.startswith("arm.lift."))}
    assert not {key for key in left_out if key.startswith(("cartons", "motion", "arm", "infeed.g"))}
