"""Brackets against a second opinion, the laws of distance, and the guards."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from envelope.geometry.bodies import Body, Box, Capsule, Cylinder, Hull, Mesh
from envelope.geometry.distance import gap_along, inside_mesh, separation
from envelope.geometry.solids import Solids
from tests.geometry.samples import KINDS, PAIRS, pick, rotations, scene, shape, table

WIDTH = 2e-6
ROUNDING = 1e-8
GAPS = [0, 1e-12, 1e-9, 1e-7, 1e-6, 1e-5, 1e-4, -1e-9, -1e-6, -1e-4, -0.015]


def second_opinion(coal, solid):
    """The same solid for coal; a triangle is a hull with two faces."""
    if isinstance(solid, Box):
        return coal.Box(*(2 * solid.half))
    if isinstance(solid, Capsule):
        return coal.Capsule(solid.radius, 2 * solid.half)
    if isinstance(solid, Cylinder):
        return coal.Cylinder(solid.radius, 2 * solid.half)
    points = coal.StdVec_Vec3s()
    if isinstance(solid, Hull):
        points.extend(list(solid.vertices))
        return coal.ConvexBase.convexHull(points, False, "")
    points.extend(list(solid.triangles[0]))
    faces = coal.StdVec_Triangle()
    faces.append(coal.Triangle(0, 1, 2))
    faces.append(coal.Triangle(0, 2, 1))
    return coal.Convex(points, faces)


def opinions(coal, first, second, arguments):
    request = coal.DistanceRequest()
    request.enable_signed_distance = True
    _, _, Ra, pa, _, _, Rb, pb = arguments
    return np.array(
        [
            coal.distance(
                second_opinion(coal, first[k]),
                coal.Transform3s(Ra[k], pa[k]),
                second_opinion(coal, second[k]),
                coal.Transform3s(Rb[k], pb[k]),
                request,
                coal.DistanceResult(),
            )
            for k in range(len(first))
        ]
    )


def moved_to_gaps(arguments, seed):
    """Second solids pushed along the direction found, to touch, nearly touch, or overlap."""
    rng = np.random.default_rng(seed)
    *rest, place = arguments
    for _ in range(4):
        found = separation(*rest, place, cap=10.0, floor=-0.03)
        goal = rng.choice(GAPS, len(place))
        place = place - found.direction * (found.lower - goal)[:, None]
    return (*rest, place)


@pytest.mark.peer
@pytest.mark.parametrize("kinds", PAIRS, ids="-".join)
def test_bracket_holds_the_second_opinion(kinds):
    coal = pytest.importorskip("coal", exc_type=ImportError)
    first, second, arguments = scene(kinds, 250, seed=1)
    found = separation(*arguments, cap=10.0, floor=-10.0)
    other = opinions(coal, first, second, arguments)
    # coal may err low by 0.002 mm on round solids; it never errs high
    assert (found.lower <= other + ROUNDING).all()
    assert (found.upper >= other - ROUNDING - 2.5e-6).all()
    assert (np.abs(found.lower - other) <= 5e-6).all()
    assert (other > 0).sum() > 50
    assert (other < 0).sum() > 2


@pytest.mark.peer
@pytest.mark.parametrize("kinds", PAIRS, ids="-".join)
def test_near_touching_pairs_never_come_out_farther_than_a_second_opinion(kinds):
    coal = pytest.importorskip("coal", exc_type=ImportError)
    first, second, arguments = scene(kinds, 60, seed=2)
    arguments = moved_to_gaps(arguments, seed=3)
    found = separation(*arguments)
    other = opinions(coal, first, second, arguments)
    judged = found.upper > -0.02
    # so near to touching, coal itself is good to its own tolerance of 1e-6 only
    assert (found.lower <= other + 2e-6)[judged].all()
    assert (found.upper >= other - 1e-5)[judged].all()


@pytest.mark.parametrize("level", [False, True])
@pytest.mark.parametrize("kinds", PAIRS, ids="-".join)
def test_bracket_is_narrow_between_floor_and_cap(kinds, level):
    _, _, arguments = scene(kinds, 40, seed=4, level=level)
    found = separation(*moved_to_gaps(arguments, seed=5))
    width = found.upper - found.lower
    assert (width >= 0).all()
    narrow = (width <= WIDTH) | (found.upper < -0.02)
    # round side in round side has no one nearest face: a wide bracket is allowed there
    allowed = 0.1 if "cylinder" in kinds else 0.0
    assert (~narrow).mean() <= allowed
    assert (found.lower[~narrow] < 0).all()


@pytest.mark.parametrize("kinds", PAIRS, ids="-".join)
def test_no_direction_shows_a_gap_above_the_upper_end(kinds):
    # exact overlap claims are only as good as their axes: try thousands of others
    _, _, arguments = scene(kinds, 40, seed=6)
    found = separation(*arguments, cap=10.0, floor=-10.0)
    rng = np.random.default_rng(7)
    for spread in (10.0, 0.1, 1e-3):
        for _ in range(15):
            d = found.direction + spread * rng.normal(size=found.direction.shape)
            assert (gap_along(*arguments, d) <= found.upper + 1e-12).all()


@pytest.mark.parametrize("kinds", PAIRS, ids="-".join)
def test_gap_along_is_what_sampled_surfaces_show(kinds):
    # an independent support function: points of the solid itself, placed and projected
    first, second, arguments = scene(kinds, 20, seed=8)
    _, _, Ra, pa, _, _, Rb, pb = arguments
    d = rotations(np.random.default_rng(9), 20)[:, 0]
    proved = gap_along(*arguments, d)
    for k in range(20):
        high = (surface(first[k]) @ Ra[k].T + pa[k]) @ d[k]
        low = (surface(second[k]) @ Rb[k].T + pb[k]) @ d[k]
        seen = low.min() - high.max()
        assert proved[k] <= seen + 1e-12
        assert proved[k] >= seen - 2e-3  # as fine as the samples are


def surface(solid):
    """Points of a solid: its corners, or a fine sampling of its round parts."""
    angle = np.linspace(0, 2 * np.pi, 240, endpoint=False)
    if isinstance(solid, Box):
        return solid.half * np.array([[i, j, k] for i in (-1, 1) for j in (-1, 1) for k in (-1, 1)])
    if isinstance(solid, Cylinder):
        rim = np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1) * solid.radius
        return np.concatenate([rim + np.array([0, 0, z]) for z in (-solid.half, solid.half)])
    if isinstance(solid, Capsule):
        polar = np.linspace(0, np.pi, 121)[:, None]
        ball = [np.sin(polar) * np.cos(angle), np.sin(polar) * np.sin(angle)]
        ball = np.stack([*ball, np.broadcast_to(np.cos(polar), ball[0].shape)], axis=-1)
        ball = ball.reshape(-1, 3) * solid.radius
        return np.concatenate([ball + np.array([0, 0, z]) for z in (-solid.half, solid.half)])
    return solid.vertices if isinstance(solid, Hull) else solid.triangles[0]


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10**6), kinds=st.sampled_from(PAIRS))
def test_laws_of_distance(seed, kinds):
    _, _, arguments = scene(kinds, 4, seed)
    a, ia, Ra, pa, b, ib, Rb, pb = arguments
    far = {"cap": 10.0, "floor": -0.02}
    here = separation(*arguments, **far)
    judged = here.upper > -0.02
    rng = np.random.default_rng(seed + 1)
    turn, shift = rotations(rng, 1), rng.normal(size=3)

    def carried(points):
        return (turn @ points[..., None])[..., 0] + shift

    moved = separation(a, ia, turn @ Ra, carried(pa), b, ib, turn @ Rb, carried(pb), **far)
    swapped = separation(b, ib, Rb, pb, a, ia, Ra, pa, **far)
    step = rng.normal(size=(4, 3)) * 0.01
    travelled = separation(a, ia, Ra, pa, b, ib, Rb, pb + step, **far)
    for other, travel in ((moved, 0.0), (swapped, 0.0), (travelled, np.linalg.norm(step, axis=1))):
        # two brackets of one value overlap; travel moves it by no more than its length
        assert (other.lower <= here.upper + travel + ROUNDING)[judged].all()
        assert (other.upper >= here.lower - travel - ROUNDING)[judged].all()


def test_an_answer_does_not_depend_on_its_neighbours():
    rng = np.random.default_rng(10)
    solids = table([shape(KINDS[k % 5], rng) for k in range(50)])
    ia, ib = rng.integers(50, size=(2, 300))
    place_a, place_b = rng.normal(size=(2, 300, 3)) * 0.3
    arguments = (solids, ia, rotations(rng, 300), place_a, solids, ib, rotations(rng, 300), place_b)
    whole = separation(*arguments)
    gaps = gap_along(*arguments, whole.direction)
    for rows in (np.arange(0, 300, 7), np.arange(299, 0, -13), np.arange(40), *np.c_[:20]):
        part = separation(*pick(arguments, np.atleast_1d(rows)))
        assert part.lower.tobytes() == whole.lower[np.atleast_1d(rows)].tobytes()
        assert part.upper.tobytes() == whole.upper[np.atleast_1d(rows)].tobytes()
        assert part.direction.tobytes() == whole.direction[np.atleast_1d(rows)].tobytes()
    assert gaps.tobytes() == whole.lower.tobytes()


@pytest.mark.parametrize("kinds", PAIRS, ids="-".join)
@pytest.mark.parametrize("poison", [np.nan, np.inf, -np.inf])
def test_what_is_no_number_never_comes_out_far(kinds, poison):
    _, _, arguments = scene(kinds, 3, seed=11)
    clean = separation(*arguments)
    for place in (2, 3, 6, 7):
        spoiled = list(arguments)
        spoiled[place] = arguments[place].copy()
        spoiled[place][1, 0] = poison
        found = separation(*spoiled)
        assert found.lower[1] == -np.inf
        assert found.upper[1] == np.inf
        assert gap_along(*spoiled, clean.direction)[1] == -np.inf
        assert (found.lower[[0, 2]] == clean.lower[[0, 2]]).all()


def test_no_direction_proves_nothing_and_length_does_not_matter():
    _, _, arguments = scene(("box", "hull"), 4, seed=12)
    d = separation(*arguments).direction
    scaled = gap_along(*arguments, d * np.array([1.0, 1e-200, 1e200, 3.0])[:, None])
    assert np.allclose(scaled, gap_along(*arguments, d), rtol=0, atol=1e-12)
    for nothing in (0.0, np.nan, np.inf):
        assert (gap_along(*arguments, np.full((4, 3), nothing)) == -np.inf).all()


def test_a_body_inside_another_is_deep_however_thick_the_other():
    outer = table([Box(np.full(3, 0.5)), Cylinder(0.5, 0.5), Capsule(0.5, 0.5)])
    inner = table([shape(kind, np.random.default_rng(13)) for kind in KINDS])
    for k in range(3):
        for m in range(5):
            still = (np.eye(3)[None], np.zeros((1, 3)))
            found = separation(outer, [k], *still, inner, [m], *still)
            assert found.lower[0] <= found.upper[0] < -0.02


def test_inside_of_a_mesh():
    tetrahedron = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], float)
    faces = tetrahedron[[[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]]
    points = np.random.default_rng(14).uniform(-0.2, 1.0, (3000, 3))
    expected = (points > 0).all(axis=1) & (points.sum(axis=1) < 1)
    assert (inside_mesh(faces, points) == expected).all()
    assert (inside_mesh(faces[:, ::-1], points) == expected).all()  # turned inside out
    assert 100 < expected.sum() < 2900
    assert inside_mesh(faces, np.array([[np.nan, 0, 0]])).all()
    assert not inside_mesh(np.zeros((0, 3, 3)), points).any()


def test_a_body_behind_a_pose_keeps_its_pose_and_owner():
    pose = np.eye(4)
    pose[:3, 3] = 1, 2, 3
    mesh = Mesh(np.random.default_rng(15).normal(size=(5, 3, 3)), closed=False)
    solids = Solids.of([Body("box", Box(np.ones(3))), Body("mesh", mesh, pose)])
    assert solids.owner.tolist() == [0, 1, 1, 1, 1, 1]
    assert (solids.position[1:] == [1, 2, 3]).all()
    assert len(Solids.of([])) == 0
