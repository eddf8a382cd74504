"""The swept solid against exact cases and against sampling: never too small, and no point of
it farther from the exact solid than the tolerance."""

import numpy as np
import pytest
import shapely
from scipy.optimize import nnls

from envelope.arm.chain import Chain, Link
from envelope.checks.cast import Actor
from envelope.geometry.bodies import Body, Box, Capsule, Cylinder, Hull
from envelope.geometry.frames import from_fixed_angles, invert, pose, transform
from envelope.geometry.voxels import surface
from envelope.surveys.space import swept
from envelope.surveys.space_motions import Motion, Motions, Moving
from envelope.surveys.space_views import offset, outline
from tests.support.clearance_scenes import random_chain, random_shape

TOLERANCE = 0.05
NOWHERE = np.eye(4)


def chain_of(*links: Link) -> Chain:
    return Chain(links, len(links), len(links), np.eye(4))


def slides() -> Chain:
    """Three joints that slide along x, y and z."""
    axes = np.eye(3)
    return chain_of(
        *(Link(f"link {k}", k, np.zeros(3), axes[k], k, prismatic=True) for k in range(3))
    )


def turns(axis) -> Chain:
    """One joint that turns about an axis through the origin."""
    return chain_of(Link("link", 0, np.zeros(3), np.asarray(axis, float), 0))


def solid(chain, body, rows, tolerance=TOLERANCE, base=NOWHERE):
    joints = np.array(rows, dtype=float)
    moving = Moving(Actor("body", "carried", chain.flange_link), body, {0: None})
    motions = Motions((Motion(joints, "A/1/1", "transfer"),), (moving,), ())
    return swept(chain, base, motions, tolerance)


def holds(found, points) -> np.ndarray:
    """Whether points lie in cells that are taken up."""
    grid = found.grid
    size = np.array([grid.side, grid.side, grid.height])
    cell = np.floor((points - np.array(grid.origin)) / size).astype(int)
    assert (cell >= 0).all()
    assert (cell < np.array(grid.count)).all()
    return found.taken[tuple(cell.T)]


def corners(found) -> np.ndarray:
    """All corners of the cells at the surface."""
    return surface(found.grid, found.taken)[0]


def test_a_box_under_translation():
    """Published case: a box .6 x .4 x .3 swept along (.5, -.3, .2) takes up .234."""
    body = Body("box", Box(np.array([0.3, 0.2, 0.15])), np.eye(4))
    way = np.array([0.5, -0.3, 0.2])
    found = solid(slides(), body, [np.zeros(3), way])
    assert len(found.strides[0].stray) == 1  # one straight stride
    rng = np.random.default_rng(0)
    inside = rng.uniform(-1, 1, (20_000, 3)) * body.shape.half + rng.random((20_000, 1)) * way
    assert holds(found, inside).all()
    assert found.volume >= 0.234
    # what is grown by a ball takes up no more than surface times radius, and the rest by Steiner
    at = np.linspace(0.0, 1.0, 101)[:, None, None] * way
    off = np.maximum(np.abs(corners(found) - at) - body.shape.half, 0.0)
    away = np.sqrt((off**2).sum(axis=2)).min(axis=0)
    assert away.max() <= TOLERANCE
    assert away.max() > 0.5 * TOLERANCE  # the tolerance is used, not merely kept


def ring_distance(points, inner, outer, half_height):
    """Distance of points to a full ring about z."""
    radius = np.hypot(points[:, 0], points[:, 1])
    level = np.maximum(np.maximum(inner - radius, radius - outer), 0.0)
    return np.hypot(level, np.maximum(np.abs(points[:, 2]) - half_height, 0.0))


def test_a_carton_swung_fully_about_an_upright_axis():
    """Published case: .4 radially x .3, its inner face at .8: 2.583960 of floor in a full turn."""
    body = Body("carton", Box(np.array([0.2, 0.15, 0.125])), pose(1.0))
    found = solid(turns([0, 0, 1]), body, [[0.0], [2 * np.pi]])
    outer = float(np.hypot(1.2, 0.15))
    rng = np.random.default_rng(1)
    radius = np.sqrt(rng.uniform(0.8**2, outer**2, 20_000))
    angle, height = rng.uniform(0, 2 * np.pi, 20_000), rng.uniform(-0.125, 0.125, 20_000)
    points = np.stack([radius * np.cos(angle), radius * np.sin(angle), height], axis=1)
    assert holds(found, points).all()
    assert found.area >= 2.583960
    assert found.volume >= 2.583960 * 0.25
    away = ring_distance(corners(found), 0.8, outer, 0.125)
    assert away.max() <= TOLERANCE
    assert away.max() > 0.5 * TOLERANCE
    # the outline is that of the strides: nearer to the truth than cells are
    seen = outline(found, (0, 1))
    assert len(seen.rings) == 2
    assert 2.583960 < seen.area < 2.583960 + 2 * np.pi * (outer + 0.8) * 0.015
    radius = [np.hypot(*ring.T) for ring in seen.rings]
    assert outer <= radius[0].min() <= radius[0].max() < outer + 0.015
    assert 0.8 - 0.015 < radius[1].min() <= radius[1].max() <= 0.8


