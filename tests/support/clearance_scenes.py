"""Random motions among random solids: what clearance proofs are tried on.

Everything comes from the generator handed in, so that a scene can be made again from
its seed.
"""

from dataclasses import dataclass

import numpy as np

from envelope.arm.chain import Chain, Link
from envelope.arm.travel import Travel
from envelope.cell.load import arm_names, load_arm
from envelope.geometry.bodies import Body, Box, Capsule, Cylinder, Hull, Mesh, Shape
from envelope.geometry.frames import rotate_about
from envelope.geometry.queries import Limits, Pairs
from envelope.geometry.solids import Solids
from envelope.geometry.stage import Pieces, Stage

CONTACT = 1e-4  # [m]
_ARMS = {name: load_arm(name) for name in arm_names()}
ARMS = tuple(_ARMS)
SLIDING = tuple(name for name, arm in _ARMS.items() if not all(arm.chain.turning()))
TURNING = tuple(name for name in ARMS if name not in SLIDING)


@dataclass(frozen=True)
class Scene:
    """Bodies on links, their motion, and which body pairs are asked about together.

    Attributes:
        link: Link of each body; 0 stands still.
        asked: For each query its segment and its pairs of bodies, the moving one first.
    """

    name: str
    chain: Chain
    bodies: tuple[Body, ...]
    link: tuple[int, ...]
    pieces: Pieces
    asked: tuple[tuple[int, tuple[tuple[int, int], ...]], ...]
    limits: Limits

    def stage(self) -> Stage:
        parts = Solids.of(self.bodies)
        link = np.array(self.link, dtype=np.intp)[parts.owner]
        return Stage(Travel(self.chain), parts, link, self.pieces)

    def pairs(self) -> Pairs:
        """The pairs of parts that make up the pairs of bodies."""
        owner = Solids.of(self.bodies).owner
        rows = [
            (segment, a, b, query)
            for query, (segment, pairs) in enumerate(self.asked)
            for first, second in pairs
            for a in np.flatnonzero(owner == first)
            for b in np.flatnonzero(owner == second)
        ]
        table = np.array(rows, dtype=np.intp).reshape(-1, 4).T
        return Pairs(*table)

    def joints(self, piece: int, share: float) -> np.ndarray:
        first, last = self.pieces.first[piece], self.pieces.last[piece]
        return first + share * (last - first)


def random_rotation(rng: np.random.Generator) -> np.ndarray:
    return rotate_about(random_direction(rng), rng.uniform(-np.pi, np.pi))


def random_direction(rng: np.random.Generator) -> np.ndarray:
    vector = rng.normal(size=3)
    return vector / np.sqrt((vector * vector).sum())


def random_shape(rng: np.random.Generator, size: float) -> Shape:
    """A body of about a size [m], thin ones among them."""
    kind = rng.integers(8)
    if kind == 0:
        return Box(size * rng.uniform(0.2, 1.0, 3))
    if kind == 1:
        return Capsule(size * rng.uniform(0.1, 0.5), size * rng.uniform(0.0, 1.0))
    if kind == 2:
        return Cylinder(size * rng.uniform(0.1, 0.8), size * rng.uniform(0.05, 1.0))
    if kind == 3:
        return Hull(size * rng.uniform(-1.0, 1.0, (int(rng.integers(4, 14)), 3)))
    if kind == 4:
        return Mesh(size * rng.uniform(-1.0, 1.0, (int(rng.integers(1, 4)), 3, 3)), False)
    if kind == 5:
        return Box(np.array([size, size * rng.uniform(0.3, 1.0), 0.00025]))  # a plate
    if kind == 6:
        return Capsule(0.0005, size)  # a wire
    return Cylinder(0.0005, size)  # a rod with sharp ends


def random_pose(rng: np.random.Generator, position: np.ndarray) -> np.ndarray:
    pose = np.eye(4)
    pose[:3, :3] = random_rotation(rng) if rng.random() < 0.7 else np.eye(3)
    pose[:3, 3] = position
    return pose


def random_chain(rng: np.random.Generator, most: int = 6) -> Chain:
    """A tree of turning joints; some parallel, some driven together, some slides first."""
    links: list[Link] = []
    count = int(rng.integers(1, most + 1))
    slides = int(rng.integers(0, 3)) if rng.random() < 0.4 else 0
    for index in range(slides + count):
        parent = index if rng.random() < 0.8 else int(rng.integers(min(slides, index), index + 1))
        origin = rng.uniform(-0.6, 0.6, 3) if rng.random() < 0.9 else np.zeros(3)
        axis = random_direction(rng)
        roll = rng.random()
        if links and parent and roll < 0.5:
            axis = links[parent - 1].axis * rng.choice([-1.0, 1.0])
        elif roll < 0.7:
            axis = np.eye(3)[rng.integers(3)]
        source = index
        if links and rng.random() < 0.25:
            source = int(links[rng.integers(len(links))].source)
            if any(link.prismatic for link in links if link.source == source):
                source = index
        multiplier = float(rng.choice([1.0, -1.0, rng.uniform(-2.0, 2.0)]))
        links.append(Link(f"{index}", parent, origin, axis, source, multiplier, index < slides))
    return Chain(tuple(links), slides + count, len(links), np.eye(4))


def lift_along_the_turn(rng: np.random.Generator) -> Chain:
    """A turning joint, a slide along its axis, and another turn about a parallel axis."""
    axis = random_direction(rng)
    links = (
        Link("turn", 0, rng.uniform(-0.3, 0.3, 3), axis, 0),
        Link("lift", 1, rng.uniform(-0.5, 0.5, 3), -axis, 1, 1.0, True),
        Link("end", 2, rng.uniform(-0.5, 0.5, 3), -axis, 2, 1.3),
    )
    return Chain(links, 3, 3, np.eye(4))


