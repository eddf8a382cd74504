"""Holds a survey of mounting positions against checks of its cells; not collected, run by hand.

    python -m tests.soak.soak_survey [--positions 100] [--seed 1] [--cell CELL] [--jobs 1]

A survey over a random grid is taken once. Then random positions of it are checked one by one,
and whatever the survey says of each is held against the check: verdicts placement by placement,
values where it has them. At the end a finer grid is surveyed in full around the best.

Prints each fault with its position, and ends with status 1 if there was one.
"""

import argparse
import random
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from envelope.cell.model import Cell
from envelope.cell.variants import CellFile, read_cell_file
from envelope.checks.finding import Result
from envelope.surveys.base import Asked, survey_base
from envelope.surveys.judging import Judgement, Request, judge_variant
from envelope.surveys.ranges import Range, read_range
from envelope.surveys.results import BaseSurvey, Variant
from envelope.surveys.runner import Runner
from envelope.verify import check, verdicts

CELL = Path(__file__).parents[2] / "cells" / "tea-five-layers.yaml"
FAILING = ("fail", "not checked")
STEPS = {"arm.at.x": 100.0, "arm.at.y": 100.0, "arm.at.z": 200.0}  # [mm]
COUNTS = {"arm.at.x": 7, "arm.at.y": 6, "arm.at.z": 4}
FINER = 3  # steps of the finer grid in one of the survey's
VALUE = 1e-4  # [mm, deg, cartons/min]: what rounding leaves between the two


def survey(file: CellFile, ranges: tuple[Range, ...], jobs: int, *, complete: bool) -> BaseSurvey:
    with Runner[Judgement](jobs=jobs) as runner:
        return survey_base(file, Asked(ranges, complete=complete), runner)


def random_grid(rng: random.Random) -> tuple[Range, ...]:
    """A grid around where the arm stands, from a random place, z slowest and x fastest."""
    ranges = []
    for key, middle in (("arm.at.z", 1000.0), ("arm.at.y", 0.0), ("arm.at.x", 0.0)):
        step, count = STEPS[key], COUNTS[key]
        first = round(middle - step * (count - 1) / 2.0 + rng.uniform(-0.5, 0.5) * step)
        ranges.append(read_range(key, f"{first}:{first + step * (count - 1):g}:{step:g}"))
    return tuple(ranges)


def kind(variant: Variant) -> str:
    """How closely the survey looked at a variant."""
    if variant.judgement is None:
        return "left out, reach alone"
    if not variant.complete:
        return variant.judgement.depth
    good = "passes" if variant.failed == 0 else "fails"
    return f"{variant.judgement.depth}, {good}"


def chosen(found: BaseSurvey, count: int, rng: random.Random) -> list[Variant]:
    """Random variants, as many as can be of each kind."""
    kinds: dict[str, list[Variant]] = {}
    for variant in found.variants:
        kinds.setdefault(kind(variant), []).append(variant)
    for some in kinds.values():
        rng.shuffle(some)
    taken: list[Variant] = []
    while len(taken) < count and any(kinds.values()):
        taken += [some.pop() for _, some in sorted(kinds.items()) if some]
    return taken[:count]


# --- one position ---------------------------------------------------------------------------------


def faults(file: CellFile, variant: Variant) -> Iterator[str]:
    """What the survey says of one position and a check of that cell denies."""
    settings = tuple(f"{key}={value}" for key, value in variant.settings)
    cell = file.cell(settings)
    result = check(cell)
    verdict = {each.placement.id: each.verdict for each in result.placements}
    failing = {name for name, each in verdict.items() if each in FAILING}
    if variant.placements != len(verdict):
        yield f"{variant.placements} placements, the check has {len(verdict)}"
    if variant.reached is not None and len(failing) < variant.placements - variant.reached:
        yield f"{variant.reached} reached, but only {len(failing)} fail"
    if variant.failed is not None and len(failing) < variant.failed:
        yield f"at least {variant.failed} fail, the check has {len(failing)}"
    least = variant.judgement.failed - 1 if kind(variant) == "stopped" else None
    yield from _quick_faults(cell, verdict, least)
    judgement = variant.judgement
    if judgement is None or not variant.complete:
        return
    told, confirmed = _told(judgement), _confirmed(cell, result, judgement)
    for name, value in told.items():
        if not _alike(value, confirmed[name]):
            yield f"{name} is {value} in the survey, {confirmed[name]} in the check"
    again = judge_variant(file, Request(settings)) if judgement.depth == "verdicts" else judgement
    if again != judgement:
        yield f"judged again it is {again}, not {judgement}"


def _quick_faults(cell: Cell, verdict: dict[str, str], stop_after: int | None) -> Iterator[str]:
    """Placements of which the quick verdict, which the survey counts, is not the check's."""
    judged = [entry for some in verdicts(cell, stop_after=stop_after) for entry in some]
    if stop_after is None and len(judged) != len(verdict):
        yield f"{len(judged)} placements judged of {len(verdict)}"
    for entry in judged:
        name, quick = entry.placement.id, entry.verdict
        if (quick in FAILING) != (verdict[name] in FAILING):
            yield f"{name}: {quick} in the survey, {verdict[name]} in the check"


