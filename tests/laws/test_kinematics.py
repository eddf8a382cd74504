"""Laws that forward and inverse kinematics obey, whatever the arm's dimensions.

Each asks how an inverse could be wrong and still look right: a branch that is missing, an
answer that belongs to another pose, a label that follows the solver's order.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from envelope.arm.arm import TURN
from envelope.arm.chain import BLOCK, Chain, Link
from envelope.arm.families import FAMILIES, build
from envelope.geometry.frames import rotate_about
from tests.support.made_arms import DIMENSIONS, SLIDES, joints, make, random_joints

COUNT = 100_000


@pytest.fixture(params=list(FAMILIES))
def arm(request):
    return make(request.param)


def plain_flange_pose(chain, q):
    """The flange of one configuration, by multiplying out one matrix after the other."""
    poses = [np.eye(4)]
    for link in chain.links:
        amount = link.multiplier * q[link.source]
        step = np.eye(4)
        step[:3, 3] = link.origin
        if link.prismatic:
            step[:3, 3] = link.origin + amount * link.axis
        else:
            step[:3, :3] = rotate_about(link.axis, np.array(amount))
        poses.append(poses[link.parent] @ step)
    return poses[chain.flange_link] @ chain.link_from_flange


def circle_distance(first, second):
    return np.abs((first - second + np.pi) % TURN - np.pi)


def apart(arm, first, second):
    """How far joint coordinates are from each other; angles on the circle."""
    slides = list(SLIDES.get(arm.family, ()))
    distance = circle_distance(first, second)
    distance[..., slides] = np.abs(first - second)[..., slides]
    return distance


def reduced_jacobian(arm, q):
    """The rows in which the arm can move at all: a level flange keeps two angles."""
    jacobian = arm.chain.jacobian(q)
    return jacobian if arm.dof == 6 else jacobian[:, [0, 1, 2, 5]]


def test_every_joint_vector_comes_back_from_its_own_pose(arm):
    q = random_joints(arm, COUNT)
    poses = arm.chain.flange_poses(q)
    answers = arm.inverse(poses)
    label = arm.label(q)
    back = answers.q[np.arange(COUNT), label]
    count = np.bincount(label, minlength=len(arm.branch_names))
    assert count.min() > COUNT / 50  # each branch was asked for, many times over
    returned = (apart(arm, back, q) < 1e-6).all(axis=1)
    assert np.bincount(label[returned], minlength=len(count)).tolist() == count.tolist()
    assert np.abs(arm.chain.flange_poses(back) - poses).max() < 1e-9
    angles = back[:, list(arm.chain.turning())]
    assert (angles > -np.pi).all()
    assert (angles <= np.pi).all()
    assert [k for k, turns in enumerate(arm.chain.turning()) if not turns] == list(
        SLIDES.get(arm.family, ())
    )


def test_the_label_of_a_branch_is_its_own_number(arm):
    poses = arm.chain.flange_poses(random_joints(arm, 5000, 1))
    answers = arm.inverse(poses)
    _, branch = np.nonzero(answers.found)
    q = answers.q[answers.found]
    regular = np.abs(np.linalg.det(reduced_jacobian(arm, q))) > 1e-4
    assert regular.mean() > 0.95
    assert (arm.label(q)[regular] == branch[regular]).all()


def test_a_label_does_not_change_by_whole_turns(arm):
    q = random_joints(arm, 1000, 2)
    turns = TURN * np.random.default_rng(3).integers(-2, 3, q.shape)
    assert (arm.label(q) == arm.label(q + turns)).all()


def test_signs_of_the_determinant_add_up_to_zero_over_all_branches(arm):
    poses = arm.chain.flange_poses(random_joints(arm, 3000, 4))
    answers = arm.inverse(poses)
    signs = np.zeros(answers.found.shape)
    determinant = np.linalg.det(reduced_jacobian(arm, answers.q[answers.found]))
    signs[answers.found] = np.sign(determinant)
    size = np.full(answers.found.shape, np.inf)
    size[answers.found] = np.abs(determinant)
    regular = size.min(axis=1) > 1e-5
    assert regular.mean() > 0.9
    if arm.family == "gantry":  # never singular, so with one answer to every pose
        assert (signs == 1.0).all()
        return
    assert (signs[regular].sum(axis=1) == 0).all()
    for branch in range(signs.shape[1]):
        has_it = regular & answers.found[:, branch]
        without = np.delete(signs[has_it], branch, axis=1)
        assert has_it.any()
        assert (without.sum(axis=1) != 0).all()


def test_answers_of_one_pose_differ_from_each_other(arm):
    answers = arm.inverse(arm.chain.flange_poses(random_joints(arm, 500, 5)))
    branches = answers.q.shape[1]
    for first in range(branches):
        for second in range(first):
            both = answers.found[:, first] & answers.found[:, second]
            distance = apart(arm, answers.q[both, first], answers.q[both, second]).max(axis=1)
            assert np.median(distance) > 0.1


def singular_joints(arm):
    """Configurations at and beside singular ones: straight arm, folded arm, straight wrist."""
    rng = np.random.default_rng(6)
    bends = np.concatenate([[0.0], 10.0 ** np.arange(-16.0, -2.0)])
    bends = np.concatenate([bends, -bends])
    groups = []
    for joint in (2, 4) if arm.dof == 6 else (2,):
        for home in (0.0, np.pi):
            q = rng.uniform(-3.0, 3.0, (len(bends), arm.dof))
            straight = {
                "spherical wrist": -np.arctan2(0.79, 0.13),
                "three parallel axes": -np.pi / 2,
                "parallelogram": q[:, 1] - np.pi / 2,
                "column arm": 0.0,
                "gantry": 0.0,
            }[arm.family]
            q[:, joint] = (straight if joint == 2 else 0.0) + home + bends
            groups.append(q)
    return np.concatenate(groups)


def test_singular_poses_get_a_right_answer_and_no_wrong_one(arm):
    q = singular_joints(arm)
    poses = arm.chain.flange_poses(q)
    answers = arm.inverse(poses)
    assert answers.found.any(axis=1).all()
    best = np.full(len(q), np.inf)
    for row, branch in zip(*np.nonzero(answers.found), strict=True):
        gap = plain_flange_pose(arm.chain, answers.q[row, branch]) - poses[row]
        assert np.abs(gap[:3, 3]).max() < 1e-5
        assert np.abs(gap[:3, :3]).max() < np.radians(1e-3)
        best[row] = min(best[row], np.abs(gap).max())
    assert best.max() < 1e-9


@pytest.mark.parametrize("bend", [0.0, 1e-12, 1e-10])
@pytest.mark.parametrize("home", [0.0, np.pi])
def test_of_two_wrist_axes_in_line_the_free_joint_stays_at_zero(bend, home):
    for family, free in (("spherical wrist", 3), ("three parallel axes", 5)):
        arm = make(family)
        q = random_joints(arm, 200, 7)
        q[:, 4] = home + bend
        answers = arm.inverse(arm.chain.flange_poses(q))
        in_line = answers.found & (np.abs(np.sin(answers.q[:, :, 4])) < 5e-10)
        assert (in_line.sum(axis=1) >= 2).all()
        at_zero = (answers.q[in_line][:, free] == 0.0).mean()
        # Of the offset wrist, joint 6 leaves zero where joint 4 would be out of reach there.
        assert at_zero == 1.0 if free == 3 else at_zero > 0.8


def test_a_wrist_over_the_first_axis_is_answered():
    arm = build(
        "test",
        "spherical wrist",
        {**DIMENSIONS["spherical wrist"], "shoulder_lateral": 0.0},
        joints(6),
    )
    poses = arm.chain.flange_poses(random_joints(arm, 100, 8))
    poses[:, :3, 3] = 0.14 * poses[:, :3, 2] + np.array([0.0, 0.0, 1.9])
    answers = arm.inverse(poses)
    assert answers.found.any(axis=1).all()
    for row, branch in zip(*np.nonzero(answers.found), strict=True):
        assert (
            np.abs(plain_flange_pose(arm.chain, answers.q[row, branch]) - poses[row]).max() < 1e-9
        )


@pytest.mark.parametrize("family", [name for name in FAMILIES if name != "gantry"])
def test_a_pose_just_out_of_reach_has_no_answer(family):
    arm = make(family)
    q = random_joints(arm, 200, 9)
    straight = {
        "spherical wrist": -np.arctan2(0.79, 0.13),
        "three parallel axes": -np.pi / 2,
        "parallelogram": 1.0 - np.pi / 2,
        "column arm": 0.0,
    }[family]
    heading, rise = q[:, 0], 1 / np.tan(1.0)
    if family == "column arm":
        heading, rise = q[:, 1], 0.0
    else:
        q[:, 1] = 1.0
    q[:, 2] = straight
    poses = arm.chain.flange_poses(q)
    along = np.stack([np.cos(heading), np.sin(heading), np.full(len(q), rise)], axis=1)
    poses[:, :3, 3] += 1e-3 * along
    assert not arm.inverse(poses).found[:, :4].any(axis=1).all()
    further = poses.copy()
    further[:, :3, 3] += 9.0 * along
    assert not arm.inverse(further).found.any()
    assert np.isnan(arm.inverse(further).q).all()


def test_an_answer_that_misses_the_pose_is_not_believed(arm):
    poses = arm.chain.flange_poses(random_joints(arm, 300, 10))
    honest = arm.inverse(poses)
    for joint in range(arm.dof):

        def off(poses, joint=joint, solve=arm.solve):
            q = solve(poses)
            q[:, 0, joint] += 1e-3
            return q

        spoilt = replace(arm, solve=off).inverse(poses)
        assert honest.found[:, 0].sum() > 50
        assert not spoilt.found[:, 0].any()
        assert (spoilt.found[:, 1:] == honest.found[:, 1:]).all()


@pytest.mark.parametrize("family", ["parallelogram", "column arm", "gantry"])
def test_a_flange_that_is_not_level_is_out_of_reach_of_a_level_arm(family):
    arm = make(family)
    poses = arm.chain.flange_poses(random_joints(arm, 100, 11))
    tilt = rotate_about(np.array([1.0, 0.0, 0.0]), np.array(np.radians(0.01)))
    poses[:, :3, :3] = tilt @ poses[:, :3, :3]
    assert not arm.inverse(poses).found.any()


def test_slides_longer_than_half_a_turn_has_radians_are_told_as_they_are():
    """An answer 2 pi metres beside the right one would be confirmed by nothing but be wrong."""
    arm = make("gantry")
    q = np.array([[4.2, -3.9, 3.6, 0.3]])
    assert arm.inverse(arm.chain.flange_poses(q)).q[0, 0] == pytest.approx(q[0], abs=1e-12)
    arm = make("column arm")
    q = np.array([[-5.1, 0.4, 0.9, 0.3]])
    assert arm.inverse(arm.chain.flange_poses(q)).q[0, 0] == pytest.approx(q[0], abs=1e-12)


def test_answers_do_not_depend_on_the_batch(arm):
    q = random_joints(arm, 2 * BLOCK + 7, 12)
    poses = arm.chain.flange_poses(q)
    together = arm.inverse(poses).q
    pick = np.r_[0:20, BLOCK - 3 : BLOCK + 3, len(q) - 5 : len(q)]
    for row in pick:
        one = slice(row, row + 1)
        assert np.array_equal(arm.chain.flange_poses(q[one]), poses[one])
        assert np.array_equal(arm.inverse(poses[one]).q, together[one], equal_nan=True)
    whole = arm.chain.link_poses(q)
    assert np.array_equal(arm.chain.link_poses(q[5:12]), whole[5:12])


def test_no_poses_give_no_answers(arm):
    answers = arm.inverse(np.zeros((0, 4, 4)))
    assert answers.q.shape == (0, len(arm.branch_names), arm.dof)


def tilted_chain():
    """Axes in all directions, a slide, and a link that follows at half the rate."""
    rng = np.random.default_rng(13)
    axes = rng.normal(size=(5, 3))
    axes /= np.linalg.norm(axes, axis=1)[:, None]
    axes[1] = 0.0, -1.0, 0.0
    links = tuple(
        Link(
            f"link {i}",
            i,
            rng.normal(size=3),
            axes[i],
            min(i, 3),
            0.5 if i == 4 else 1.0,
            i == 2,
        )
        for i in range(5)
    )
    return Chain(links, 4, 5, np.eye(4))


def test_forward_kinematics_equals_the_plain_product(arm):
    for chain in (arm.chain, tilted_chain()):
        q = np.random.default_rng(14).uniform(-7.0, 7.0, (50, chain.dof))
        expected = np.array([plain_flange_pose(chain, row) for row in q])
        assert np.abs(chain.flange_poses(q) - expected).max() < 1e-14 * 50
        links = chain.link_poses(q)[:, chain.flange_link] @ chain.link_from_flange
        assert np.abs(links - expected).max() < 1e-14 * 50


def test_the_jacobian_equals_differences_of_the_pose(arm):
    step = 1e-6
    for chain in (arm.chain, tilted_chain()):
        q = np.random.default_rng(15).uniform(-3.0, 3.0, (40, chain.dof))
        jacobian = chain.jacobian(q)
        now = chain.flange_poses(q)
        for joint in range(chain.dof):
            move = step * np.eye(chain.dof)[joint]
            change = (chain.flange_poses(q + move) - chain.flange_poses(q - move)) / (2 * step)
            spin = change[:, :3, :3] @ np.swapaxes(now[:, :3, :3], 1, 2)
            turned = np.stack([spin[:, 2, 1], spin[:, 0, 2], spin[:, 1, 0]], axis=1)
            assert np.abs(jacobian[:, :3, joint] - change[:, :3, 3]).max() < 1e-8
            assert np.abs(jacobian[:, 3:, joint] - turned).max() < 1e-8


@given(
    value=st.floats(-np.pi, np.pi),
    low=st.floats(-15.0, 14.0),
    width=st.floats(0.0, 20.0),
)
def test_copies_by_whole_turns_are_all_there_and_no_more(value, low, width):
    arm = make("parallelogram")
    lower, upper = np.full(4, -4.0), np.full(4, 4.0)
    lower[2], upper[2] = low, low + width
    q = np.array([[0.5, 0.2, value, -0.1]])
    copies, rows = arm.turns_within(q, lower, upper)
    every = value + TURN * np.arange(-6, 7)
    inside = every[(every >= low - 2e-9) & (every <= low + width + 2e-9)]
    surely = every[(every >= low) & (every <= low + width)]
    assert len(surely) <= len(copies) <= len(inside)
    assert (rows == 0).all()
    assert all(np.abs(inside - copy).min() < 1e-12 for copy in copies[:, 2])
    assert (copies[:, [0, 1, 3]] == q[0, [0, 1, 3]]).all()


def test_copies_reach_the_same_pose_and_skip_what_was_not_found(arm):
    q = random_joints(arm, 50, 16)
    q[7] = np.nan
    limit = np.full(arm.dof, 1.5 * np.pi)
    turning = np.array(arm.chain.turning())
    limit[~turning] = 6.0  # slides go up to 5 m and have no copies
    copies, rows = arm.turns_within(q, -limit, limit)
    assert 7 not in rows
    assert set(rows) == set(range(50)) - {7}
    per_joint = np.where(turning & (np.abs(q) >= np.pi / 2), 2, 1).prod(axis=1)
    assert (np.bincount(rows, minlength=50)[:7] == per_joint[:7]).all()
    assert (np.diff(rows) >= 0).all()
    gap = arm.chain.flange_poses(copies) - arm.chain.flange_poses(q[rows])
    assert np.abs(gap).max() < 1e-13
    assert len(np.unique(copies.round(6), axis=0)) == len(copies)


def test_a_limit_at_half_a_turn_admits_both_ends():
    arm = make("parallelogram")
    limit = np.full(4, np.pi)
    copies, _ = arm.turns_within(np.array([[np.pi, 0.0, 0.0, 0.0]]), -limit, limit)
    assert sorted(copies[:, 0]) == pytest.approx([-np.pi, np.pi])


def sliding_arm():
    arm = make("parallelogram")
    rail = Link("slide", 0, np.zeros(3), np.array([0.0, 1.0, 0.0]), 0, prismatic=True)
    turn = Link("turn", 1, np.zeros(3), np.array([0.0, 0.0, 1.0]), 1)
    return replace(arm, chain=Chain((rail, turn), 2, 2, np.eye(4)), joints=tuple(joints(2)))


def test_a_slide_has_no_whole_turns():
    arm = sliding_arm()
    q = np.array([[0.5, 0.5], [9.0, 0.5]])
    limit = np.array([8.0, 8.0])
    copies, rows = arm.turns_within(q, -limit, limit)
    assert rows.tolist() == [0, 0, 0]
    assert (copies[:, 0] == 0.5).all()
    assert copies[:, 1] == pytest.approx([0.5 - TURN, 0.5, 0.5 + TURN])
    near = arm.unwrap_near(q, np.array([100.0, 100.0]))
    assert (near[:, 0] == q[:, 0]).all()
    assert np.abs(near[:, 1] - 100.0).max() <= np.pi


def test_unwrapped_joints_are_the_nearest_copies(arm):
    rng = np.random.default_rng(17)
    q = random_joints(arm, 300, 18)
    reference = rng.uniform(-12.0, 12.0, (300, arm.dof))
    near = arm.unwrap_near(q, reference)
    turning = np.array(arm.chain.turning())
    assert np.abs(near - reference)[:, turning].max() <= np.pi + 1e-12
    assert (near[:, ~turning] == q[:, ~turning]).all()
    turns = (near - q) / TURN
    assert np.abs(turns - np.rint(turns)).max() < 1e-12
    assert np.abs(arm.chain.flange_poses(near) - arm.chain.flange_poses(q)).max() < 1e-13