def test_a_carton_swung_by_a_quarter_turn():
    """Published case: .4 x .3 with its centre at 1.0, by 90 deg: .188496 of ring sector, and
    more where the carton's own corners stand out."""
    body = Body("carton", Box(np.array([0.2, 0.15, 0.125])), pose(1.0))
    found = solid(turns([0, 0, 1]), body, [[0.0], [np.pi / 2]], 0.02)
    exact = 0.767859  # published: theta/2 (R2^2 - ri^2) + A + R2^2 gamma - ro h
    assert found.area >= exact
    rim = 2 * (1.2 + 0.15 + np.pi / 2 * 1.25)
    assert found.area <= exact + 0.02 * rim + np.pi * 0.02**2


def instants(chain, rows, count=400):
    rows = np.asarray(rows, float)
    at = np.linspace(0, len(rows) - 1, count * (len(rows) - 1) + 1)
    low = np.minimum(np.floor(at).astype(int), len(rows) - 2)
    q = rows[low] + (at - low)[:, None] * (rows[low + 1] - rows[low])
    return chain.link_poses(q)[:, chain.flange_link]


def points_in(shape, rng, count):
    """Random points of a convex body, its outermost ones among them."""
    if isinstance(shape, Box):
        points = rng.uniform(-1, 1, (count, 3))
        points[::2] = np.sign(points[::2])
        return points * shape.half
    if isinstance(shape, Hull):
        share = rng.dirichlet(np.full(len(shape.vertices), 0.3), count)
        return share @ shape.vertices
    angle, height = rng.uniform(0, 2 * np.pi, count), rng.uniform(-1, 1, count)
    if isinstance(shape, Cylinder):
        height[::2] = np.sign(height[::2])
        ring = np.stack([np.cos(angle), np.sin(angle)], axis=1) * shape.radius
        return np.column_stack([ring, height * shape.half])
    ball = rng.normal(size=(count, 3))
    ball *= shape.radius / np.linalg.norm(ball, axis=1, keepdims=True)
    return ball + np.stack([0 * height, 0 * height, height * shape.half], axis=1)


def distances(shape, points):
    """Distance of points, in the shape's frame, to the body."""
    if isinstance(shape, Box):
        return np.linalg.norm(np.maximum(np.abs(points) - shape.half, 0.0), axis=-1)
    above = np.abs(points[..., 2])
    level = np.hypot(points[..., 0], points[..., 1])
    if isinstance(shape, Cylinder):
        return np.hypot(np.maximum(level - shape.radius, 0), np.maximum(above - shape.half, 0))
    if isinstance(shape, Capsule):
        return np.maximum(np.hypot(level, np.maximum(above - shape.half, 0)) - shape.radius, 0)
    flat = points.reshape(-1, 3)
    weight = 1e4
    matrix = np.vstack([shape.vertices.T, np.full(len(shape.vertices), weight)])
    found = [
        np.linalg.norm(shape.vertices.T @ nnls(matrix, np.append(point, weight))[0] - point)
        for point in flat
    ]
    return np.array(found).reshape(points.shape[:-1])


def polygon(seen):
    """An outline as a polygon."""
    covered = shapely.Polygon()
    for ring in seen.rings:
        covered = covered.symmetric_difference(shapely.Polygon(ring))
    return covered


