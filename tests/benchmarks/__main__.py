"""Measures ours beside what would be written by hand; `make bench`.

    python -m tests.benchmarks [--every 16] [--without growth surveys]

Prints a table and writes bench.json. Processor time of one process, but for whole commands
on two processes, which are told by the clock.
"""

import argparse
import json
import os
import platform
import time
from importlib.metadata import version
from pathlib import Path

from envelope.cell.load import load
from envelope.verify import check

from .command import cores_given, growth, pool_start, started, whole
from .job import CELL, SPOILT, TOUCH_ONLY, job_of, ours
from .kinematics import kinematics, reach_rate, timed
from .peers import Adaptive, Fcl, OneTree, PinCoal
from .surveys import show_surveys, surveys

SHORT = 4.0  # [s]
ROWS = (
    ("pin + coal, dense, yes/no", PinCoal, "yes_or_no"),
    ("pin + coal, dense, distances of each body", PinCoal, "distances"),
    ("pin alone, one tree, dense, yes/no", OneTree, "yes_or_no"),
    ("pin + coal, adaptive, yes/no", Adaptive, "yes_or_no"),
    ("python-fcl managers, dense, yes/no", Fcl, "yes_or_no"),
)


def machine() -> dict[str, str | int]:
    model = platform.processor() or platform.machine()
    known = Path("/proc/cpuinfo")
    if known.is_file():
        lines = [x for x in known.read_text().splitlines() if x.startswith("model name")]
        model = lines[0].split(":", 1)[1].strip() if lines else model
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    libraries = ("numpy", "pin", "coal", "python-fcl")
    return {
        "processor": model,
        "cores": cores or 1,
        "system": platform.system(),
        "python": platform.python_version(),
        **{name: version(name) for name in libraries},
    }


def run(peer, method: str, job, stretches) -> tuple:
    """A peer's answers and processor seconds, building its scenes included; short runs twice."""
    best = float("inf")
    for _ in range(2):
        start = time.process_time()
        asked = peer(job, stretches)
        verdicts = getattr(asked, method)()
        best = min(best, time.process_time() - start)
        if best > SHORT:
            break
    return asked, best, verdicts


def watching(every: int) -> dict:
    """Certification of given motions: ours on all of them, peers on a sample."""
    cycles = {j.placement.id: j.cycle for j in check(load(CELL)).placements if j.cycle}
    given, contact = job_of((), cycles), job_of(TOUCH_ONLY, cycles)
    spoilt = job_of((*TOUCH_ONLY, *SPOILT), cycles)
    told = {"as given": ours(contact, values=False), "spoilt": ours(spoilt, values=False)}
    rows: dict[str, dict] = {}
    for label, job, values in (
        ("ours, yes/no", given, False),
        ("ours, values", given, True),
        ("ours, yes/no, contact alone", contact, False),
    ):
        seconds, met = timed(lambda job=job, values=values: ours(job, values=values))
        rows[label] = {"seconds": seconds, "meets, as given": sum(met.values())}
    rows["ours, yes/no, contact alone"]["meets, spoilt"] = sum(told["spoilt"].values())
    some = {"as given": contact.sampled(every, every // 3), "spoilt": spoilt.sampled(every, 5)}
    stretches = {name: list(job.stretches()) for name, job in some.items()}
    for label, peer, method in ROWS:
        row: dict = {"sample": some["as given"].cycles, "disagree": {}}
        for name, job in some.items():
            if name == "spoilt" and method == "distances":
                continue
            asked, seconds, verdicts = run(peer, method, job, stretches[name])
            row["disagree"][name] = [k for k, met in verdicts.items() if met != told[name][k]]
            row[f"meets, {name}"] = sum(verdicts.values())
            if name == "as given":
                row["seconds"] = seconds * contact.cycles / job.cycles
                row["configurations"] = asked.configurations * contact.cycles // job.cycles
        rows[label] = row
    rows["ours, yes/no"]["meets in the sample"] = {
        name: sum(told[name][k] for k in {k for k, _, _ in stretches[name]}) for name in told
    }
    return {"cycles": given.cycles, "rows": rows}


def table(watched: dict) -> None:
    rows, cycles = watched["rows"], watched["cycles"]
    base, values = rows["ours, yes/no"]["seconds"], rows["ours, values"]["seconds"]
    some = rows["ours, yes/no"]["meets in the sample"]
    print(f"\nCertifying {cycles} given motions, planning left out, processor seconds, one process")
    print("Peers: contact alone, on a sample and extrapolated; samples worked out beforehand.")
    print(f"{'':44}{'s':>8}{'/ yes-no':>10}{'/ values':>10}{'run on':>8}  meets: given, spoilt")
    for label, row in rows.items():
        count = row.get("sample", cycles)
        met = [str(row.get(f"meets, {name}", "-")) for name in some]
        note = ""
        if "disagree" in row:
            wrong = [k for names in row["disagree"].values() for k in names]
            note = f"  DISAGREES: {', '.join(wrong)}" if wrong else "  agrees"
        print(
            f"{label:44}{row['seconds']:8.2f}{row['seconds'] / base:10.1f}"
            f"{row['seconds'] / values:10.1f}{count:8d}  {', '.join(met)}{note}"
        )
    print(f"In the sample ours meets: {', '.join(str(n) for n in some.values())}")


def show(found: dict) -> None:
    print(", ".join(f"{key} {value}" for key, value in found["machine"].items()))
    table(found["watching"])
    print("\nKinematics, microseconds a pose, processor time")
    for label, value in found["kinematics"].items():
        print(f"{label:48}{value if isinstance(value, str) else f'{value:8.2f}'}")
    print(f"{'reach alone, postures a second':48}{found['reach_rate']:8.0f}")
    print("\nWhole command, envelope check of the same cell")
    for jobs, run in found["command"].items():
        print(
            f"{f'{jobs} process(es)':44}{run['wall']:8.2f} s by the clock,"
            f"{run['processor']:7.2f} s of processors ({run['own']:.2f} outside workers),"
            f" peak {run['peak_mb']:.0f} MB,"
            f" largest worker {run['worker_peak_mb']:.0f} MB"
        )
    print(f"{'cores that two busy processes got just then':44}{found['cores_given']:8.2f}")
    start = found["start"]
    print(
        f"{'start: --help, check of a tiny cell':44}{start['--help']:8.2f} s,{start['tiny']:7.2f} s"
    )
    print(f"{'two processes started, imports done':44}{found['pool_start']:8.2f} s")
    if "surveys" in found:
        show_surveys(found["surveys"])
    if "growth" in found:
        sizes = ", ".join(f"{n}: {s:.2f} s" for n, s in found["growth"]["seconds"].items())
        print(f"{'growth with placements, whole command':44}{sizes}")
        print(f"{'':44}exponent {found['growth']['exponent']:.2f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--every", type=int, default=16, help="peers take one cycle in so many")
    parser.add_argument("--without", nargs="*", default=[], choices=["growth", "surveys"])
    asked = parser.parse_args()
    found: dict = {"machine": machine(), "watching": watching(asked.every)}
    found |= {"kinematics": kinematics(), "reach_rate": reach_rate()}
    found["command"] = {jobs: whole(jobs) for jobs in (1, 2)}
    found["cores_given"] = cores_given()
    found |= {"start": started(), "pool_start": pool_start()}
    if "surveys" not in asked.without:
        found["surveys"] = surveys()
    if "growth" not in asked.without:
        seconds, exponent = growth()
        found["growth"] = {"seconds": seconds, "exponent": exponent}
    Path("bench.json").write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    show(found)


if __name__ == "__main__":
    main()
