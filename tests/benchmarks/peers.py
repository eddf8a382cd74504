"""What an expert would write by hand from general-purpose libraries, as well as we can.

Each peer is asked for contact alone, with bodies shrunk by what intended contact allows;
no clearances, no rules by segment. All of them see the same bodies and the same pairs.
"""

from collections.abc import Iterator
from itertools import combinations, pairwise

import coal
import fcl
import numpy as np
import pinocchio as pin

from envelope.checks.cast import Cast
from envelope.geometry.bodies import Body, Box, Capsule, Cylinder
from tests.support.peer_distance import peer_shapes

from .job import Job, Kin, Stretch, apart, corners, shrunk

Stretches = list[tuple[str, Cast, Stretch]]
CAP = 0.1  # [m]: distances beyond are not told apart, by anybody
RESOLVED = 0.001  # [m]: the adaptive loop halves no further than this, as the dense one samples
STRIDE = (
    0.4  # [m]: travel of the intervals it starts with; 0.05 took four times as long, 1.2 as long
)


def placed(body: Body) -> coal.CollisionObject:
    at = coal.Transform3s(np.array(body.pose[:3, :3]), np.array(body.pose[:3, 3]))
    return coal.CollisionObject(peer_shapes(body)[0], at)


class Mover:
    """The arm and what it holds: a geometry model of `pin` with a tree over its bodies."""

    def __init__(self, job: Job, cast: Cast, kin: Kin, actors: tuple[int, ...]) -> None:
        self.kin, self.actors = kin, actors
        self.geometry = pin.GeometryModel()
        for index in actors:
            body = shrunk(job, cast, index)
            joint = kin.joint[cast.actors[index].link]
            at = pin.SE3(np.array(body.pose))
            self.geometry.addGeometryObject(
                pin.GeometryObject(str(index), joint, at, peer_shapes(body)[0])
            )
        self.pairs = [
            (j, i)
            for i in range(len(actors))
            for j in range(i)
            if apart(cast, actors[j], actors[i])
        ]
        for j, i in self.pairs:
            self.geometry.addCollisionPair(pin.CollisionPair(j, i))
        self.data = self.geometry.createData()
        self.tree = pin.BroadPhaseManager_DynamicAABBTreeCollisionManager(
            kin.model, self.geometry, self.data
        )
        self.objects = list(self.tree.getCollisionObjects())

    def meets_itself(self, q: np.ndarray) -> bool:
        """Move to a configuration and look at the arm itself."""
        return pin.computeCollisions(self.kin.model, self.kin.data, self.tree, q, True)

    def move(self, q: np.ndarray) -> None:
        pin.updateGeometryPlacements(self.kin.model, self.kin.data, self.geometry, self.data, q)
        self.tree.update(False)


class PinCoal:
    """`pin` for the arm and the arm with itself, `coal` trees for what stands about."""

    def __init__(self, job: Job, stretches: Stretches) -> None:
        self.job, self.kin, self.stretches = job, Kin(job.cell), stretches
        self._movers: dict[tuple[int, tuple[int, ...]], Mover] = {}
        self._cast: Cast | None = None
        self.configurations = 0

    def prepare(self, cast: Cast, stretch: Stretch) -> Mover:
        """Everything about as it stands in a segment: only what changed is put in or taken out."""
        if cast is not self._cast:
            self._cast = cast
            self._still = {
                index: placed(body)
                for index, body in enumerate(cast.bodies)
                if not cast.actors[index].link and cast.actors[index].role != "arm"
            }
            self.standing: set[int] = set()
            self.trees = coal.DynamicAABBTreeCollisionManager()
        wanted = set(stretch.still)
        for index in self.standing - wanted:
            self.trees.unregisterObject(self._still[index])
        for index in wanted - self.standing:
            self.trees.registerObject(self._still[index])
        if wanted != self.standing:
            self.trees.setup()
        self.standing = wanted
        key = (id(cast), stretch.moving)
        if key not in self._movers:
            base = tuple(i for i, a in enumerate(cast.actors) if not a.link and a.role == "arm")
            self._movers[key] = Mover(self.job, cast, self.kin, (*base, *stretch.moving))
        return self._movers[key]

    def answers(self, met) -> dict[str, bool]:
        """By cycle, whether anything meets anything."""
        found: dict[str, bool] = {}
        for name, cast, stretch in self.stretches:
            if not found.get(name, False):
                found[name] = met(cast, stretch)
        return found

    def yes_or_no(self) -> dict[str, bool]:
        return self.answers(self._dense)

    def _dense(self, cast: Cast, stretch: Stretch) -> bool:
        mover, trees = self.prepare(cast, stretch), self.trees
        moving, callback = mover.tree.getManager(), coal.CollisionCallBackDefault()
        for q in self.kin.rows(stretch.samples):
            self.configurations += 1
            if mover.meets_itself(q):
                return True
            trees.collide(moving, callback)
            if callback.data.result.isCollision():
                return True
        return False

    def distances(self) -> dict[str, bool]:
        return self.answers(self._distances)

    def _distances(self, cast: Cast, stretch: Stretch) -> bool:
        """The least distance of each moving body from what stands, and of the arm from itself."""
        mover, trees = self.prepare(cast, stretch), self.trees
        base = len(mover.actors) - len(stretch.moving)
        bodies = mover.objects[base:]
        callback = coal.DistanceCallBackDefault()
        least = [CAP] * len(bodies)
        itself = CAP
        for q in self.kin.rows(stretch.samples):
            self.configurations += 1
            mover.move(q)
            for number, body in enumerate(bodies):
                # What was found before is the cap: only what comes nearer is looked for.
                callback.init()
                callback.data.result.min_distance = least[number]
                trees.distance(body, callback)
                least[number] = min(least[number], callback.data.result.min_distance)
            nearest = pin.computeDistances(mover.geometry, mover.data)
            itself = min(itself, mover.data.distanceResults[nearest].min_distance)
        return min(itself, *least) <= 0.0


