"""The generic arms: what their files promise, and that they stand free of themselves."""

from functools import cache
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from envelope.arm.arm import TURN
from envelope.arm.families import FAMILIES
from envelope.arm.urdf import to_urdf
from envelope.cell.load import load_arm
from envelope.geometry.bodies import Box, Capsule, Cylinder, Hull

FOLDER = Path(__file__).parents[2] / "models" / "arms"
NAMES = sorted(path.stem for path in FOLDER.glob("*.yaml"))
REACH = {name: float(name.split("-")[-2]) / 1e3 for name in NAMES}
ITSELF = 0.005  # [m]: clearance asked for between links by default


@cache
def arm_named(name):
    return load_arm(str(FOLDER / f"{name}.yaml"))


def limits(arm):
    return (
        np.array([joint.lower for joint in arm.joints]),
        np.array([joint.upper for joint in arm.joints]),
    )


def facing_down(x, y, z, yaw=0.0):
    """Flange poses that face straight down, shape (n, 4, 4)."""
    x, y, z, yaw = np.broadcast_arrays(x, y, z, yaw)
    poses = np.zeros((len(x), 4, 4))
    c, s = np.cos(yaw), np.sin(yaw)
    poses[:, 0, 0], poses[:, 1, 0], poses[:, 0, 1], poses[:, 1, 1] = c, s, s, -c
    poses[:, 2, 2], poses[:, 3, 3] = -1.0, 1.0
    poses[:, :3, 3] = np.stack([x, y, z], axis=1)
    return poses


def within_limits(arm, poses):
    """Answers inside all limits: coordinates, and which pose each belongs to."""
    answers = arm.inverse(poses)
    rows = np.nonzero(answers.found)[0]
    copies, copied = arm.turns_within(answers.q[answers.found], *limits(arm))
    inside = (arm.limit_margin(copies) >= -1e-9).all(axis=1)
    return copies[inside], rows[copied[inside]]


def reachable(arm, poses):
    return np.isin(np.arange(len(poses)), within_limits(arm, poses)[1])


def test_all_of_them_are_there():
    assert len(NAMES) == 8
    assert {arm_named(name).family for name in NAMES} == set(FAMILIES)


def test_a_gantry_goes_as_far_as_its_name_says():
    arm = arm_named("gantry-3200-80")
    q = np.random.default_rng(0).uniform(*limits(arm), (40_000, arm.dof))
    x = arm.chain.flange_poses(q)[:, 0, 3]
    assert np.ptp(x) == pytest.approx(3.2, rel=0.001)


@pytest.mark.parametrize("name", [name for name in NAMES if "gantry" not in name])
def test_the_wrist_reaches_about_as_far_as_the_name_says(name):
    """By trying postures, not by adding up dimensions: the outermost wrist over a fine grid."""
    arm = arm_named(name)
    lower, upper = limits(arm)
    q = np.zeros((40_000, arm.dof))
    q[:, 1], q[:, 2] = np.random.default_rng(0).uniform(lower[1:3], upper[1:3], (40_000, 2)).T
    q = q[(arm.limit_margin(q) >= 0.0).all(axis=1)]
    wrist = {"spherical wrist": "wrist", "three parallel axes": "inner wrist"}
    shoulder = 0.4 if arm.family == "column arm" else 0.0  # named for what turns about joint 2
    names = [link.name for link in arm.chain.links]
    index = 1 + names.index(wrist.get(arm.family, "faceplate"))
    places = arm.chain.link_poses(q)[:, index, :3, 3]
    reach = np.hypot(places[:, 0] - shoulder, places[:, 1]).max()
    assert reach == pytest.approx(REACH[name], rel=0.02)


@pytest.mark.parametrize("name", NAMES)
def test_the_file_is_whole(name):
    arm = arm_named(name)
    assert arm.name == name
    assert arm.rating.mass == float(name.split("-")[-1])
    for row, following in zip(arm.rating.table, arm.rating.table[1:], strict=False):
        assert following[0] > row[0]
        assert following[1] <= row[1]
    assert all(mass <= arm.rating.mass for _, mass in arm.rating.table)
    bare = {"drive joint"}  # takes up a turn between lever and rod; nothing to see
    links = {"base", *(link.name for link in arm.chain.links)} - bare
    names = ("base", *(link.name for link in arm.chain.links))
    assert {names[item.link] for item in arm.bodies} == links
    assert to_urdf(arm).count("<collision") > len(links) - 2


@pytest.mark.parametrize(
    "name", ["offset-wrist-1300-12", "offset-wrist-1750-25", "spherical-1800-25"]
)
def test_the_flange_turns_more_than_once(name):
    lower, upper = limits(arm_named(name))
    assert upper[5] - lower[5] > TURN


