"""Laws of the motion bounds: no point of a body leaves its chord further than is claimed.

The chord is the straight, even motion between a point's end positions. Deviations are
worked out from poses, never from the bound's own formula; the worst cases are searched
for by climbing, since a bound that only random motions keep is none.
"""

import numpy as np
import pytest

from envelope.arm.chain import Chain, Link
from envelope.arm.travel import Travel
from envelope.cell.load import arm_names, load_arm
from envelope.geometry.frames import invert, transform
from tests.support.clearance_scenes import lift_along_the_turn, random_chain, random_direction

SHARES = np.linspace(0.0, 1.0, 17)
ROUNDING = 1e-12  # [m]


def relative_points(chain, q, root, link, points):
    """Points fixed to a link, (k, 3) or (n, k, 3), seen from a root link, for joints (n, dof).

    Returns shape (n, k, 3).
    """
    poses = chain.link_poses(q)
    seen = invert(poses[:, root]) @ poses[:, link]
    return transform(seen, points)


def deviation_shares(chain, root, link, starts, steps, points):
    """Deviation from the chord over what is claimed, for n motions: the greatest of each.

    At a share s a path that bends by at most b is within b s (1 - s) / 2 of its chord.
    """
    travel = Travel(chain)
    bound = travel.bend(steps, root, link)
    each = points.reshape(-1, 3)
    levers = np.array([travel.reach(root, link, point[None]) for point in each])
    bend = bound.fixed[:, None] + bound.spin[:, None] ** 2 * levers.reshape(points.shape[:-1])
    first = relative_points(chain, starts, root, link, points)
    last = relative_points(chain, starts + steps, root, link, points)
    worst = np.zeros(len(starts))
    for share in SHARES[1:-1]:
        now = relative_points(chain, starts + share * steps, root, link, points)
        off = np.linalg.norm(now - (first + share * (last - first)), axis=2)
        allowed = bend * share * (1.0 - share) / 2.0 + ROUNDING
        worst = np.maximum(worst, (off / allowed).max(axis=1))
    return worst


def random_motions(rng, dof, count):
    starts = rng.uniform(-np.pi, np.pi, (count, dof))
    size = rng.choice([1e-3, 0.05, 0.5, 3.0], (count, 1))
    steps = size * rng.uniform(-1.0, 1.0, (count, dof))
    steps[rng.random((count, dof)) < 0.3] = 0.0
    # joints that turn against each other by the same amount: what parallel axes make of it
    equal = rng.random(count) < 0.3
    steps[equal] = size[equal] * rng.choice([-1.0, 0.0, 1.0], (int(equal.sum()), dof))
    return starts, steps


def path_pairs(chain):
    """Links with every root on their path."""
    return [
        (root, link)
        for link in range(1, len(chain.links) + 1)
        for root in (0, *chain.path(link)[:-1])
    ]


def other_pairs(chain):
    """Links with every other root, of those that no slide lies between."""
    on_path, count = set(path_pairs(chain)), len(chain.links) + 1

    def slides(link):
        return {at for at in chain.path(link) if chain.links[at - 1].prismatic}

    return [
        (root, link)
        for root in range(count)
        for link in range(count)
        if root != link and (root, link) not in on_path and slides(root) == slides(link)
    ]


