"""Triangles of bodies that are written down are those of the hull of their corners."""

import subprocess
import sys

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from envelope.geometry.bodies import Body, Box, Capsule, Cylinder, Hull
from envelope.scene.facets import FlatError, facets_of, hull
from envelope.scene.polyhedra import FEW, hull_of_few

RANDOM = np.random.default_rng(11)
SQUARE = np.array([(x, y, 0.0) for x in (0.0, 0.4, 0.8) for y in (0.0, 0.3, 0.6)])
SHAPES = {
    "box": Box((0.2, 0.3, 0.1)),
    "cylinder": Cylinder(0.2, 0.5),
    "capsule": Capsule(0.1, 0.4),
    "ball": Capsule(0.1, 0.0),
    "few points": Hull(RANDOM.normal(size=(9, 3))),
    "many points": Hull(RANDOM.normal(size=(60, 3))),
    # points on edges, in faces and inside, which are no corners
    "points in faces": Hull(np.concatenate([SQUARE, SQUARE[[0, 2, 6, 8]] + [0, 0, 0.5]])),
    "point inside": Hull(np.concatenate([np.eye(3), -np.eye(3), [[0.1, 0.0, 0.1]]])),
    "far away": Hull(RANDOM.normal(size=(8, 3)) * 0.05 + [8.0, -3.0, 1.0]),
}


@pytest.mark.parametrize("name", SHAPES)
def test_triangles_close_the_hull_and_look_outward(name):
    facets = facets_of(Body(name, SHAPES[name], np.eye(4)))
    truth = ConvexHull(facets.points)
    corners = facets.points[facets.faces]
    volume = np.linalg.det(corners - facets.points.mean(axis=0)).sum() / 6
    assert volume == pytest.approx(truth.volume, rel=1e-9)  # signed: each looks outward
    side, other = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area = np.linalg.norm(np.cross(side, other), axis=1)
    assert area.sum() / 2 == pytest.approx(truth.area, rel=1e-9)
    assert area.min() > 0.0
    assert (facets.beside[:, 0] != facets.beside[:, 1]).all()  # no edge is open
    assert len(facets.points) - len(facets.edges) + len(facets.faces) == 2  # Euler
    planes = facets.planes()
    assert (facets.points @ planes[:, :3].T + planes[:, 3]).max() < 1e-9


@pytest.mark.parametrize("count", [4, 8, FEW])
def test_the_hull_of_few_points_is_that_of_all_of_them(count):
    for _ in range(20):
        points = RANDOM.normal(size=(count, 3))
        if count == 8:
            points = np.round(points)  # many in one plane, some twice
            if np.linalg.matrix_rank(points[1:] - points[0]) < 3:
                continue
        few, truth = hull_of_few(points), ConvexHull(points)
        assert few is not None
        assert ConvexHull(few[0]).volume == pytest.approx(truth.volume, rel=1e-9)
        corners = few[0][few[1]] - points.mean(axis=0)
        assert np.linalg.det(corners).sum() / 6 == pytest.approx(truth.volume, rel=1e-9)


def test_too_many_points_and_flat_ones_are_left_to_others():
    assert hull_of_few(RANDOM.normal(size=(FEW + 1, 3))) is None
    assert hull_of_few(SQUARE) is None
    with pytest.raises(FlatError):
        hull(SQUARE)


def test_the_library_for_charts_is_loaded_when_a_chart_is_drawn_and_not_before():
    code = (
        "import sys\n"
        "from envelope.scene.library import load_library\n"
        "load_library()\n"
        "import pyvista as pv\n"
        "assert 'matplotlib.pyplot' not in sys.modules\n"
        "assert 'matplotlib.backends.backend_agg' not in sys.modules\n"
        "assert 'scipy' not in sys.modules\n"
        "assert str(pv.plotting.charts.FigureCanvasAgg) != ''\n"
        "chart = pv.ChartMPL()\n"
        "import matplotlib.pyplot as plt\n"
        "import matplotlib.figure\n"
        "assert isinstance(chart.figure, matplotlib.figure.Figure)\n"
        "assert plt.get_fignums() is not None\n"
        "assert pv.plotting.charts.plt.rcParams is plt.rcParams\n"
    )
    subprocess.run([sys.executable, "-W", "error", "-c", code], check=True, timeout=120)