# Layout of a trial on paper: riser, near edge of the pallet, deck, carton, tool [m].
def trial(rows_x, rows_y, riser, tool, top):
    """Flange poses over all carton centres of a layer whose top is that high."""
    x, y = (grid.ravel() for grid in np.meshgrid(rows_x, rows_y))
    turns = np.repeat([0.0, np.pi / 2], len(x))
    return facing_down(np.tile(x, 2), np.tile(y, 2), top + tool - riser, turns)


SMALL_X = 0.35 + np.array([0.15, 0.45, 0.65])
SMALL_Y = np.array([-0.4, 0.0, 0.4])


def test_a_small_arm_on_a_riser_builds_five_layers():
    arm = arm_named("offset-wrist-1300-12")
    for layer in range(1, 6):
        poses = trial(SMALL_X, SMALL_Y, 1.0, 0.18, 0.144 + 0.25 * layer)
        above = poses.copy()
        above[:, 2, 3] += 0.1
        assert reachable(arm, poses).all()
        assert reachable(arm, above).all()
    pick = facing_down([0.7], [0.0], 0.7 + 0.25 + 0.18 - 1.0)
    assert reachable(arm, pick).all()


def test_seven_layers_run_a_small_arm_out_of_reach():
    arm = arm_named("offset-wrist-1300-12")
    poses = trial(SMALL_X, SMALL_Y, 1.0, 0.18, 0.144 + 0.25 * 7)
    far = reachable(arm, poses)
    assert not far.all()
    assert not far[np.argmax(np.hypot(poses[:, 0, 3], poses[:, 1, 3]))]


def test_an_off_centre_group_is_reached_when_it_is_turned_inboard():
    """Seven layers of nine; the flange stands 200 mm beside the carton's centre."""
    arm = arm_named("spherical-1800-25")
    centre_x = 0.5 + 0.01 + 0.26 * (np.arange(3) + 0.5)
    outermost = 0.0
    for layer in range(1, 8):
        top = 0.144 + 0.23 * layer
        for x in centre_x:
            for y in (-0.4, 0.0, 0.4):
                inboard = y - 0.2 * np.sign(y)
                pose = facing_down([x, x], [inboard, inboard], [top + 0.22 - 0.5, top - 0.18])
                assert reachable(arm, pose).all()
                outermost = max(outermost, np.hypot(x, y + 0.2))
    outboard = facing_down([outermost], [0.0], 1.754 + 0.22 - 0.5 + 0.23 + 0.1)
    assert not reachable(arm, outboard).any()


def test_the_level_arm_builds_pallets_as_high_as_two_metres_twenty():
    arm = arm_named("palletizer-3000-160")
    for top in (0.144 + 0.2, 1.2, 2.2):
        for lift in (0.0, 0.1):
            poses = trial(np.linspace(0.95, 1.85, 4), np.linspace(-0.5, 0.5, 5), 0.0, 0.22, top)
            poses[:, 2, 3] += lift
            assert reachable(arm, poses).all()


def solids(arm):
    """Each body as a solid of the library coal."""
    coal = pytest.importorskip("coal", exc_type=ImportError)
    made = []
    for item in arm.bodies:
        shape = item.body.shape
        if isinstance(shape, Box):
            made.append(coal.Box(*(2.0 * shape.half)))
        elif isinstance(shape, Capsule):
            made.append(coal.Capsule(shape.radius, 2.0 * shape.half))
        elif isinstance(shape, Cylinder):
            made.append(coal.Cylinder(shape.radius, 2.0 * shape.half))
        else:
            assert isinstance(shape, Hull)
            points = coal.StdVec_Vec3s()
            for vertex in shape.vertices:
                points.append(vertex)
            made.append(coal.Convex.convexHull(points, True, "Qt"))
    return made


def distances(arm, q):
    """Least distance of each pair of links at one posture, by coal, {(link, link): m}."""
    coal = pytest.importorskip("coal", exc_type=ImportError)
    names = ("base", *(link.name for link in arm.chain.links))
    poses = arm.chain.link_poses(q[None])[0]
    placed = []
    for item, solid in zip(arm.bodies, solids(arm), strict=True):
        pose = poses[item.link] @ item.body.pose
        placed.append((names[item.link], solid, coal.Transform3s(pose[:3, :3], pose[:3, 3])))
    least = {}
    request = coal.DistanceRequest()
    for (first, a, at_a), (second, b, at_b) in combinations(placed, 2):
        if first != second:
            distance = coal.distance(a, at_a, b, at_b, request, coal.DistanceResult())
            pair = frozenset((first, second))
            least[pair] = min(least.get(pair, np.inf), distance)
    return least


def listed(arm):
    return {frozenset((pair.first, pair.second)) for pair in arm.touching}