def _told(judgement: Judgement) -> dict[str, float | str | None]:
    """What the survey says of a position that it judged in full."""
    told: dict[str, float | str | None] = {
        "failed": judgement.failed,
        "room": judgement.room,
        "rate": judgement.rate,
    }
    if judgement.depth == "values":
        told |= {"marginal": judgement.marginal, "clearance": judgement.clearance}
    return told


def _confirmed(cell: Cell, result: Result, judgement: Judgement) -> dict[str, float | None]:
    """The same, out of the findings of a check."""
    findings = [finding for each in result.placements for finding in each.findings]
    hindered = {
        each.placement.id
        for each in result.placements
        for finding in each.findings
        if finding.check in ("approach", "collision") and finding.verdict in FAILING
    }
    moved = [
        each
        for each in result.placements
        if each.cycle is not None and each.placement.id not in hindered
    ]
    rooms = [
        finding.value
        for each in moved
        for finding in each.findings
        if finding.check == "reach" and finding.unit == judgement.room_unit
        if "least room" in finding.message
    ]
    full = min(each for each in cell.clearances.of_pairs if each > 0.0) * 1e3 - 1e-6
    apart = [
        finding.value
        for finding in findings
        if finding.check in ("approach", "collision") and finding.value is not None
        if finding.verdict == "fail" or (finding.limit is not None and finding.limit >= full)
    ]
    cycles = {(each.placement.pallet, each.cycle.number): each.cycle for each in moved}
    seconds = sum(cycle.seconds for cycle in cycles.values())
    whole = len(moved) == len(result.placements)
    return {
        "failed": sum(each.verdict in FAILING for each in result.placements),
        "marginal": result.count("marginal"),
        "room": min(rooms, default=None),
        "clearance": min(apart, default=None),
        "rate": 60.0 * len(moved) / seconds if whole and seconds else None,
    }


def _alike(told: float | str | None, confirmed: float | None) -> bool:
    if told is None or confirmed is None:
        return told is confirmed
    return abs(float(told) - confirmed) <= VALUE


# --- the optimum ----------------------------------------------------------------------------------


def optimum_faults(file: CellFile, found: BaseSurvey, jobs: int) -> Iterator[str]:
    """What a finer grid around the best finds that the survey's own step does not allow.

    Allowed is as much as the best differs from the positions next to it.
    """
    best = found.best
    at = {key: best.value(key) for key, _ in best.settings}
    near = [
        variant
        for variant in found.variants
        if variant.complete
        and all(abs(variant.value(key) - at[key]) <= STEPS[key] + 1e-6 for key in at)
    ]
    rooms = [v.judgement.room for v in near if v.judgement and v.judgement.room is not None]
    assert best.judgement is not None
    assert best.judgement.room is not None
    slope = max((abs(room - best.judgement.room) for room in rooms), default=0.0)
    ranges = tuple(
        read_range(each.key, ",".join(f"{at[each.key] + side:.4f}" for side in (-step, 0.0, step)))
        for each in found.ranges
        for step in (STEPS[each.key] / FINER,)
    )
    finer = survey(file, ranges, jobs, complete=True).best
    assert finer.judgement is not None
    assert finer.judgement.room is not None
    better = finer.judgement.room - best.judgement.room
    print(
        f"best: {best.settings}: {best.failed} fail, room {best.judgement.room:.3f}; on the finer "
        f"grid: {finer.settings}: {finer.failed} fail, room {finer.judgement.room:.3f}, "
        f"{better:.3f} more; the step allows {slope:.3f}",
        flush=True,
    )
    if finer.failed is None or best.failed is None or finer.failed < best.failed:
        yield f"the finer grid has {finer.failed} failures, the best {best.failed}"
    elif better > slope:
        yield f"the finer grid has {better:.3f} more room, the step allows {slope:.3f}"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--positions", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cell", type=Path, default=CELL)
    parser.add_argument("--set", action="append", default=[], help="as of envelope check")
    parser.add_argument("--jobs", type=int, default=1)
    asked = parser.parse_args()
    rng, file = random.Random(asked.seed), read_cell_file(asked.cell, tuple(asked.set))
    start = time.monotonic()
    found = survey(file, random_grid(rng), asked.jobs, complete=False)
    kinds = Counter(kind(variant) for variant in found.variants)
    print(f"{len(found.variants)} positions in {time.monotonic() - start:.0f} s: {dict(kinds)}")
    bad, some = 0, chosen(found, asked.positions, rng)
    for number, variant in enumerate(some, start=1):
        for line in faults(file, variant):
            bad += 1
            print(f"{dict(variant.settings)} ({kind(variant)}): {line}", flush=True)
        if number % 10 == 0:
            print(f"{number} of {len(some)} checked", file=sys.stderr, flush=True)
    taken = Counter(kind(variant) for variant in some)
    print(f"checked {len(some)}: {dict(taken)}: {bad} faults", flush=True)
    for line in optimum_faults(file, found, asked.jobs):
        bad += 1
        print(line, flush=True)
    print(f"seed {asked.seed}: {bad} faults, {time.monotonic() - start:.0f} s")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
