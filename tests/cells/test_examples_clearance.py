"""The clearances of the example cells, sampled along the file's motion by another library.

What moves, what stands and what is asked is written down once more in `plain_scene`; the
distances are coal's. Sampling finds no more than there is, so a proved lower end must lie
below every sample, and where nothing fails every sample must keep its limit.
"""

import re

import numpy as np
import pytest

from envelope.geometry.bodies import Cylinder, Hull
from tests.support import plain_scene as plain
from tests.support.second_opinion import EXACT, SAMPLE, Run, example

pytestmark = pytest.mark.peer
NAMES = sorted(SAMPLE)
CYCLES = 6  # looked at in each cell
ROUNDED = 2e-6  # [m]: values to 1e-4 mm, instants to a microsecond at some 2 m/s


@pytest.fixture(params=NAMES, scope="module")
def run(request):
    return example(request.param)


@pytest.fixture(scope="module")
def looked_at(run):
    """Some cycles with their turn at the pick, and the least sampled margins by segment."""
    every = run.cycles()
    chosen = np.linspace(0, len(every) - 1, min(CYCLES, len(every))).round().astype(int)
    found = []
    for pallet, releases, stretches in (every[k] for k in chosen):
        angle = run.turn_at_pick(releases, stretches)
        margins = [run.least_margins(pallet, releases, s, angle) for s in stretches]
        found.append((pallet, releases, stretches, angle, margins))
    return found


def findings(run: Run, releases, *checks: str) -> list[dict]:
    """What the file says on all releases of a cycle."""
    return [
        finding
        for placement in releases
        if placement.id in run.told
        for finding in run.told[placement.id]["findings"]
        if finding["check"] in checks
    ]


def mover_of(finding: dict) -> str:
    """The moving body that a finding speaks of."""
    if finding["between"] is not None:
        return finding["between"][0]
    return re.match(r"(.*): more than", finding["message"]).group(1)


def test_what_passes_keeps_every_limit_at_every_sample(run, looked_at):
    checked = 0
    for _, releases, stretches, _, margins in looked_at:
        if any(f["verdict"] == "fail" for f in findings(run, releases, "approach", "collision")):
            continue
        for stretch, least in zip(stretches, margins, strict=True):
            for mover, (margin, other) in least.items():
                assert margin >= -EXACT, (releases[0].id, stretch.name, mover, other)
                checked += 1
    assert checked > 100


def test_no_body_comes_nearer_than_its_tightest_finding_says(run, looked_at):
    """Clearance less limit: of every body, in every segment, against everything at once."""
    checked = 0
    for _, releases, stretches, _, margins in looked_at:
        told = findings(run, releases, "approach", "collision")
        if any(f["value"] is None or "deeper" in f["message"] for f in told):
            continue  # how deep is not said
        for stretch, least in zip(stretches, margins, strict=True):
            for mover, (margin, other) in least.items():
                rooms = [
                    (f["value"] - f["limit"]) / 1e3
                    for f in told
                    if f["segment"] == stretch.name and mover in (mover_of(f), _partner(f))
                ]
                bound = min(rooms, default=0.1)
                assert margin >= bound - EXACT, (releases[0].id, stretch.name, mover, other)
                checked += 1
    assert checked > 100


def _partner(finding: dict) -> str | None:
    return finding["between"][1] if finding["between"] else None


def test_at_its_instant_every_finding_is_as_it_says(run, looked_at):
    """The bodies named are as far apart there as the bracket says, and the limit is in force."""
    checked = 0
    for pallet, releases, stretches, angle, _ in looked_at:
        for finding in findings(run, releases, "approach", "collision"):
            if finding["between"] is None or finding["upper"] is None:
                continue
            seen = [
                pair
                for stretch in stretches
                if stretch.name == finding["segment"]
                and stretch.times[0] - 1e-6 <= finding["at"] <= stretch.times[-1] + 1e-6
                for pair in pairs_at(run, pallet, releases, stretch, angle, finding)
            ]
            assert seen, finding
            low, high = finding["value"] / 1e3 - ROUNDED, finding["upper"] / 1e3 + ROUNDED
            limit = finding["limit"] / 1e3
            # a pair whose limit tapers is also asked, by itself, not to touch
            touching = finding["check"] == "collision" and limit <= 0.0
            assert any(
                low <= distance <= high and (touching or abs(asked - limit) < 2e-5)
                for distance, asked, _ in seen
            ), (finding, seen)
            checked += 1
    assert checked > 50


def pairs_at(run, pallet, releases, stretch, angle, finding):
    """Distance and limit of all bodies with the names of a finding at its instant."""
    pieces, still = run.scene(pallet, releases, stretch, angle)
    mover, other = finding["between"]
    row = np.interp(finding["at"], stretch.times, np.arange(len(stretch.times)))
    k = min(int(row), len(stretch.joints) - 2)
    q = stretch.joints[k] + (row - k) * (stretch.joints[k + 1] - stretch.joints[k])
    frames = run.frames(q[None])
    height = run.heights(stretch, frames)
    for first in (p for p in pieces if p.name == mover):
        for second in (p for p in (*still, *pieces) if p.name == other and p is not first):
            kinds = {type(first.body.shape), type(second.body.shape)}
            asked = plain.asked(run.cell, first, second, stretch.name, height)
            yield run.distance(first, second, frames[0]), float(asked[0]), kinds


def test_what_fails_does_so_where_it_says(run, looked_at):
    """Of a finding that fails, the bodies are nearer than asked at the instant named."""
    for pallet, releases, stretches, angle, _ in looked_at:
        for finding in findings(run, releases, "approach", "collision"):
            if finding["verdict"] != "fail" or finding["between"] is None:
                continue
            seen = [
                distance < (-0.02 if "deeper" in finding["message"] else asked) + ROUNDED
                or (distance < 0.0 and bool(kinds & {Cylinder, Hull}))  # depth unknown to coal
                for stretch in stretches
                if stretch.name == finding["segment"]
                and stretch.times[0] - 1e-6 <= finding["at"] <= stretch.times[-1] + 1e-6
                for distance, asked, kinds in pairs_at(
                    run, pallet, releases, stretch, angle, finding
                )
            ]
            assert any(seen), finding


def test_the_sampling_would_notice(looked_at):
    """Somewhere all but the slack of touching is used up: 0.2 mm more would have been seen."""
    least = min(m for *_, margins in looked_at for s in margins for m, _ in s.values())
    assert least < 2e-4
