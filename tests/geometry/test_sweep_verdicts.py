"""Proved clearances where the answer is known by hand: touching, exact limits, spikes, depth."""

import tracemalloc

import numpy as np
import pytest

from envelope.arm.chain import Chain, Link
from envelope.arm.travel import Travel
from envelope.geometry.bodies import Body, Box, Capsule, Cylinder, Hull, Mesh
from envelope.geometry.frames import pose
from envelope.geometry.queries import Limits, Pairs
from envelope.geometry.solids import Solids
from envelope.geometry.stage import Pieces, Stage
from envelope.geometry.sweep import CAP, COARSE, FINE, FLOOR, SETTLED, certify

CONTACT = -1e-4
TAPER = 0.05
NOWHERE = np.zeros(3)
SLIDES = Chain(
    tuple(Link(name, k, NOWHERE, np.eye(3)[k], k, 1.0, True) for k, name in enumerate("xyz")),
    3,
    3,
    np.eye(4),
)
TURN = Chain((Link("turn", 0, NOWHERE, np.array([0.0, 0.0, 1.0]), 0),), 1, 1, np.eye(4))
BOTH = pytest.mark.parametrize("values", [True, False])


def watch(
    chain, mover, others, first, last, full, rest=None, wanted=0.0, to_go=(0.0, 0.0), values=True
):
    """The bracket on one body, on the last link, against others that stand; one piece."""
    parts = Solids.of([mover, *others])
    link = np.where(parts.owner == 0, len(chain.links), 0)
    pieces = Pieces(
        np.array([0, 1]), np.array([first], float), np.array([last], float), np.array([to_go])
    )
    first_part, second = np.meshgrid(
        np.flatnonzero(parts.owner == 0), np.flatnonzero(parts.owner), indexing="ij"
    )
    zero = np.zeros(first_part.size, np.intp)
    pairs = Pairs(zero, first_part.ravel(), second.ravel(), zero)
    limits = Limits(
        np.array([full]), np.array([full if rest is None else rest]), np.array([wanted]), TAPER
    )
    return certify(Stage(Travel(chain), parts, link, pieces), pairs, limits, values=values)


def carton(x=0.0, y=0.0, z=0.0, half=(0.2, 0.15, 0.1)):
    return Body("carton", Box(np.array(half)), pose(x, y, z))


# --- false alarms, and the passes they must not become ------------------------------------


@BOTH
@pytest.mark.parametrize(
    ("limit", "passes"), [(0.0, True), (0.00195, True), (0.00205, False), (0.00199, True)]
)
def test_two_millimetres_of_room_are_neither_more_nor_less(limit, passes, values):
    """A carton set down among neighbours, 2 mm from each of them."""
    around = [carton(x=0.402), carton(x=-0.402), carton(y=0.302), carton(y=-0.302)]
    found = watch(SLIDES, carton(), around, [0, 0, 0.35], [0, 0, 0], limit, values=values)
    assert (found.lower[0] >= 0.0) == passes
    assert found.lower[0] <= 0.002 - limit + 1e-12 <= found.upper[0] + 1e-12


@BOTH
@pytest.mark.parametrize("turned", [0.0, 0.3])
def test_a_slide_along_a_face_passes_at_the_contact_limit(turned, values):
    """Down between two neighbours at gap 0, and along the one below."""
    mover = Body("carton", Box(np.array([0.2, 0.15, 0.1])), pose(yaw=turned))
    c, s = np.cos(turned), np.sin(turned)
    beside = Body("beside", Box(np.array([0.2, 0.15, 0.1])), pose(-0.3 * s, 0.3 * c, 0.0, turned))
    down = watch(SLIDES, mover, [beside], [0, 0, 0.4], [0, 0, 0], CONTACT, values=values)
    assert down.lower[0] >= 0.0
    assert down.lower[0] == pytest.approx(1e-4, abs=1e-6)
    along = watch(
        SLIDES,
        mover,
        [beside],
        [-0.9 * c, -0.9 * s, 0],
        [0.9 * c, 0.9 * s, 0],
        CONTACT,
        values=values,
    )
    assert along.lower[0] >= 0.0


@BOTH
@pytest.mark.parametrize("depth", [1.2e-4, 2e-4, 1e-3, 0.05])
def test_a_slide_that_digs_in_fails_at_the_contact_limit(depth, values):
    below = carton(z=-0.2 + depth)
    found = watch(SLIDES, carton(), [below], [-0.9, 0, 0], [0.9, 0, 0], CONTACT, values=values)
    assert found.lower[0] < 0.0
    assert found.upper[0] < 0.0


@BOTH
@pytest.mark.parametrize(("depth", "passes"), [(0.019, True), (0.0199, True), (0.021, False)])
def test_what_may_be_pressed_by_20_mm_may_not_be_by_more(depth, passes, values):
    """Soft lips, 200 mm thick, over a carton: their boxes overlap all along."""
    below = carton(z=-0.2 + depth)
    found = watch(SLIDES, carton(), [below], [-0.3, 0, 0], [0.3, 0, 0], -0.020, values=values)
    assert (found.lower[0] >= 0.0) == passes
    assert (found.upper[0] < 0.0) == (not passes)


