"""A base survey of 1,000 positions: reach of all, verdicts of survivors, one worker and two."""

import time
from itertools import product

import numpy as np

from envelope.cell.load import load, load_arm
from envelope.cell.variants import CellFile, read_cell_file
from envelope.surveys.judging import Request, judge_variant
from envelope.surveys.reaching import mounting, reach_from
from envelope.surveys.runner import Runner

from .job import CELL
from .kinematics import ARM, pin_inverse, spent

_SIDE = 10  # positions along x, y and z
_SURVIVORS = 6  # positions of which verdicts are timed
_SAMPLE = 200  # poses that pin solves


def _positions() -> list[dict[str, float]]:
    """Places around that of the cell as it stands, all of which reach everything [mm]."""
    across, up = np.linspace(-90.0, 90.0, _SIDE), np.linspace(260.0, 340.0, _SIDE)
    return [{"x": x, "y": y, "z": z} for z, y, x in product(up, across, across)]


def reach_stage() -> dict[str, float]:
    """Processor seconds for all positions, answers a second, and pin on a sample."""
    cell = load(CELL)
    bases = np.stack([mounting(cell, position) for position in _positions()])
    found = reach_from(cell, bases)
    seconds = spent(lambda: reach_from(cell, bases), 3)
    arm = load_arm(ARM)  # the loop knows no linkages: it is asked about a six-axis arm
    low, high = np.array([(joint.lower, joint.upper) for joint in arm.joints]).T
    q = np.random.default_rng(4).uniform(low, high, (_SAMPLE, arm.dof))
    micro = pin_inverse(arm, q, arm.chain.flange_poses(q))
    return {
        "positions": len(bases),
        "placements": found.placements,
        "survivors": int((found.reached == found.placements).sum()),
        "seconds": seconds,
        "answers_a_second": found.solutions / seconds,
        "poses_a_second": found.poses / seconds,
        "pin_poses_a_second": 1e6 / micro,
    }


def verdict_stage() -> dict[str, float]:
    """Positions a second, verdicts alone, by the clock; starting workers is left out."""
    file: CellFile = read_cell_file(CELL)
    every = _positions()
    some = every[:: len(every) // _SURVIVORS][:_SURVIVORS]
    requests = [
        Request(tuple(f"arm.at.{key}={value:g}" for key, value in position.items()))
        for position in some
    ]
    found: dict[str, float] = {"positions": len(requests)}
    for jobs in (1, 2):
        with Runner(jobs=jobs) as runner:
            runner.run(_Work(file), requests[:jobs])
            start = time.perf_counter()
            judged = runner.run(_Work(file), requests)
            found[f"a_second_{jobs}"] = len(requests) / (time.perf_counter() - start)
        found["failed"] = sum(each.failed for each in judged)
    found["two_to_one"] = found["a_second_2"] / found["a_second_1"]
    return found


class _Work:
    """Judges a variant; can be sent to workers."""

    def __init__(self, file: CellFile) -> None:
        self.file = file

    def __call__(self, request: Request):
        return judge_variant(self.file, request)


def surveys() -> dict[str, dict[str, float]]:
    return {"reach": reach_stage(), "verdicts": verdict_stage()}


def show_surveys(found: dict[str, dict[str, float]]) -> None:
    reach, verdicts = found["reach"], found["verdicts"]
    print(f"\nSurvey of {reach['positions']} mounting positions x {reach['placements']} placements")
    print(
        f"{'reach of all, one process':44}{reach['seconds']:8.2f} s of processor,"
        f" {reach['answers_a_second']:.0f} answers a second ({reach['poses_a_second']:.0f} poses;"
        f" a loop with pin {reach['pin_poses_a_second']:.0f} for six axes, one answer each)"
    )
    print(
        f"{'verdicts of survivors, positions a second':44}{verdicts['a_second_1']:8.2f} by one"
        f" worker, {verdicts['a_second_2']:.2f} by two ({verdicts['two_to_one']:.2f} times;"
        f" {verdicts['positions']} positions)"
    )


if __name__ == "__main__":
    show_surveys(surveys())