def two_links_of_random_trees(seed, count):
    """Every two links of random trees: chain, bounds, and their numbers."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        chain = random_chain(rng)
        travel, links = Travel(chain), range(len(chain.links) + 1)
        yield from ((chain, travel, first, second) for first in links for second in links)


@pytest.mark.parametrize("seed", range(20))
def test_no_point_of_a_random_tree_leaves_its_chord_further_than_claimed(seed):
    rng = np.random.default_rng(seed)
    chain = lift_along_the_turn(rng) if seed % 10 == 0 else random_chain(rng)
    points = rng.uniform(-1.0, 1.0, (4, 3))
    for root, link in (*path_pairs(chain), *other_pairs(chain)):
        starts, steps = random_motions(rng, chain.dof, 40)
        assert deviation_shares(chain, root, link, starts, steps, points).max() <= 1.0


@pytest.mark.parametrize("name", arm_names())
def test_no_point_of_a_generic_arm_leaves_its_chord_further_than_claimed(name):
    rng = np.random.default_rng(7)
    chain = load_arm(name).chain
    points = rng.uniform(-0.8, 0.8, (4, 3))
    for root, link in (*path_pairs(chain), *other_pairs(chain)):
        starts, steps = random_motions(rng, chain.dof, 100)
        assert deviation_shares(chain, root, link, starts, steps, points).max() <= 1.0


def climbed(chain, root, link, rng, rounds=60, count=48):
    """The worst ratio found by mutating the worst motions and points found so far."""
    starts, steps = random_motions(rng, chain.dof, count)
    points = rng.uniform(-1.0, 1.0, (count, 3))

    def ratios(starts, steps, points):
        return deviation_shares(chain, root, link, starts, steps, points[:, None])

    best = ratios(starts, steps, points)
    for number in range(rounds):
        parent = np.where(rng.random(count) < 0.3, best.argmax(), np.arange(count))
        reach = 0.9**number
        other = (
            starts[parent] + reach * rng.normal(size=starts.shape),
            steps[parent] * (1.0 + 0.5 * reach * rng.normal(size=steps.shape)),
            points[parent] + 0.5 * reach * rng.normal(size=points.shape),
        )
        found = ratios(*other)
        better = found > best
        best = np.where(better, found, best)
        for kept, fresh in zip((starts, steps, points), other, strict=True):
            kept[better] = fresh[better]
    return float(best.max())


@pytest.mark.parametrize(
    "name",
    [
        "spherical-1800-25",
        "offset-wrist-1300-12",
        "palletizer-3000-160",
        "column-arm-1600-50",
        "gantry-3200-80",
    ],
)
def test_climbing_towards_the_bound_of_an_arm_never_passes_it(name):
    chain = load_arm(name).chain
    worst = climbed(chain, 0, chain.flange_link, np.random.default_rng(3))
    assert 0.3 < worst <= 1.0  # the search gets near enough to mean something


def test_climbing_towards_the_bound_of_a_tree_never_passes_it():
    found = []
    for seed in range(5):
        rng = np.random.default_rng(100 + seed)
        chain = random_chain(rng)
        found.append(climbed(chain, 0, len(chain.links), rng, rounds=40))
    assert max(found) <= 1.0
    assert max(found) > 0.9


def test_climbing_towards_the_bound_between_branches_of_a_tree_never_passes_it():
    found = []
    for seed in range(40):
        rng = np.random.default_rng(300 + seed)
        chain = random_chain(rng)
        pairs = other_pairs(chain)
        if pairs and len(found) < 8:
            root, link = pairs[int(rng.integers(len(pairs)))]
            found.append(climbed(chain, root, link, rng, rounds=40))
    assert len(found) == 8
    assert max(found) <= 1.0
    assert max(found) > 0.8


def test_what_turns_about_one_direction_does_not_stray_along_it():
    checked = 0
    chains = [random_chain(np.random.default_rng(seed)) for seed in range(40)]
    chains += [load_arm(name).chain for name in arm_names()]
    for seed, chain in enumerate(chains):
        rng = np.random.default_rng(seed)
        travel, points = Travel(chain), rng.uniform(-1.0, 1.0, (3, 3))
        for root, link in (*path_pairs(chain), *other_pairs(chain)):
            axis = travel.only_axis(root, link)
            if axis is None:
                continue
            starts, steps = random_motions(rng, chain.dof, 10)
            seen = [
                relative_points(chain, starts + share * steps, root, link, points)
                for share in (0.0, 0.3, 1.0)
            ]
            off = seen[1] - (0.7 * seen[0] + 0.3 * seen[2])
            assert np.abs((off * axis).sum(axis=-1)).max() <= 1e-12
            checked += 1
    assert checked > 100


def test_bars_that_turn_alike_do_not_turn_against_each_other():
    arm = load_arm("palletizer-3000-160")
    names = arm.chain.names
    upper_arm, bar = names.index("upper arm"), names.index("parallel bar")
    travel, step = Travel(arm.chain), np.array([[0.2, 0.5, -0.4, 1.0]])
    seat = travel.seat(upper_arm, bar)
    assert seat == upper_arm
    bound = travel.bend(step, seat, bar)
    assert bound.spin[0] == pytest.approx(0.0, abs=1e-15)
    between = np.linalg.norm(
        arm.chain.links[bar - 1].origin - arm.chain.links[upper_arm - 1].origin
    )
    assert bound.fixed[0] <= 0.25 * between + 1e-12
    assert travel.bend(step, 0, bar).spin[0] > 0.5


def test_what_stands_still_is_the_seat_unless_something_slides_between():
    for chain, travel, first, second in two_links_of_random_trees(8, 30):
        seat = travel.seat(first, second)
        assert travel.seat(second, first) == seat
        assert seat in (first, second, travel.common(first, second))
        travel.bend(np.ones((1, chain.dof)), seat, first)
        travel.bend(np.ones((1, chain.dof)), seat, second)


def test_the_second_derivative_is_no_longer_than_the_bend():
    rng = np.random.default_rng(5)
    for _ in range(20):
        chain = random_chain(rng)
        link, points = len(chain.links), rng.uniform(-1.0, 1.0, (3, 3))
        starts, steps = random_motions(rng, chain.dof, 30)
        h = 1e-3 / np.maximum(np.abs(steps).max(axis=1, keepdims=True), 1e-3)
        around = [starts + k * h * steps for k in (-1, 0, 1)]
        sides = [relative_points(chain, q, 0, link, points) for q in around]
        second = (sides[0] - 2.0 * sides[1] + sides[2]) / h[:, :, None] ** 2
        travel = Travel(chain)
        bound = travel.bend(steps, 0, link)
        levers = np.array([travel.reach(0, link, point[None]) for point in points])
        bend = bound.fixed[:, None] + bound.spin[:, None] ** 2 * levers
        # rounding of the difference: 1e-15 m over h squared
        assert (np.linalg.norm(second, axis=2) <= bend * (1 + 1e-9) + 1e-14 / h**2).all()


def test_axes_that_are_all_but_parallel_do_not_count_as_parallel():
    tilted = np.array([np.sin(1e-6), 0.0, np.cos(1e-6)])
    up, out = np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0])
    links = (
        Link("first", 0, np.zeros(3), up, 0),
        Link("second", 1, np.zeros(3), tilted, 1),
        Link("third", 2, np.zeros(3), out, 2),
    )
    chain = Chain(links, 3, 3, np.eye(4))
    steps = np.array([[3.0, -3.0, 0.0]])
    points = 100.0 * np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0]])
    for start in np.linspace(-3.0, 3.0, 7):
        starts = np.full((1, 3), start)
        assert deviation_shares(chain, 0, 2, starts, steps, points).max() <= 1.0


def test_a_single_turn_bends_by_the_lever_about_its_axis():
    rng = np.random.default_rng(11)
    for _ in range(20):
        axis = random_direction(rng)
        chain = Chain((Link("only", 0, rng.uniform(-1, 1, 3), axis, 0),), 1, 1, np.eye(4))
        point = rng.uniform(-1.0, 1.0, (1, 3))
        lever = np.linalg.norm(np.cross(axis, point[0]))
        travel = Travel(chain)
        assert travel.reach(0, 1, point) == pytest.approx(lever, rel=1e-12)
        step = np.array([[0.7]])
        bound = travel.bend(step, 0, 1)
        assert bound.fixed[0] == 0.0
        # exact for a circle: centripetal acceleration
        assert bound.fixed[0] + bound.spin[0] ** 2 * lever == pytest.approx(0.49 * lever)


def test_reach_is_the_greatest_of_many_points():
    chain = random_chain(np.random.default_rng(1))
    points = np.random.default_rng(2).uniform(-1.0, 1.0, (50, 3))
    travel, link = Travel(chain), len(chain.links)
    each = [travel.reach(0, link, point[None]) for point in points]
    assert travel.reach(0, link, points) == max(each)


def test_parallel_joints_that_cancel_do_not_turn_the_tool():
    arm = load_arm("offset-wrist-1300-12")
    travel = Travel(arm.chain)
    steps = np.array([[0.0, 0.3, -0.5, 0.2, 0.0, 0.0]])  # a vertical line: the tool keeps upright
    assert travel.bend(steps, 0, arm.chain.flange_link).spin[0] == pytest.approx(0.0, abs=1e-15)
    apart = np.abs(steps).sum()
    assert travel.bend(np.abs(steps), 0, arm.chain.flange_link).spin[0] == pytest.approx(apart)


def test_a_palletizers_wrist_plate_keeps_upright_whatever_the_arm_does():
    chain = load_arm("palletizer-3000-160").chain
    steps = np.array([[0.0, 0.4, -0.7, 0.0]])
    bound = Travel(chain).bend(steps, 0, chain.flange_link)
    assert bound.spin[0] == pytest.approx(0.0, abs=1e-15)


def test_slides_alone_do_not_bend():
    links = (
        Link("rail", 0, np.zeros(3), np.array([1.0, 0.0, 0.0]), 0, 1.0, True),
        Link("lift", 1, np.array([0.0, 0.2, 0.0]), np.array([0.0, 0.0, 1.0]), 1, 1.0, True),
    )
    bound = Travel(Chain(links, 2, 2, np.eye(4))).bend(np.array([[1.0, -2.0]]), 0, 2)
    assert bound.fixed[0] == 0.0
    assert bound.spin[0] == 0.0


def test_a_slide_across_a_turning_axis_is_refused():
    links = (
        Link("turn", 0, np.zeros(3), np.array([0.0, 0.0, 1.0]), 0),
        Link("boom", 1, np.zeros(3), np.array([1.0, 0.0, 0.0]), 1, 1.0, True),
    )
    with pytest.raises(ValueError, match="boom slides on a turning link"):
        Travel(Chain(links, 2, 2, np.eye(4))).bend(np.ones((1, 2)), 0, 2)


def test_the_common_link_is_the_last_one_that_both_paths_share():
    for chain, travel, first, second in two_links_of_random_trees(4, 20):
        shared = {0, *chain.path(first)} & {0, *chain.path(second)}
        assert travel.common(first, second) == max(shared)
