"""Tries clearance proofs on ever new scenes; not collected, run by hand.

    python -m tests.soak.soak_clearance --minutes 30 [--first SEED] [--arm NAME --motions 200]

Prints each fault with the seed that makes its scene, and ends with status 1 if there was one.
"""

import argparse
import sys
import time
from collections import Counter

import numpy as np

from envelope.geometry.sweep import certify
from tests.support.clearance_oracle import faults
from tests.support.clearance_scenes import ARMS, Scene, random_scene


def found_in(scene: Scene, samples: int) -> list[str]:
    """Faults of one scene: of its brackets, and of yes or no beside them."""
    stage, pairs = scene.stage(), scene.pairs()
    brackets = certify(stage, pairs, scene.limits)
    quick = certify(stage, pairs, scene.limits, values=False)
    wrong = faults(scene, brackets, samples)
    for query in np.flatnonzero((brackets.lower < 0.0) != (quick.lower < 0.0)):
        wrong.append(f"query {query}: the sign differs from that of yes or no")
    return wrong


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--first", type=int, default=10_000)
    parser.add_argument("--samples", type=int, default=120)
    parser.add_argument("--arm", choices=ARMS, help="scenes of this arm only")
    parser.add_argument("--motions", type=int, help="end after so many")
    asked = parser.parse_args()
    end, seed, bad = time.monotonic() + 60.0 * asked.minutes, asked.first, 0
    motions: Counter[str] = Counter()
    arms, chains = (ARMS, 0.5) if asked.arm is None else ((asked.arm,), 0.0)
    most = asked.motions or sys.maxsize
    while time.monotonic() < end and motions.total() < most:
        start = time.monotonic()
        scene = random_scene(np.random.default_rng(seed), arms, chains)
        motions[scene.name] += len(scene.pieces.start) - 1
        for line in found_in(scene, asked.samples):
            bad += 1
            print(f"seed {seed}: {line}", flush=True)
        if time.monotonic() - start > 30.0:
            print(f"seed {seed}: took {time.monotonic() - start:.0f} s", flush=True)
        seed += 1
    told = ", ".join(f"{name} {count}" for name, count in sorted(motions.items()))
    print(f"seeds {asked.first} to {seed - 1}, {motions.total()} motions ({told}): {bad} faults")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