def test_arms_on_slides_build_pallets_as_high_as_their_slides_allow():
    for name, x, tops in (
        ("column-arm-1600-50", np.linspace(0.95, 1.5, 4), (0.344, 1.2, 2.0)),
        ("gantry-3200-80", np.linspace(-1.2, 1.8, 4), (0.344, 1.2, 2.0)),
    ):
        arm = arm_named(name)
        for top in tops:
            assert reachable(arm, trial(x, np.linspace(-0.4, 0.4, 5), 0.0, 0.22, top)).all()
        last = arm.joints[2 if "gantry" in name else 0].upper
        over = arm.chain.flange_poses(np.zeros((1, arm.dof)))[0, 2, 3] + last - 0.22
        assert reachable(arm, trial(x, np.zeros(1), 0.0, 0.22, over - 1e-6)).all()
        assert not reachable(arm, trial(x, np.zeros(1), 0.0, 0.22, over + 1e-6)).any()


WORK = {  # riser, near edge, depth and width of the pallet, lowest and highest flange [m]
    "column-arm-1600-50": (0.0, 0.75, 0.8, 1.0, 0.6, 2.2),
    "gantry-3200-80": (0.0, -1.3, 3.2, 2.2, 0.6, 2.3),
    "offset-wrist-1300-12": (1.0, 0.35, 0.8, 1.2, 0.57, 1.67),
    "offset-wrist-1750-25": (0.8, 0.45, 1.0, 1.2, 0.6, 1.8),
    "palletizer-3000-160": (0.0, 0.7, 1.2, 1.2, 0.54, 2.5),
    "spherical-1300-12": (0.6, 0.4, 0.8, 1.2, 0.5, 1.3),
    "spherical-1800-25": (0.5, 0.5, 0.8, 1.2, 0.59, 2.07),
    "spherical-2600-60": (0.3, 0.7, 1.2, 1.2, 0.5, 2.2),
}


@pytest.mark.peer
@pytest.mark.parametrize("name", NAMES)
def test_links_stand_free_of_each_other_over_a_pallet(name):
    """Flange down anywhere over a pallet: some posture clears every pair that is not listed."""
    arm = arm_named(name)
    riser, near, depth, width, low, high = WORK[name]
    rng = np.random.default_rng(1)
    x = rng.uniform(near + 0.15, near + depth - 0.15, 60)
    y = rng.uniform(0.15 - width / 2, width / 2 - 0.15, 60)
    z = rng.uniform(low, high, 60) - riser
    poses = facing_down(x, y, z, rng.uniform(-np.pi, np.pi, 60))
    q, rows = within_limits(arm, poses)
    plain = {"column arm": "elbow right", "gantry": "mast down"}.get(arm.family, "front, elbow up")
    in_front = np.char.startswith(np.array(arm.branch_names)[arm.label(q)], plain)
    _, first = np.unique(rows[in_front], return_index=True)
    postures = q[in_front][first]
    assert len(postures) == 60
    for posture in postures:
        least = distances(arm, posture)
        free = {pair: gap for pair, gap in least.items() if pair not in listed(arm)}
        assert min(free.values()) > 2 * ITSELF


@pytest.mark.peer
@pytest.mark.parametrize("name", NAMES)
def test_what_is_listed_as_touching_touches_and_is_next_to_it(name):
    """A pair that is let off must have a joint or a pivot in common, seen as no gap."""
    arm = arm_named(name)
    least = distances(arm, np.zeros(arm.dof))
    for pair in listed(arm):
        assert least[pair] < 0.03, sorted(pair)
    joined = {
        frozenset((link.name, ("base", *(other.name for other in arm.chain.links))[link.parent]))
        for link in arm.chain.links
    }
    pivots = {  # closed by the linkage instead of by the tree
        frozenset(("elbow plate", "parallel bar")),
        frozenset(("wrist plate", "tie bar")),
        frozenset(("forearm", "drive rod")),
        frozenset(("upper arm", "forearm")),  # both turn on the elbow's pin
        frozenset(("drive lever", "drive rod")),
    }
    allowed = joined | (pivots if arm.family == "parallelogram" else set())
    assert listed(arm) <= allowed


@pytest.mark.peer
@pytest.mark.parametrize("name", NAMES)
def test_silly_postures_do_collide(name):
    """So that standing free means something. Two families' own limits keep them clear."""
    arm = arm_named(name)
    lower, upper = limits(arm)
    if arm.family in ("parallelogram", "gantry"):
        lower, upper = np.full(4, -np.pi), np.full(4, np.pi)
    met = set()
    for posture in np.random.default_rng(2).uniform(lower, upper, (240, arm.dof)):
        least = distances(arm, posture)
        met |= {pair for pair, gap in least.items() if gap < 0.0 and pair not in listed(arm)}
    assert len(met) >= 2
