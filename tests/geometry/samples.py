"""Random solids at random poses, with a fixed seed, for tests of distances."""

import numpy as np

from envelope.geometry.bodies import Body, Box, Capsule, Cylinder, Hull, Mesh, Shape
from envelope.geometry.frames import turn
from envelope.geometry.solids import Solids

KINDS = ("box", "capsule", "cylinder", "hull", "triangle")
PAIRS = [(a, b) for i, a in enumerate(KINDS) for b in KINDS[i:]]
EXACT_ANGLES = [np.eye(3), *(turn(axis, np.pi / 2) for axis in "xyz"), turn("z", 0.3)]
SLIGHT_ANGLES = [turn("y", 1e-9), turn("x", 1e-7)]


def rotations(rng, count):
    """Uniform random rotations, shape (count, 3, 3)."""
    q = rng.normal(size=(count, 4))
    w, x, y, z = (q / np.linalg.norm(q, axis=1)[:, None]).T
    rows = [
        [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
        [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
        [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
    ]
    return np.moveaxis(np.array(rows), 2, 0)


def shape(kind: str, rng) -> Shape:
    """One shape; among them plates of 0.5 mm, wires of 1 mm, capsules that are spheres."""
    if kind == "box":
        half = rng.uniform(0.02, 0.4, 3)
        half[rng.integers(3)] *= rng.choice([1.0, 1.0, 1.0, 0.00025 / half.max()])
        return Box(half)
    if kind == "capsule":
        return Capsule(rng.choice([0.0005, 0.05, 0.1]), rng.choice([0.0, 0.1, 0.5]))
    if kind == "cylinder":
        return Cylinder(rng.choice([0.0005, 0.05, 0.2]), rng.choice([0.00025, 0.1, 0.4]))
    if kind == "hull":
        points = rng.normal(size=(rng.integers(20, 60), 3))
        points /= np.linalg.norm(points, axis=1)[:, None]
        return Hull(points * rng.uniform(0.05, 0.3, 3))
    return Mesh(rng.normal(size=(1, 3, 3)) * 0.2, closed=False)


def table(shapes) -> Solids:
    """The table of shapes, each its own body at its own frame."""
    return Solids.of([Body(str(k), s) for k, s in enumerate(shapes)])


def scene(kinds, count, seed, level=False):
    """Pairs at random poses, the second about 0.5 m from the first.

    Returns (shapes_a, shapes_b, arguments of `separation`).
    """
    rng = np.random.default_rng(seed)
    first = [shape(kinds[0], rng) for _ in range(count)]
    second = [shape(kinds[1], rng) for _ in range(count)]
    if level:
        choice = np.array(EXACT_ANGLES + SLIGHT_ANGLES)
        turned = choice[rng.integers(len(choice), size=(2, count))]
    else:
        turned = rotations(rng, count), rotations(rng, count)
    place_a, place_b = rng.normal(size=(2, count, 3)) * 0.35
    if level:
        place_b = np.where(rng.random((count, 3)) < 0.3, place_a, place_b)
    index = np.arange(count)
    a, b = table(first), table(second)
    return first, second, (a, index, turned[0], place_a, b, index, turned[1], place_b)


def pick(arguments, rows):
    """The arguments of `separation` for some rows only."""
    return tuple(v if isinstance(v, Solids) else v[rows] for v in arguments)