@BOTH
def test_a_sweep_over_a_face_passes_at_the_contact_limit(values):
    """The same while turning: no chord may cut into the face."""
    blade = carton(half=(0.5, 0.05, 0.05))
    table = Body("table", Box(np.array([1.0, 1.0, 0.05])), pose(z=-0.1))
    found = watch(TURN, blade, [table], [-1.0], [2.0], CONTACT, values=values)
    assert found.lower[0] >= 0.0


# --- a clearance that is the limit --------------------------------------------------------


@BOTH
@pytest.mark.parametrize("off", [-6e-6, -1e-6, 0.0, 1e-6, 6e-6])
def test_a_clearance_at_the_limit_is_decided_within_micrometres(off, values):
    mover = Body("boom", Capsule(0.05, 0.3), pose(0.1) @ lying())
    disc = Body("disc", Cylinder(0.8, 0.05), pose(z=-0.11))
    found = watch(TURN, mover, [disc], [0.0], [1.5], 0.010 - off, values=values)
    if off >= SETTLED:
        assert found.lower[0] >= 0.0
    if off <= -SETTLED:
        assert found.lower[0] < 0.0
    assert found.lower[0] <= off + 1e-9
    if values and off > -SETTLED:
        assert found.lower[0] >= off - SETTLED - 1e-9 or off >= SETTLED


def lying():
    matrix = np.eye(4)
    matrix[:3, :3] = [[0, 0, 1], [0, 1, 0], [-1, 0, 0]]
    return matrix


def test_yes_or_no_ends_where_the_margin_is_nothing_at_all():
    """A triangle that lies in the face of a disc: no halving ever gives the margin a sign."""
    flat = Body("sheet", Mesh(np.array([[[0, 0, 0.05], [0.1, 0, 0.05], [0.2, 0.2, 0.05]]]), False))
    disc = Body("disc", Cylinder(0.5, 0.05))
    tracemalloc.start()
    found = watch(TURN, disc, [flat], [0.0], [1.5], 0.0, values=False)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert -2 * SETTLED <= found.lower[0] <= 0.0
    assert most < 100e6


@pytest.mark.parametrize("wanted", [0.004, 0.005])
def test_a_bracket_is_fine_where_the_wished_margin_lies_in_it(wanted):
    mover = Body("boom", Capsule(0.02, 0.3), pose(0.4) @ lying())
    post = Body("post", Capsule(0.01, 0.3), pose(0.0, 0.735))
    found = watch(TURN, mover, [post], [0.1], [2.9], 0.0, wanted=wanted)
    assert found.lower[0] == pytest.approx(0.005, abs=COARSE)
    if found.lower[0] < wanted < found.upper[0]:
        assert found.upper[0] - found.lower[0] <= FINE + 1e-6


# --- thin and brief -----------------------------------------------------------------------


@BOTH
@pytest.mark.parametrize("share", [0.123456, 0.5, 0.987654])
def test_a_wire_in_the_way_is_met_however_brief_the_meeting(share, values):
    """A millimetre of wire, met for a thousandth of the motion."""
    blade = Body("blade", Box(np.array([0.0005, 0.0005, 0.3])), pose(x=0.9))
    angle = 3.0 * share
    wire = Body("wire", Capsule(0.0005, 0.05), pose(0.9 * np.cos(angle), 0.9 * np.sin(angle)))
    found = watch(TURN, blade, [wire], [0.0], [3.0], CONTACT, values=values)
    assert found.lower[0] < 0.0
    assert found.upper[0] < 0.0


@BOTH
@pytest.mark.parametrize("gap", [5e-4, -5e-4])
def test_the_top_of_an_arc_is_where_it_is(gap, values):
    """The nearest point of a turn to a plate lies between its ends, at a known share."""
    tip = Body("tip", Capsule(0.01, 0.0), pose(x=1.0))
    plate = Body("plate", Box(np.array([0.00025, 2.0, 2.0])), pose(x=1.01 + gap + 0.00025))
    found = watch(TURN, tip, [plate], [-0.9], [1.3], 0.0, values=values)
    assert (found.lower[0] >= 0.0) == (gap > 0.0)
    if values:
        assert found.lower[0] == pytest.approx(gap, abs=COARSE)
        assert found.share[0] == pytest.approx(0.9 / 2.2, abs=0.05)


# --- one body in another ------------------------------------------------------------------


