"""Draws facets off screen: shaded faces, thin edges, a grid on the floor, parallel projection."""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..geometry.frames import Array
from .camera import View
from .colours import EDGE, FLOOR_LINE, PAPER, Colour
from .facets import Facets, Index
from .library import load_library

Image = NDArray[np.uint8]

_FINER = 2  # rendered this much larger than shown: smooth edges, the same on every machine
_FAR = 40.0  # [m]: distance of the eye from the focus; in parallel projection nothing but a range
_LIFT = 0.004  # of the picture's half height: edges are drawn this much nearer than their faces
_GRID = 0.5  # [m]
_SMOOTH = 28.0  # [deg]: facets that meet at less than this are shaded as one round face


class Canvas:
    """One off-screen window, used for one picture after the other."""

    def __init__(self) -> None:
        load_library()
        import pyvista as pv

        self._plotter: Any = pv.Plotter(off_screen=True, window_size=[64, 64], lighting="none")
        self._plotter.render_window.SetMultiSamples(0)  # made smooth by _FINER, which is faster
        self._plotter.set_background([value / 255 for value in PAPER])
        self._plotter.camera.parallel_projection = True
        self._actors: list[Any] = []

    def __enter__(self) -> "Canvas":
        return self

    def __exit__(self, *_: object) -> None:
        self._plotter.close()

    def clear(self) -> None:
        """Take everything off."""
        for actor in self._actors:
            self._plotter.remove_actor(actor, render=False)
        self._actors.clear()

    def faces(self, bodies: Iterable[Facets], colour: Colour, *, lit: bool = True) -> list[Any]:
        """Put on shaded faces; returns handles for `visible`."""
        mesh = surface(list(bodies))
        if mesh is None:
            return []
        if lit:
            mesh = mesh.compute_normals(
                cell_normals=False,
                split_vertices=True,
                feature_angle=_SMOOTH,
                consistent_normals=False,
                auto_orient_normals=False,
            )
        actor = self._plotter.add_mesh(
            mesh,
            color=[value / 255 for value in colour],
            smooth_shading=lit,
            lighting=lit,
            ambient=0.66,
            diffuse=0.38,
            specular=0.0,
            render=False,
            reset_camera=False,
        )
        self._actors.append(actor)
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
        points: list[Array] = []
        ends: list[Index] = []
        start = 0
        for body in bodies:
            points.append(body.points - towards * lift)
            ends.append(body.lines(towards) + start)
            start += len(body.points)
        if not points:
            return []
        return self._lines(np.concatenate(points), np.concatenate(ends), colour, width)

    def floor(self, low: Array, high: Array) -> list[Any]:
        """Put on a grid of 500 mm on the ground, over a box given by its corners."""
        points = floor_lines(low, high)
        ends = np.arange(len(points)).reshape(-1, 2)
        return self._lines(points, ends, FLOOR_LINE, 1.0)

    def shot(self, view: View) -> Image:
        """The picture in a view, shape (height, width, 3)."""
        from PIL import Image as Pictures

        plotter, size = self._plotter, [_FINER * side for side in view.size]
        camera = plotter.camera
        plotter.window_size = size
        camera.focal_point = view.focus
        camera.position = view.focus - _FAR * view.towards
        camera.up = view.axes()[1]
        camera.parallel_scale = view.half
        camera.clipping_range = (0.5, 2.0 * _FAR)
        self._light(view)
        plotter.render()  # a change of camera alone is not drawn by the screenshot
        fine = Pictures.fromarray(np.asarray(plotter.screenshot(return_img=True))[:, :, :3])
        return np.asarray(fine.reduce(_FINER))

    def _light(self, view: View) -> None:
        """One light from over the viewer's left shoulder."""
        import pyvista as pv

        right, up = view.axes()
        self._plotter.remove_all_lights()
        where = view.focus - _FAR * view.towards - 0.45 * _FAR * right + 0.9 * _FAR * up
        light = pv.Light(position=where, focal_point=view.focus, light_type="scene light")
        light.positional = False
        self._plotter.add_light(light)

    def _lines(self, points: Array, ends: Index, colour: Colour, width: float) -> list[Any]:
        import pyvista as pv

        cells = np.column_stack([np.full(len(ends), 2), ends]).ravel()
        actor = self._plotter.add_mesh(
            pv.PolyData(points, lines=cells),
            color=[value / 255 for value in colour],
            line_width=_FINER * width,
            lighting=False,
            render=False,
            reset_camera=False,
        )
        self._actors.append(actor)
        return [actor]


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
        actor.visibility = on


def lift_of(view: View) -> float:
    """How much nearer than their faces the edges of a view are drawn [m]."""
    return _LIFT * view.half


def surface(bodies: Sequence[Facets]) -> Any:
    """Bodies as one mesh of the drawing library; None for no bodies."""
    import pyvista as pv

    if not bodies:
        return None
    starts = np.cumsum([0, *(len(body.points) for body in bodies[:-1])])
    faces = np.concatenate([body.faces + at for body, at in zip(bodies, starts, strict=True)])
    points = np.concatenate([body.points for body in bodies])
    return pv.PolyData(points, np.column_stack([np.full(len(faces), 3), faces]).ravel())
