"""The whole command: time, memory, start; how it grows; what a pool of processes costs."""

import json
import os
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from .job import CELL, ROOT

TINY = ROOT / "tests" / "cells" / "accepted" / "single.yaml"
SIZES = {48: 2, 192: 8, 768: 32}
# Thin cartons, so that the tallest stack is as high as that of the cell itself; guides no taller
# than they, and a deck that the arm reaches with them.
THIN = (
    "cartons.biscuits.size=[390, 240, 47]",
    "infeed.guides.height=20",
    "infeed.stop.height=20",
    "infeed.at.z=890",
    "pallets.left.size=[1200, 1000, 250]",
    "pallets.right.size=[1200, 1000, 250]",
)
_CHILD = """
import json, resource, sys, time
start = time.perf_counter()
from envelope.cli.main import main
try:
    main(sys.argv[1:])
except SystemExit as end:
    status = end.code
own, below = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
print("MEASURED", json.dumps({
    "wall": time.perf_counter() - start,
    "processor": sum(u.ru_utime + u.ru_stime for u in (own, below)),
    "own": own.ru_utime + own.ru_stime,
    "peak_mb": own.ru_maxrss / 1024, "worker_peak_mb": below.ru_maxrss / 1024,
}))
"""


def command(*arguments: str) -> dict[str, float]:
    """Run `envelope` in a child; wall is its own, from first import to last word."""
    start = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", _CHILD, *arguments],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    seconds = time.perf_counter() - start
    line = next(part for part in done.stdout.splitlines() if part.startswith("MEASURED"))
    return json.loads(line.removeprefix("MEASURED")) | {"from_outside": seconds}


def whole(jobs: int) -> dict[str, float]:
    return command("check", str(CELL), "--quiet", "--jobs", str(jobs))


def started() -> dict[str, float]:
    """Least wall seconds of five, from outside, by the installed command."""
    executable = str(Path(sys.executable).with_name("envelope"))
    found = {}
    for name, arguments in (("--help", ["--help"]), ("tiny", ["check", str(TINY), "--quiet"])):
        seconds = []
        for _ in range(5):
            start = time.perf_counter()
            subprocess.run([executable, *arguments], capture_output=True, check=False)
            seconds.append(time.perf_counter() - start)
        found[name] = min(seconds)
    return found


def growth() -> tuple[dict[int, float], float]:
    """Processor seconds of the whole command by placements, and the exponent between."""
    found = {}
    for placements, layers in SIZES.items():
        values = (*THIN, f"stacks.main.layers={layers}")
        settings = [part for value in values for part in ("--set", value)]
        with tempfile.TemporaryDirectory() as folder:
            results = Path(folder) / "results.json"
            measured = command(
                "check", str(CELL), "--quiet", "--jobs", "1", *settings, "--results", str(results)
            )
            told = json.loads(results.read_text())["placements"]
        # A cell that fails is searched for longer: it would say nothing of growth.
        assert len(told) == placements, len(told)
        assert all(entry["verdict"] != "fail" for entry in told), layers
        found[placements] = measured["processor"]
    sizes = np.log(list(found))
    return found, float(np.polyfit(sizes, np.log(list(found.values())), 1)[0])


def pool_start() -> float:
    """Wall seconds until two processes have both imported what a check needs."""
    start = time.perf_counter()
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        list(pool.map(_ready, range(2)))
        return time.perf_counter() - start


def _ready(_: int) -> int:
    import envelope.verify  # noqa: F401

    time.sleep(0.05)  # so that one process does not answer for both
    return os.getpid()


def cores_given() -> float:
    """How many cores two busy processes really get: less than 2 when others are at work."""
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        list(pool.map(_ready, range(2)))
        start = time.perf_counter()
        used = sum(pool.map(_busy, range(2)))
        return used / (time.perf_counter() - start)


def _busy(_: int) -> float:
    start, total = time.process_time(), 0
    for number in range(10_000_000):
        total += number
    return time.process_time() - start
