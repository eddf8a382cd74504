"""Shortcuts of the distance routines against the plain way, and proof that they ran."""

import numpy as np
import pytest

from envelope.geometry import boxes, depth, distance, flat
from envelope.geometry.distance import separation
from envelope.geometry.posed import Posed
from tests.geometry.samples import scene


def counted(monkeypatch, module, name):
    """Count the pairs that pass through a function of a module."""
    real, pairs = getattr(module, name), []

    def watched(first, *rest):
        pairs.append(first.offset.shape[1] if hasattr(first, "offset") else len(first.kind))
        return real(first, *rest)

    monkeypatch.setattr(module, name, watched)
    return pairs


@pytest.mark.parametrize("kinds", [("box", "box"), ("box", "capsule"), ("capsule", "capsule")])
def test_one_edge_pair_equals_all_144(kinds, monkeypatch):
    _, _, arguments = scene(kinds, 400, seed=1)
    left_over = counted(monkeypatch, boxes, "nearest_on_all_edges")
    quick = separation(*arguments, cap=10.0)
    assert sum(left_over) < 20  # the shortcut did the work
    monkeypatch.setattr(distance, "TIGHT", -1.0)  # nothing is tight: all edges of all pairs
    plain = separation(*arguments, cap=10.0)
    assert sum(left_over) > 200
    assert np.allclose(quick.lower, plain.lower, rtol=0, atol=1e-9)
    assert (quick.upper <= plain.upper + 1e-9).all()


def test_search_by_simplices_equals_the_exact_boxes():
    _, _, arguments = scene(("box", "capsule"), 300, seed=2)
    exact = separation(*arguments, cap=10.0, floor=-10.0)
    first, second = Posed.of(*arguments[:4]), Posed.of(*arguments[4:])
    with np.errstate(all="ignore"):
        _, upper = distance._searched_others(first, second, 10.0, -10.0)
    assert (upper >= exact.lower - 1e-12).all()
    assert np.allclose(upper, exact.lower, rtol=0, atol=2e-6)
    assert (exact.lower < 0).sum() > 5


def test_axes_of_triangles_equal_the_grown_polytope(monkeypatch):
    _, _, arguments = scene(("box", "triangle"), 300, seed=3)
    by_axes = counted(monkeypatch, distance, "flat_depths")
    by_growth = counted(monkeypatch, distance, "depths")
    quick = separation(*arguments, cap=10.0, floor=-10.0)
    assert sum(by_axes) > 10
    assert not by_growth
    monkeypatch.setattr(distance, "flat_pairs", lambda a, _b: np.zeros(len(a.kind), dtype=bool))
    plain = separation(*arguments, cap=10.0, floor=-10.0)
    assert sum(by_growth) == sum(by_axes)
    assert np.allclose(quick.lower, plain.lower, rtol=0, atol=2e-6)
    assert (flat.AXES_SLACK, depth.FLAT) == (1e-7, 1e-12)


@pytest.mark.parametrize("kinds", [("box", "box"), ("hull", "cylinder")])
def test_cap_and_floor_save_work_and_lose_no_proof(kinds):
    _, _, arguments = scene(kinds, 200, seed=4)
    full = separation(*arguments, cap=10.0, floor=-10.0)
    short = separation(*arguments, cap=0.05, floor=-0.01)
    assert (short.lower <= full.upper + 1e-12).all()
    assert (short.upper >= full.lower - 1e-12).all()
    inside = (full.upper < 0.05) & (full.lower > -0.01)
    assert np.allclose(short.lower[inside], full.lower[inside], rtol=0, atol=2e-6)
    assert (short.lower[full.lower > 0.051] > 0.049).all()
    assert (short.upper[full.upper < -0.011] < -0.009).all()
    assert (short.upper > short.lower + 1e-3).any()  # some pairs did stop early