@BOTH
@pytest.mark.parametrize(
    "shape",
    [
        Box(np.array([0.02, 0.02, 0.02])),
        Capsule(0.01, 0.02),
        Cylinder(0.01, 0.02),
        Hull(0.02 * np.array([[1, 1, 1], [-1, -1, 1], [-1, 1, -1], [1, -1, -1]], float)),
    ],
    ids=lambda shape: type(shape).__name__,
)
@pytest.mark.parametrize("around", [Box(np.array([0.5, 0.5, 0.5])), Cylinder(0.5, 0.5)])
def test_a_body_that_stays_wholly_inside_another_is_deep_in_it(shape, around, values):
    found = watch(
        SLIDES, Body("in", shape), [Body("out", around)], [-0.1, 0, 0], [0.1, 0, 0], CONTACT,
        values=values,
    )  # fmt: skip
    assert found.near[0]
    assert found.upper[0] + found.limit[0] < FLOOR
    assert found.lower[0] <= found.upper[0]


@BOTH
@pytest.mark.parametrize("x", np.linspace(0.28, 0.35, 6))
@pytest.mark.parametrize("other", ["hull", "cylinder"])
def test_deep_under_a_tapered_limit_ends_at_once(x, other, values):
    """Deeper than is told, and still not as deep as the limit away from rest would make it."""
    mover = Body("cup", Cylinder(0.1, 0.2), pose(x=0.3))
    points = np.random.default_rng(1).uniform(-0.3, 0.3, (20, 3))
    shape = Hull(points) if other == "hull" else Cylinder(0.3, 0.3)
    found = watch(
        TURN, mover, [Body("other", shape, pose(0.3 + x))], [0.0], [0.5], 0.05, CONTACT,
        to_go=(0.001, 0.001), values=values,
    )  # fmt: skip
    assert found.lower[0] < 0.0
    assert found.upper[0] < 0.0
    assert np.isfinite(found.upper[0])


def test_what_starts_inside_and_leaves_is_told_at_the_start():
    found = watch(SLIDES, carton(), [carton(x=0.39)], [0, 0, 0], [-0.5, 0, 0], CONTACT)
    assert found.upper[0] + CONTACT <= -0.01 + COARSE
    assert found.lower[0] + CONTACT >= -0.01 - COARSE - 1e-6
    assert found.share[0] < 0.01


# --- the limit that tapers ----------------------------------------------------------------


@BOTH
def test_a_tapered_limit_asks_for_less_the_lower_it_gets(values):
    """Straight down beside a neighbour at 4 mm: 10 mm asked for high up, contact at rest."""
    beside = carton(x=0.404)

    def margin(top):
        return watch(
            SLIDES, carton(), [beside], [0, 0, top], [0, 0, 0], 0.010, CONTACT,
            to_go=(top, 0.0), values=values,
        )  # fmt: skip

    high = margin(0.15)  # above 50 mm all of 10 mm is asked for while still beside
    assert high.lower[0] < 0.0
    assert high.upper[0] < 0.0
    least = 0.004 - (CONTACT + (0.010 - CONTACT) * 0.015 / TAPER)
    low = margin(0.015)
    assert low.lower[0] >= 0.0
    if values:
        assert low.lower[0] == pytest.approx(least, abs=COARSE)
        assert high.lower[0] == pytest.approx(-0.006, abs=COARSE)


@pytest.mark.parametrize("height", [0.0, 0.01, 0.049, 0.05, 0.2])
def test_the_limit_in_force_is_the_one_at_the_height(height):
    found = watch(
        SLIDES, carton(), [carton(x=0.41)], [0, 0, 0], [0, 0.01, 0], 0.02, 0.001,
        to_go=(height, height),
    )  # fmt: skip
    limit = min(0.02, 0.001 + 0.019 * height / TAPER)
    assert found.limit[0] == pytest.approx(limit)
    assert found.lower[0] == pytest.approx(0.01 - limit, abs=SETTLED)


# --- far, broken --------------------------------------------------------------------------


def test_beyond_the_cap_nothing_is_near():
    found = watch(SLIDES, carton(), [carton(x=0.4 + CAP + 0.01)], [0, 0, 0], [-0.1, 0, 0], 0.005)
    assert not found.near[0]
    assert found.lower[0] >= CAP - 0.005 - COARSE


@pytest.mark.parametrize("broken", [np.nan, np.inf])
def test_a_motion_that_is_no_number_is_refused_and_not_far_from_everything(broken):
    with pytest.raises(ValueError, match="finite"):
        watch(SLIDES, carton(), [carton(x=0.1)], [0, 0, 0], [broken, 0, 0], 0.0)
    with pytest.raises(ValueError, match="finite"):
        watch(SLIDES, carton(), [carton(x=0.1)], [0, 0, 0], [0, 0, 0], 0.0, to_go=(0.0, broken))


def test_a_body_that_does_not_move_is_answered_like_any_other():
    found = watch(SLIDES, carton(), [carton(x=0.403)], [0, 0, 0], [0, 0, 0], 0.0)
    assert found.lower[0] == pytest.approx(0.003, abs=1e-5)
    assert found.upper[0] == pytest.approx(0.003, abs=1e-5)