def random_scene(
    rng: np.random.Generator, arms: tuple[str, ...] = TURNING, chains: float = 0.5
) -> Scene:
    """An arm or a small chain, moving among things that stand near its way.

    Args:
        rng: What makes it.
        arms: Names of the arms that it may be.
        chains: How often it is a chain.
    """
    if rng.random() < 1.0 - chains:
        name, chain, bodies, link, away = _arm_with_tool(rng, arms)
    else:
        name, chain, bodies, link, away = _chain_with_bodies(rng)
    pieces = _random_pieces(rng, name, chain)
    moving = [i for i, carrier in enumerate(link) if carrier]
    asked: list[tuple[int, tuple[tuple[int, int], ...]]] = []
    for segment in range(len(pieces.start) - 1):
        for mover in rng.choice(moving, min(2, len(moving)), replace=False):
            around: list[tuple[int, int]] = []
            for _ in range(int(rng.integers(1, 4))):
                way = (chain, bodies[mover], link[mover], pieces, segment)
                bodies.append(_near_the_way(rng, *way))
                link.append(0)
                around.append((int(mover), len(bodies) - 1))
            asked.append((segment, tuple(around)))
        apart = [pair for pair in away if rng.random() < 0.5]
        asked.extend((segment, (pair,)) for pair in apart[:3])
    return Scene(
        name, chain, tuple(bodies), tuple(link), pieces, tuple(asked), _limits(rng, len(asked))
    )


def _arm_with_tool(rng, arms):
    name = str(rng.choice(list(arms)))
    arm = _ARMS[name]
    bodies = [entry.body for entry in arm.bodies]
    link = [entry.link for entry in arm.bodies]
    tool = arm.chain.link_from_flange @ random_pose(rng, rng.uniform(-0.1, 0.3, 3))
    bodies.append(Body("tool", random_shape(rng, 0.25), tool))
    link.append(arm.chain.flange_link)
    away = [
        (j, i) for i in range(len(link)) for j in range(i) if abs(link[i] - link[j]) > 1 and link[j]
    ]
    rng.shuffle(away)
    return name, arm.chain, bodies, link, [(int(a), int(b)) for a, b in away]


def _chain_with_bodies(rng):
    chain = lift_along_the_turn(rng) if rng.random() < 0.15 else random_chain(rng, 3)
    bodies, link = [], []
    for index in range(1, len(chain.links) + 1):
        size = rng.uniform(0.03, 0.3)
        pose = random_pose(rng, rng.uniform(-0.3, 0.3, 3))
        bodies.append(Body(f"on {index}", random_shape(rng, size), pose))
        link.append(index)
    away = [(j, i) for i in range(len(link)) for j in range(i) if link[i] != link[j]]
    return "chain", chain, bodies, link, away


def _random_pieces(rng: np.random.Generator, name: str, chain: Chain) -> Pieces:
    segments = int(rng.integers(1, 3))
    counts = rng.integers(1, 5, segments)
    step = rng.choice([0.0, 0.02, 0.3, 3.0], p=[0.05, 0.35, 0.4, 0.2])
    first, last = [], []
    for count in counts:
        q = rng.uniform(-np.pi, np.pi, chain.dof)
        if name in _ARMS:
            low = np.array([joint.lower for joint in _ARMS[name].joints])
            high = np.array([joint.upper for joint in _ARMS[name].joints])
            q = rng.uniform(low, high)
        for _ in range(count):
            moved = q + rng.uniform(-step, step, chain.dof) * (rng.random(chain.dof) < 0.8)
            first.append(q)
            last.append(moved)
            q = moved
    start = np.concatenate([[0], np.cumsum(counts)]).astype(np.intp)
    to_go = rng.uniform(0.0, 0.12, (len(first), 2))
    to_go[rng.random((len(first), 2)) < 0.3] = 0.0
    return Pieces(start, np.array(first), np.array(last), to_go)


def _near_the_way(rng, chain, body, link, pieces, segment) -> Body:
    """A still body near where a moving one passes, between the ends of pieces more often."""
    piece = int(rng.integers(pieces.start[segment], pieces.start[segment + 1]))
    share = rng.choice([0.0, 0.5, 1.0, rng.random(), rng.random()])
    q = pieces.first[piece] + share * (pieces.last[piece] - pieces.first[piece])
    pose = chain.link_poses(q[None])[0, link] @ body.pose
    parts = Solids.of([Body("", body.shape)])
    spot = parts.box_centre.mean(axis=0) + parts.box_half.max(axis=0) * rng.uniform(-1.0, 1.0, 3)
    size = float(rng.choice([0.01, 0.05, 0.2, 0.6]))
    away = random_direction(rng) * rng.choice([0.0, rng.uniform(0.0, 0.1), size, size + 0.08])
    centre = pose[:3, :3] @ spot + pose[:3, 3] + away
    return Body("still", random_shape(rng, size), random_pose(rng, centre))


def _limits(rng: np.random.Generator, count: int) -> Limits:
    full = rng.choice([0.0, -CONTACT, 0.005, 0.010, 0.020], count)
    rest = np.where(rng.random(count) < 0.5, np.minimum(full, -CONTACT), full)
    wanted = rng.choice([0.0, 0.005], count)
    return Limits(full, rest, wanted, 0.05)
