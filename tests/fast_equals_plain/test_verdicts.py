"""Verdicts alone fall where a check has them, and most of them without a finding being made."""

import pytest

from envelope.cell.load import load
from envelope.checks.finding import failing
from envelope.surveys.judging import summed
from envelope.verify import check, verdicts
from tests.support.small_cell import TEXT

SPOILT = {
    "as it stands": ((), 0),
    "out of reach": (("pallets.A.at.x=1900",), 2),
    "in each other's way": (("cartons.box.size=[400, 310, 250]",), 3),
    "too near a joint's limit": (("arm.at.x=-420",), None),
    "too heavy": (("cartons.box.mass=70",), 3),
    "held too weakly on the way": (("hold.safety=5.2",), 2),
    "a field over the next carton": (("infeed.queue_gap=0", "cartons.box.size=[400, 200, 250]"), 3),
}


def judged(cell, stop_after=None):
    return [entry for some in verdicts(cell, stop_after=stop_after) for entry in some]


@pytest.mark.parametrize("name", SPOILT)
def test_verdicts_alone_are_those_of_a_check(tmp_path, name):
    settings, expected = SPOILT[name]
    path = tmp_path / "cell.yaml"
    path.write_text(TEXT, encoding="utf-8")
    cell = load(path, settings)
    plain = check(cell).placements
    fails = {entry.placement.id for entry in plain if failing(entry)}
    assert expected is None or len(fails) == expected
    found = summed(cell, plain, values=True)
    for stop_after in (None, 1000):
        quick = judged(cell, stop_after)
        assert {entry.placement.id for entry in quick if failing(entry)} == fails
        told = summed(cell, quick, values=False)
        for field in ("placements", "judged", "failed", "room", "room_unit", "rate", "trouble"):
            assert getattr(told, field) == getattr(found, field), field
        for entry in quick:
            sure = [f.check for f in entry.findings] == ["reach"]
            assert sure or failing(entry), "the shortcut did not run"