class OneTree(PinCoal):
    """The same by `pin` alone: one geometry model of everything, one tree, in one call."""

    def prepare(self, cast: Cast, stretch: Stretch) -> Mover:
        base = tuple(i for i, a in enumerate(cast.actors) if not a.link and a.role == "arm")
        key = (0, (*base, *stretch.moving, *stretch.still))
        if key not in self._movers:
            self._movers = {key: Mover(self.job, cast, self.kin, key[1])}
        return self._movers[key]

    def _dense(self, cast: Cast, stretch: Stretch) -> bool:
        mover = self.prepare(cast, stretch)
        rows = self.kin.rows(stretch.samples)
        self.configurations += len(rows)
        return any(mover.meets_itself(q) for q in rows)


class Adaptive(PinCoal):
    """Halves an interval until every body is farther away than it can travel in it.

    Source: Schwarzer, Saha and Latombe, T-RO 21 (2005). A body that is found safe over an
    interval is not looked at again within it.
    """

    def __init__(self, job: Job, stretches: Stretches) -> None:
        super().__init__(job, stretches)
        self._levers: dict[tuple[int, int], np.ndarray] = {}

    def yes_or_no(self) -> dict[str, bool]:
        return self.answers(self._adaptive)

    def _adaptive(self, cast: Cast, stretch: Stretch) -> bool:
        mover = self.prepare(cast, stretch)
        base = len(mover.actors) - len(stretch.moving)
        joints = stretch.segment.joints
        steps = np.abs(np.diff(joints, axis=0))
        speed = np.zeros((len(steps), len(mover.actors)))
        for column, index in enumerate(stretch.moving, start=base):
            speed[:, column] = (steps * self._lever(cast, index)).sum(axis=1)
        travel = np.concatenate([np.zeros((1, speed.shape[1])), np.cumsum(speed, axis=0)])
        rows = np.arange(len(joints), dtype=float)
        clock = np.maximum.accumulate(travel.max(axis=1) + rows * 1e-12)
        request, result = coal.DistanceRequest(), coal.DistanceResult()
        callback = coal.DistanceCallBackDefault()
        bounds = np.linspace(0.0, clock[-1], 1 + int(np.ceil(clock[-1] / STRIDE)))
        everybody = list(range(base, len(mover.actors)))
        waiting = [(low, high, everybody, mover.pairs) for low, high in pairwise(bounds)]
        matrix, objects = self.kin.matrix, mover.objects
        while waiting:
            low, high, bodies, pairs = waiting.pop()
            middle = 0.5 * (low + high)
            low_row, row, high_row = np.interp((low, middle, high), clock, rows).tolist()
            mover.move(matrix @ _at(joints, row))
            self.configurations += 1
            here = _at(travel, row)
            room = np.maximum(here - _at(travel, low_row), _at(travel, high_row) - here).tolist()
            last = high - low <= 2.0 * RESOLVED
            open_bodies, open_pairs = [], []
            for number in bodies:
                callback.init()
                callback.data.result.min_distance = room[number] + 1e-6
                self.trees.distance(objects[number], callback)
                gap = callback.data.result.min_distance
                if gap <= 0.0:
                    return True
                if gap < room[number]:
                    open_bodies.append(number)
            for j, i in pairs:
                needed = room[i] + room[j]
                one, two = objects[j], objects[i]
                if one.getAABB().distance(two.getAABB()) >= needed:
                    continue
                result.clear()
                gap = coal.distance(one, two, request, result)
                if gap <= 0.0:
                    return True
                if gap < needed:
                    open_pairs.append((j, i))
            if not last and (open_bodies or open_pairs):
                waiting.append((low, middle, open_bodies, open_pairs))
                waiting.append((middle, high, open_bodies, open_pairs))
        return False

    def _lever(self, cast: Cast, index: int) -> np.ndarray:
        """How far a body travels per unit of each coordinate, at most, shape (dof,) [m]."""
        if (id(cast), index) not in self._levers:
            self._levers[id(cast), index] = levers(self.job, cast, index)
        return self._levers[id(cast), index]


