"""The loops that speed is measured against answer as ours does, hits among them."""

import pytest

pytest.importorskip("pinocchio", exc_type=ImportError)
pytest.importorskip("coal", exc_type=ImportError)

from envelope.cell.load import load
from envelope.verify import check
from tests.benchmarks.job import CELL, SPOILT, TOUCH_ONLY, job_of, ours
from tests.benchmarks.peers import Adaptive, PinCoal

pytestmark = pytest.mark.peer
FREE, MET = "left/8/2", "right/8/2"


@pytest.fixture(scope="module")
def cycles():
    checked = check(load(CELL), placements=[FREE, MET])
    return {entry.placement.id: entry.cycle for entry in checked.placements}


@pytest.mark.parametrize(("changes", "met"), [((), False), (SPOILT, True)])
def test_peers_and_ours_agree_on_motions_that_are_free_and_on_one_that_hits(cycles, changes, met):
    job = job_of((*TOUCH_ONLY, *changes), cycles)
    stretches = list(job.stretches())
    assert ours(job, values=False) == {FREE: False, MET: met}
    for peer in (PinCoal, Adaptive):
        assert peer(job, stretches).yes_or_no() == {FREE: False, MET: met}
