"""Bodies on the window's stage: movers by their poses, what stands gathered by colour."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from ..geometry.frames import Array
from .colours import BY_ROLE, EDGE, FLOOR_LINE, REACHED, SWEPT, Colour
from .draw import floor_lines, surface
from .facets import Facets
from .instant import Shown, is_building

_SMOOTH = 28.0  # [deg]: facets that meet at less than this are shaded as one round face
_NOWHERE = np.zeros(3)  # seen from nowhere, only sharp edges are edges
_VEIL = 0.30  # opacity of what is laid over the bodies
_THIN_VEIL = 0.07  # the same of hulls of which many lie behind each other
_FEW = 12
_NEARER = -30.0  # edges are drawn this much nearer than the faces they bound, in depth units


class Bodies:
    """What is drawn of one cell, on a plotter.

    Args:
        plotter: The plotter of the drawing library.
    """

    def __init__(self, plotter: Any) -> None:
        self._plotter = plotter
        self._movers: dict[int, tuple[Any, Any]] = {}
        self._still: list[Any] = []
        self._still_key: object = None
        self._over: dict[str, list[Any]] = {}

    def clear(self) -> None:
        """Take everything off, as for another pallet's job."""
        for faces, edges in self._movers.values():
            self._remove((faces, edges))
        self._movers.clear()
        self._remove(self._still)
        self._still, self._still_key = [], None
        for name in list(self._over):
            self.over(name, ())

    def move(
        self,
        facets: Mapping[int, Facets],
        poses: Mapping[int, Array],
        colours: Mapping[int, Colour],
        bare: Iterable[int] = (),
    ) -> None:
        """Put movers where they are, and take off those that are not named.

        Args:
            facets: Each mover's body in the frame of its link, by its number.
            poses: Where that frame is, shape (4, 4).
            colours: In which colour each is drawn.
            bare: Movers of which only the edges are drawn.
        """
        outlined = set(bare)
        for number, pose in poses.items():
            if number not in self._movers:
                self._movers[number] = self._put(facets[number])
            faces, edges = self._movers[number]
            faces.user_matrix = edges.user_matrix = pose
            faces.prop.color = _shares(colours[number])
            faces.visibility, edges.visibility = number not in outlined, True
        for number in self._movers.keys() - poses.keys():
            for actor in self._movers[number]:
                actor.visibility = False

    def stand(self, shown: Sequence[Shown], colours: Mapping[int, Colour]) -> None:
        """Put up what stands; colours: of the bodies picked out, by their number in the cast."""
        key = (tuple(entry.actor for entry in shown), tuple(sorted(colours.items())))
        if key == self._still_key:
            return
        self._still_key = key
        self._remove(self._still)
        self._still = []
        grouped: dict[Colour, list[Facets]] = {}
        for entry in shown:
            if is_building(entry.facets) and entry.actor not in colours:
                continue
            colour = colours.get(entry.actor, BY_ROLE[entry.role])
            grouped.setdefault(colour, []).append(entry.facets)
        for colour, bodies in grouped.items():
            self._still.append(self._faces(bodies, colour))
        self._still.append(self._edges([entry.facets for entry in shown]))

    def over(self, name: str, bodies: Sequence[Facets], colour: Colour = SWEPT) -> None:
        """Lay something translucent over the bodies, in place of what that name had before."""
        self._remove(self._over.pop(name, []))
        if bodies:
            veil = _VEIL if len(bodies) < _FEW else _THIN_VEIL
            actor = self._faces(bodies, colour, veil=veil, lit=colour != REACHED)
            self._over[name] = [actor]

    def floor(self, low: Array, high: Array) -> None:
        """A grid of 500 mm on the ground, over a box given by its corners, shape (3,) [m]."""
        import pyvista as pv

        points = floor_lines(low, high)
        cells = np.column_stack(
            [np.full(len(points) // 2, 2), np.arange(len(points)).reshape(-1, 2)]
        )
        self._plotter.add_mesh(
            pv.PolyData(points, lines=cells.ravel()), color=_shares(FLOOR_LINE), line_width=1.0,
            lighting=False, render=False, reset_camera=False, name="floor",
        )  # fmt: skip

    def line(self, name: str, points: Array, colour: Colour, width: float = 5.0) -> None:
        """Draw a line through points, shape (n, 3), in front of all; none for no points."""
        import pyvista as pv

        self._remove(self._over.pop(name, []))
        if len(points) < 2:
            return
        ends = np.column_stack(
            [np.full(len(points) - 1, 2), np.arange(len(points) - 1), np.arange(1, len(points))]
        )
        mesh = pv.PolyData(points, lines=ends.ravel())
        actor = self._plotter.add_mesh(
            mesh, color=_shares(colour), line_width=width, lighting=False, render=False,
            reset_camera=False,
        )  # fmt: skip
        _nearer(actor, 1e4 * _NEARER)
        self._over[name] = [actor]

    def _put(self, facets: Facets) -> tuple[Any, Any]:
        return self._faces([facets], EDGE), self._edges([facets])

    def _faces(
        self, bodies: Sequence[Facets], colour: Colour, *, veil: float = 1.0, lit: bool = True
    ) -> Any:
        mesh = surface(list(bodies))
        if lit:
            mesh = mesh.compute_normals(
                cell_normals=False, split_vertices=True, feature_angle=_SMOOTH,
                consistent_normals=False, auto_orient_normals=False,
            )  # fmt: skip
        return self._plotter.add_mesh(
            mesh, color=_shares(colour), smooth_shading=lit, lighting=lit, ambient=0.55,
            diffuse=0.5, specular=0.0, opacity=veil, render=False, reset_camera=False,
        )  # fmt: skip

    def _edges(self, bodies: Sequence[Facets]) -> Any:
        import pyvista as pv

        lines = [body.lines(_NOWHERE) for body in bodies]
        starts = np.cumsum([0, *(len(body.points) for body in bodies[:-1])])
        ends = np.concatenate([own + at for own, at in zip(lines, starts, strict=True)])
        points = np.concatenate([body.points for body in bodies])
        cells = np.column_stack([np.full(len(ends), 2), ends]).ravel()
        if not len(ends):
            cells, points = np.array([2, 0, 0]), points[:1]  # a round body: nothing to be seen
        actor = self._plotter.add_mesh(
            pv.PolyData(points, lines=cells), color=_shares(EDGE), line_width=1.0, lighting=False,
            render=False, reset_camera=False,
        )  # fmt: skip
        _nearer(actor, _NEARER)
        return actor

    def _remove(self, actors: Iterable[Any]) -> None:
        for actor in actors:
            self._plotter.remove_actor(actor, render=False)


def _nearer(actor: Any, units: float) -> None:
    """Draw an actor's lines over faces that lie as near."""
    actor.mapper.SetResolveCoincidentTopologyToPolygonOffset()
    actor.mapper.SetRelativeCoincidentTopologyLineOffsetParameters(0.0, units)


def _shares(colour: Colour) -> list[float]:
    return [value / 255 for value in colour]
