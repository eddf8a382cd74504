"""Draws facets off screen: shaded faces, thin edges, a grid on the floor, parallel projection."""

from collections.abc import Iterable, Sequence
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from ..geometry.frames import Array
from .camera import View
from .colours import EDGE, FLOOR_LINE, PAPER, Colour
from .facets import Facets, Index

Image = NDArray[np.uint8]

_FINER = 2  # rendered this much larger than shown: smooth edges, the same on every machine
_FAR = 40.0  # [m]: distance of the eye from the focus; in parallel projection nothing but a range
_LIFT = 0.004  # of the picture's half height: edges are drawn this much nearer than their faces
_GRID = 0.5  # [m]
_SMOOTH = 28.0  # [deg]: facets that meet at less than this are shaded as one round face
_AMBIENT, _DIFFUSE = 0.66, 0.38


class Canvas:
    """One off-screen window, used for one picture after the other.

    It draws with VTK itself: loading pyvista on top of it takes longer than drawing a picture.
    """

    def __init__(self) -> None:
        # The second is what draws: the window below is one of its kinds.
        import vtkmodules.vtkRenderingOpenGL2  # noqa: F401  # pyright: ignore[reportUnusedImport]
        from vtkmodules.vtkRenderingCore import vtkLight, vtkRenderer, vtkRenderWindow

        self._renderer, self._window, self._light = vtkRenderer(), vtkRenderWindow(), vtkLight()
        self._window.OffScreenRenderingOn()
        self._window.SetMultiSamples(0)  # made smooth by _FINER, which is faster
        self._window.AddRenderer(self._renderer)
        self._renderer.SetBackground(*_shares(PAPER))
        self._renderer.SetAutomaticLightCreation(False)
        self._light.SetLightTypeToSceneLight()
        self._light.PositionalOff()
        self._renderer.AddLight(self._light)
        self._actors: list[Any] = []

    def __enter__(self) -> "Canvas":
        return self

    def __exit__(self, *_: object) -> None:
        self.clear()
        self._window.Finalize()

    def warm_up(self) -> None:
        """Have everything ready that the first picture would have to wait for."""
        low, high = np.array([-1.0, -1.0, 0.0]), np.array([1.0, 1.0, 0.0])
        corners = np.array([low, [1.0, -1.0, 0.0], high])
        plate = Facets(
            corners, np.array([[0, 1, 2]]), np.array([[0, 1]]), np.array([[0, 0]]), False
        )
        self.faces([plate], PAPER)
        self.floor(low, high)
        self.shot(View(np.array([0.0, 0.6, -0.8]), low, 1.0, (64, 64)))
        self.clear()

    def clear(self) -> None:
        """Take everything off."""
        for actor in self._actors:
            self._renderer.RemoveActor(actor)
            actor.ReleaseGraphicsResources(self._window)
        self._actors.clear()

    def faces(self, bodies: Iterable[Facets], colour: Colour, *, lit: bool = True) -> list[Any]:
        """Put on shaded faces; returns handles for `visible`."""
        from vtkmodules.vtkFiltersCore import vtkPolyDataNormals

        points, faces = joined([(body.points, body.faces) for body in bodies])
        if not len(faces):
            return []
        mesh = _poly_data(points, faces)
        if lit:
            smooth = vtkPolyDataNormals()
            smooth.SetInputData(mesh)
            smooth.SetFeatureAngle(_SMOOTH)
            smooth.SplittingOn()
            smooth.ConsistencyOff()
            smooth.AutoOrientNormalsOff()
            smooth.Update()
            mesh = cast(Any, smooth.GetOutput())
        actor = self._put(mesh, colour)
        shown = actor.GetProperty()
        shown.SetLighting(lit)
        shown.SetAmbient(_AMBIENT)
        shown.SetDiffuse(_DIFFUSE)
        if lit:
            shown.SetInterpolationToPhong()
        return [actor]

    def edges(
        self,
        bodies: Iterable[Facets],
        towards: Array,
        lift: float,
        colour: Colour = EDGE,
        width: float = 1.0,
    ) -> list[Any]:
        """Put on edges as seen along a direction; lift: how much nearer than the faces [m]."""
        seen = [(body.points - towards * lift, body.lines(towards)) for body in bodies]
        return self._lines(*joined(seen), colour, width) if seen else []

    def floor(self, low: Array, high: Array) -> list[Any]:
        """Put on a grid of 500 mm on the ground, over a box given by its corners."""
        points = floor_lines(low, high)
        return self._lines(points, np.arange(len(points)).reshape(-1, 2), FLOOR_LINE, 1.0)

    def shot(self, view: View) -> Image:
        """The picture in a view, shape (height, width, 3)."""
        from PIL import Image as Pictures
        from vtkmodules.util import numpy_support
        from vtkmodules.vtkCommonCore import vtkUnsignedCharArray

        wide, high = (_FINER * side for side in view.size)
        self._look(view)
        self._window.SetSize(wide, high)
        self._window.Render()
        pixels = vtkUnsignedCharArray()
        self._window.GetPixelData(0, 0, wide - 1, high - 1, 0, pixels, 0)
        rows: Image = cast(Any, numpy_support).vtk_to_numpy(pixels)
        fine = rows.reshape(high, wide, 3)[::-1]
        return np.asarray(Pictures.fromarray(fine).reduce(_FINER))

    def _look(self, view: View) -> None:
        """The eye, and one light from over the viewer's left shoulder."""
        right, up = view.axes()
        eye = view.focus - _FAR * view.towards
        camera = self._renderer.GetActiveCamera()
        camera.ParallelProjectionOn()
        camera.SetFocalPoint(*view.focus)
        camera.SetPosition(*eye)
        camera.SetViewUp(*up)
        camera.SetParallelScale(view.half)
        camera.SetClippingRange(0.5, 2.0 * _FAR)
        self._light.SetFocalPoint(*view.focus)
        self._light.SetPosition(*(eye - 0.45 * _FAR * right + 0.9 * _FAR * up))

    def _lines(self, points: Array, ends: Index, colour: Colour, width: float) -> list[Any]:
        actor = self._put(_poly_data(points, ends), colour)
        actor.GetProperty().SetLighting(False)
        actor.GetProperty().SetLineWidth(_FINER * width)
        return [actor]

    def _put(self, mesh: Any, colour: Colour) -> Any:
        from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

        mapper, actor = vtkPolyDataMapper(), vtkActor()
        mapper.SetInputData(mesh)
        mapper.ScalarVisibilityOff()
        actor.SetMapper(mapper)
        actor.GetProperty().SetColor(*_shares(colour))
        self._renderer.AddActor(actor)
        self._actors.append(actor)
        return actor


