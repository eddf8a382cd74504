"""Judges proved brackets by sampling the motion with an independent distance library."""

from functools import cache

import numpy as np

from envelope.geometry.bodies import Cylinder, Hull, Mesh
from envelope.geometry.queries import Brackets
from envelope.geometry.sweep import CAP, COARSE, FINE, FLOOR, SETTLED

from .clearance_scenes import Scene
from .peer_distance import peer_shapes, signed_distance

EXACT = 1e-5  # [m]: what the two libraries may differ by
LOOSE = 1.5e-5  # [m]: width that the distance routine's own bracket may add


class Oracle:
    """Margins of one scene by brute force."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.shape = cache(lambda body: peer_shapes(scene.bodies[body]))

    def clearance(self, first: int, second: int, piece: int, share: float) -> float:
        scene = self.scene
        links = scene.chain.link_poses(scene.joints(piece, share)[None])[0]
        poses = [links[scene.link[body]] @ scene.bodies[body].pose for body in (first, second)]
        value = signed_distance(self.shape(first), poses[0], self.shape(second), poses[1])
        kinds = {type(scene.bodies[body].shape) for body in (first, second)}
        if value < 0.0 and Cylinder in kinds and kinds & {Hull, Mesh, Cylinder}:
            return 0.0  # the library finds such overlaps, but not how deep they are
        return value

    def limit(self, query: int, piece: int, share: float) -> float:
        limits, (low, high) = self.scene.limits, self.scene.pieces.to_go[piece]
        height = low + (high - low) * share
        full, rest = limits.full[query], limits.rest[query]
        return min(full, rest + (full - rest) * height / limits.taper)

    def margin(self, query: int, piece: int, share: float) -> float:
        pairs = self.scene.asked[query][1]
        nearest = min(self.clearance(a, b, piece, share) for a, b in pairs)
        return nearest - self.limit(query, piece, share)

    def sampled(self, query: int, samples: int) -> tuple[float, tuple[int, float]]:
        """Least margin met by sampling, closer around the best ones, and where."""
        segment = self.scene.asked[query][0]
        start, end = self.scene.pieces.start[segment : segment + 2]
        shares = np.linspace(0.0, 1.0, max(3, samples // int(end - start)))
        found = [
            (self.margin(query, piece, share), (piece, float(share)))
            for piece in range(start, end)
            for share in shares
        ]
        best = min(found)
        width = shares[1]
        for _ in range(3):
            piece, middle = best[1]
            near = np.clip(middle + np.linspace(-width, width, 9), 0.0, 1.0)
            found = [(self.margin(query, piece, share), (piece, float(share))) for share in near]
            best = min([best, *found])
            width /= 4
        return best


def faults(scene: Scene, brackets: Brackets, samples: int = 60, cap: float = CAP) -> list[str]:
    """What is wrong with the brackets of a scene, in words; empty when nothing is."""
    oracle = Oracle(scene)
    pairs = scene.pairs()
    owner = scene.stage().parts.owner
    wrong: list[str] = []
    for query in range(len(scene.asked)):
        lower, upper = float(brackets.lower[query]), float(brackets.upper[query])
        least, where = oracle.sampled(query, samples)
        full, wanted = scene.limits.full[query], scene.limits.wanted[query]
        label = f"query {query} of {scene.name}: [{lower:.7f}, {upper:.7f}]"
        if lower > upper:
            wrong.append(f"{label} is upside down")
        if lower > least + EXACT:
            wrong.append(f"{label}, but {least:.7f} occurs at {where}")
        if not brackets.near[query]:
            if least < cap - full - COARSE - EXACT:
                wrong.append(f"{label} is said to stay away, but {least:.7f} occurs at {where}")
            continue
        pair, piece = int(brackets.pair[query]), int(brackets.piece[query])
        share = float(brackets.share[query])
        bodies = owner[pairs.first[pair]], owner[pairs.second[pair]]
        limit = oracle.limit(query, piece, share)
        if abs(limit - brackets.limit[query]) > 1e-12:
            wrong.append(f"{label} names limit {brackets.limit[query]}, in force is {limit}")
        there = oracle.clearance(int(bodies[0]), int(bodies[1]), piece, share)
        deep = upper + limit < FLOOR
        unknown = there == 0.0 or np.isinf(there)
        if not unknown and there > (FLOOR if deep else upper + limit) + EXACT:
            wrong.append(f"{label}, but {there - limit:.7f} is the margin where it is named")
        if deep:
            continue
        width = COARSE
        if lower < wanted - 1e-9 and upper > wanted + 1e-9:
            width = FINE
        if lower < 0.0 <= upper:
            width = SETTLED
        if upper - lower > width + LOOSE:
            wrong.append(f"{label} is wider than {width}")
    return wrong