def levers(job: Job, cast: Cast, index: int) -> np.ndarray:
    """Farthest reach of a body from each joint, summed up for each coordinate.

    Neighbouring joints about one axis count together, so that what cancels is not counted.
    """
    chain = job.cell.mounted.arm.chain
    path = chain.path(cast.actors[index].link)
    offset = np.sqrt((corners(cast.bodies[index]) ** 2).sum(axis=1)).max()
    reach = np.zeros(chain.dof)
    # From the tip: a link vector turns by the sum of the parallel joints before it.
    vectors = [np.sqrt((chain.links[k - 1].origin ** 2).sum()) for k in path[1:]] + [offset]
    spins = np.zeros(chain.dof)
    signed: np.ndarray = np.zeros(chain.dof)
    axis = None
    for k, vector in zip(path, vectors, strict=True):
        link = chain.links[k - 1]
        step = np.zeros(chain.dof)
        step[link.source] = link.multiplier
        if axis is not None and abs(abs(axis @ link.axis) - 1.0) < 1e-9:
            signed = signed + step * np.sign(axis @ link.axis)
        else:
            spins, signed, axis = spins + np.abs(signed), step, link.axis
        reach += (spins + np.abs(signed)) * vector
    return reach


def _at(table: np.ndarray, row: float) -> np.ndarray:
    start = min(int(row), len(table) - 2)
    return table[start] + (row - start) * (table[start + 1] - table[start])


# --- python-fcl ---------------------------------------------------------------------------------


def fcl_shape(body: Body):
    shape = body.shape
    if isinstance(shape, Box):
        return fcl.Box(*(2.0 * shape.half))
    if isinstance(shape, Capsule):
        return fcl.Capsule(shape.radius, 2.0 * shape.half)
    if isinstance(shape, Cylinder):
        return fcl.Cylinder(shape.radius, 2.0 * shape.half)
    from scipy.spatial import ConvexHull

    faces = ConvexHull(shape.vertices).simplices
    model = fcl.BVHModel()
    model.beginModel(len(shape.vertices), len(faces))
    model.addSubModel(np.array(shape.vertices), faces)
    model.endModel()
    return model


class Fcl:
    """Dense, `python-fcl` managers: one for what stands, one for each link; joints by `pin`."""

    def __init__(self, job: Job, stretches: Stretches) -> None:
        self.job, self.kin, self.stretches = job, Kin(job.cell), stretches
        self.configurations = 0

    def yes_or_no(self) -> dict[str, bool]:
        found: dict[str, bool] = {}
        for name, cast, stretch in self.stretches:
            if not found.get(name, False):
                found[name] = any(self._each(cast, stretch))
        return found

    def _each(self, cast: Cast, stretch: Stretch) -> Iterator[bool]:
        base = [i for i, a in enumerate(cast.actors) if not a.link and a.role == "arm"]
        things, links = [], {}
        for index in (*base, *stretch.moving):
            body, link = shrunk(self.job, cast, index), cast.actors[index].link
            things.append((self._object(body), self.kin.joint[link], pin.SE3(np.array(body.pose))))
            # Callbacks cannot tell who is who: what is not watched is kept in one manager.
            links.setdefault(link, ([], []))
            links[link][0].append(index)
            links[link][1].append(things[-1][0])
        managers = {link: self._manager(objects) for link, (_, objects) in links.items()}
        pairs = [
            (managers[a], managers[b])
            for a, b in combinations(links, 2)
            if apart(cast, links[a][0][0], links[b][0][0])
        ]
        still = self._manager([self._object(cast.bodies[index]) for index in stretch.still])
        pairs.extend((still, managers[link]) for link in links if link)
        for q in self.kin.rows(stretch.samples):
            self.configurations += 1
            pin.forwardKinematics(self.kin.model, self.kin.data, q)
            for thing, joint, at in things:
                pose = self.kin.data.oMi[joint] * at
                thing.setTransform(fcl.Transform(pose.rotation, pose.translation))
            for manager in managers.values():
                manager.update()
            met = fcl.CollisionData()
            for one, two in pairs:
                one.collide(two, met, fcl.defaultCollisionCallback)
            yield met.result.is_collision

    @staticmethod
    def _manager(objects: list):
        manager = fcl.DynamicAABBTreeCollisionManager()
        manager.registerObjects(objects)
        manager.setup()
        return manager

    @staticmethod
    def _object(body: Body):
        at = fcl.Transform(np.array(body.pose[:3, :3]), np.array(body.pose[:3, 3]))
        return fcl.CollisionObject(fcl_shape(body), at)