def joined(meshes: Sequence[tuple[Array, Index]]) -> tuple[Array, Index]:
    """Points and faces, or points and lines, of several bodies as those of one."""
    if not meshes:
        return np.zeros((0, 3)), np.zeros((0, 3), dtype=np.intp)
    starts = np.cumsum([0, *(len(points) for points, _ in meshes[:-1])])
    parts = [part + start for (_, part), start in zip(meshes, starts, strict=True)]
    return np.concatenate([points for points, _ in meshes]), np.concatenate(parts)


def _poly_data(points: Array, cells: Index) -> Any:
    """A mesh of triangles or of lines, told as rows of points."""
    from vtkmodules.util import numpy_support
    from vtkmodules.vtkCommonCore import vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData

    to_vtk: Any = numpy_support
    mesh, places, parts = vtkPolyData(), vtkPoints(), vtkCellArray()
    places.SetData(to_vtk.numpy_to_vtk(np.ascontiguousarray(points), deep=True))
    flat = np.ascontiguousarray(cells, dtype=np.int64).ravel()
    width = np.shape(cells)[1]
    offsets = np.arange(0, len(flat) + 1, width, dtype=np.int64)
    parts.SetData(*(to_vtk.numpy_to_vtkIdTypeArray(each, deep=True) for each in (offsets, flat)))
    mesh.SetPoints(places)
    (mesh.SetLines if width == 2 else mesh.SetPolys)(parts)
    return mesh


def _shares(colour: Colour) -> list[float]:
    return [value / 255 for value in colour]


def floor_lines(low: Array, high: Array) -> Array:
    """Ends of the lines of a grid of 500 mm on the ground, shape (2 * lines, 3) [m]."""
    first = np.floor(low / _GRID).astype(int).tolist()
    last = np.ceil(high / _GRID).astype(int).tolist()
    x, y = ([k * _GRID for k in range(first[i], last[i] + 1)] for i in (0, 1))
    points = [(at, end, -0.002) for at in x for end in (y[0], y[-1])]
    points += [(end, at, -0.002) for at in y for end in (x[0], x[-1])]
    return np.array(points)


def visible(actors: Iterable[Any], on: bool) -> None:
    """Show or hide what was put on a canvas."""
    for actor in actors:
        actor.SetVisibility(on)


def lift_of(view: View) -> float:
    """How much nearer than their faces the edges of a view are drawn [m]."""
    return _LIFT * view.half


def surface(bodies: Sequence[Facets]) -> Any:
    """Bodies as one mesh of the drawing library; None for no bodies."""
    import pyvista as pv

    if not bodies:
        return None
    points, faces = joined([(body.points, body.faces) for body in bodies])
    return pv.PolyData(points, np.column_stack([np.full(len(faces), 3), faces]).ravel())