def judge(chain, body, rows, tolerance=TOLERANCE, base=NOWHERE, count=400, seed=0):
    """Both sides, by sampling: what sampling finds must be inside, what is inside near samples."""
    rng = np.random.default_rng(seed)
    found = solid(chain, body, rows, tolerance, base)
    frames = base @ instants(chain, rows, count) @ body.pose
    which = rng.integers(len(frames), size=20_000)
    points = points_in(body.shape, rng, 20_000)
    world = np.einsum("nij,nj->ni", frames[which, :3, :3], points) + frames[which, :3, 3]
    assert holds(found, world).all()
    for axes in ((0, 1), (1, 2)):
        seen = polygon(outline(found, axes))
        shapely.prepare(seen)
        assert shapely.covers(seen, shapely.points(*world[:, axes].T)).all()
    edge = corners(found)
    edge = edge[rng.permutation(len(edge))[: 40 if isinstance(body.shape, Hull) else 1500]]
    if isinstance(body.shape, Hull):
        frames = frames[:: max(1, len(frames) // 60)]
    seen = transform(invert(frames), edge)
    away = distances(body.shape, seen).min(axis=0)
    slack = 0.01 * tolerance if not isinstance(body.shape, Hull) else 0.3 * tolerance
    assert away.max() <= tolerance + slack  # samples lie apart
    return found, away


SHAPES = {
    "box": Box(np.array([0.2, 0.15, 0.125])),
    "capsule": Capsule(0.07, 0.3),
    "short capsule": Capsule(0.12, 0.0),
    "cylinder": Cylinder(0.1, 0.2),
    "disc": Cylinder(0.2, 0.01),
    "hull": Hull(np.array([[0, 0, 0], [0.4, 0, 0], [0, 0.3, 0], [0, 0, 0.5], [0.2, 0.2, 0.3]])),
}
AXES = {"upright": [0, 0, 1], "level": [0, 1, 0], "leaning": [0.6, 0.0, 0.8]}


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("axis", AXES)
def test_any_body_swung_about_any_axis(shape, axis):
    at = np.eye(4)
    at[:3, :3] = from_fixed_angles(0.3, 0.8, -0.5)
    at[:3, 3] = 0.7, 0.1, 0.2
    judge(turns(AXES[axis]), Body(shape, SHAPES[shape], at), [[-0.4], [1.1]])


@pytest.mark.parametrize("shape", SHAPES)
def test_any_body_along_a_bent_way_of_slides(shape):
    at = np.eye(4)
    at[:3, :3] = from_fixed_angles(-0.2, 0.4, 1.0)
    rows = [[0, 0, 0], [0.5, 0, 0.1], [0.5, 0.3, 0.4], [0.5, 0.3, -0.2]]
    found, _ = judge(slides(), Body(shape, SHAPES[shape], at), rows)
    assert len(found.strides[0].stray) == 3


@pytest.mark.parametrize("kind", [Box, Capsule, Cylinder])
@pytest.mark.parametrize("upright", [True, False])
def test_bodies_along_the_axes(kind, upright):
    """Faces that are walls, axes that stand straight: where formulas divide by nothing."""
    shape = {
        Box: Box(np.array([0.2, 0.1, 0.15])),
        Capsule: Capsule(0.05, 0.2),
        Cylinder: Cylinder(0.08, 0.15),
    }[kind]
    at = np.eye(4)
    if not upright:
        at[:3, :3] = from_fixed_angles(0.0, np.pi / 2, 0.0)
    for rows in ([[0, 0, 0], [0.4, 0, 0]], [[0, 0, 0], [0, 0, 0.4]], [[0, 0, 0], [0, 0, 0]]):
        judge(slides(), Body("body", shape, at), rows, 0.04)


@pytest.mark.parametrize("seed", range(12))
def test_random_bodies_on_random_chains(seed):
    rng = np.random.default_rng(1000 + seed)
    chain = random_chain(rng)
    shape = random_shape(rng, 0.25)
    while not isinstance(shape, Box | Capsule | Cylinder | Hull):
        shape = random_shape(rng, 0.25)
    start = rng.uniform(-1.0, 1.0, chain.dof)
    rows = [start, start + rng.uniform(-0.6, 0.6, chain.dof)]
    rows.append(rows[-1] + rng.uniform(-0.3, 0.3, chain.dof))
    judge(chain, Body("body", shape, pose(0.1, 0.0, 0.2)), rows, 0.06, pose(0.3, -0.2, 0.5, 0.7))


def test_a_finer_tolerance_takes_up_less():
    body = Body("carton", Box(np.array([0.2, 0.15, 0.125])), pose(1.0))
    volumes = [
        solid(turns([0, 0, 1]), body, [[0.0], [1.5]], tolerance).volume
        for tolerance in (0.1, 0.05, 0.025)
    ]
    assert volumes[0] > volumes[1] > volumes[2]


def test_a_tolerance_below_what_round_bodies_need_is_refused():
    body = Body("drum", Cylinder(0.5, 0.1), np.eye(4))
    with pytest.raises(ValueError, match="round bodies"):
        solid(turns([0, 0, 1]), body, [[0.0], [1.0]], 0.005)


@pytest.mark.parametrize("turn", np.linspace(0.1, 1.4, 6))
def test_rings_at_a_distance_are_never_too_near(turn):
    """Arcs are drawn with corners: these stand out, and no side comes nearer."""
    body = Body("carton", Box(np.array([0.2, 0.15, 0.125])), pose(1.0))
    seen = outline(solid(turns([0, 0, 1]), body, [[0.0], [turn]], 0.1), (0, 1))
    (ring,) = offset(seen, 0.5)
    away = shapely.distance(shapely.LineString(ring), polygon(seen))
    assert 0.5 <= away < 0.52


@pytest.mark.parametrize("lean", np.linspace(0.0, 1.5, 7))
def test_the_outline_of_a_capsule_holds_its_round_ends(lean):
    shape, at = Capsule(0.2, 0.15), np.eye(4)
    at[:3, :3] = from_fixed_angles(0.0, lean, 0.3)
    seen = polygon(
        outline(solid(slides(), Body("c", shape, at), [[0, 0, 0], [0.1, 0.05, 0]]), (0, 1))
    )
    angle = np.linspace(0, 2 * np.pi, 721)
    for end in (-0.15, 0.15):
        for way in (np.zeros(2), np.array([0.1, 0.05])):
            centre = (at[:3, :3] @ [0, 0, end])[:2] + way
            rim = centre + 0.2 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
            assert shapely.covers(seen, shapely.points(rim)).all()
