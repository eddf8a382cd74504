"""The plan of a cell: outlines of what stands, seen from above, in mm in the world frame."""

from dataclasses import dataclass

import numpy as np

from ..cell.model import Cell, Fixture
from ..geometry.bodies import Box, Hull, Mesh, Shape
from ..geometry.frames import Array, transform

Point = tuple[float, float]
_AROUND = 48  # corners of the outline of a round body
_LARGEST = 20.0  # [m]: what is wider than this is the ground, not a thing on it


@dataclass(frozen=True, slots=True)
class Outline:
    """The convex outline of one thing on the floor plan.

    Attributes:
        kind: "conveyor", "pallet", "pedestal", "fence", ...; "placement" for a carton put down.
        name: Its scene name.
        points: Corners, counter-clockwise [mm].
    """

    kind: str
    name: str
    points: tuple[Point, ...]


def plan_of(cell: Cell) -> tuple[Outline, ...]:
    """Outlines of everything that stands still, but for the floor and what the arm stands on."""
    pallets = [pallet.fixture for pallet in cell.pallets]
    fixtures = [f for f in cell.fixtures if f.kind not in ("pedestal", "ceiling")]
    outlines = [_outline(f) for f in (*cell.infeed.fixtures, *pallets, *fixtures)]
    return tuple(o for o in outlines if o is not None and o.name != "obstacle/floor")


def layer_plan(cell: Cell, pallet: str, layer: int) -> tuple[Outline, ...]:
    """Outlines of the cartons of one layer of a pallet."""
    found: list[Outline] = []
    for each in cell.pallets:
        for placement in each.placements if each.name == pallet else ():
            if placement.layer == layer:
                for carton, at in placement.carton_poses():
                    half = np.array(carton.size) / 2
                    corners = _corners(half) - np.array([0.0, 0.0, half[2]])
                    world = transform(each.world_from_pallet @ at, corners)
                    found.append(Outline("placement", f"carton/{placement.id}", _around(world)))
    return tuple(found)


def _outline(fixture: Fixture) -> Outline | None:
    points = transform(fixture.body.pose, _points(fixture.body.shape))
    if np.ptp(points[:, :2], axis=0).max() > _LARGEST:
        return None
    return Outline(fixture.kind, fixture.body.name, _around(points))


def _points(shape: Shape) -> Array:
    """Points whose hull is the shape (round ones: its polygon), shape (n, 3) [m]."""
    if isinstance(shape, Box):
        return _corners(shape.half)
    if isinstance(shape, Hull):
        return shape.vertices
    if isinstance(shape, Mesh):
        return shape.triangles.reshape(-1, 3)
    angles = np.linspace(0.0, 2.0 * np.pi, _AROUND, endpoint=False)
    ring = np.stack([np.cos(angles), np.sin(angles), np.zeros(_AROUND)], axis=1) * shape.radius
    end = np.array([0.0, 0.0, shape.half])
    return np.concatenate([ring + end, ring - end])


def _corners(half: Array) -> Array:
    signs = np.array([(i, j, k) for i in (-1, 1) for j in (-1, 1) for k in (-1, 1)], dtype=float)
    return signs * half


def _around(points: Array) -> tuple[Point, ...]:
    """Convex hull of points in plan, counter-clockwise [mm], rounded to 0.1 mm.

    Source: Andrew's monotone chain (1979), from memory.
    """
    unique = sorted({(round(float(x) * 1e3, 1), round(float(y) * 1e3, 1)) for x, y, *_ in points})

    def half(ordered: list[Point]) -> list[Point]:
        chain: list[Point] = []
        for x, y in ordered:
            while len(chain) > 1 and _turn(chain[-2], chain[-1], (x, y)) <= 0.0:
                chain.pop()
            chain.append((x, y))
        return chain[:-1]

    if len(unique) < 3:
        return tuple(unique)
    return (*half(unique), *half(unique[::-1]))


def _turn(a: Point, b: Point, c: Point) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
