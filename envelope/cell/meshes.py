"""Mesh files: triangles, in metres, and whether they close."""

from io import BytesIO
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any, cast

import numpy as np

from ..geometry.bodies import Mesh, frozen
from .errors import CellError, Key
from .sources import Sources
from .yaml_reading import Document, read_file

LARGEST_MESH = 100_000_000  # bytes
MOST_TRIANGLES = 500_000  # more only makes every clearance slow; a fixture needs far fewer
LARGEST_EXTENT = 100.0  # [m]: beyond it the unit is wrong
KINDS = ("stl", "obj", "ply", "glb")
_Z_UP_FROM_Y_UP = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
_METRES = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": 0.0254}


def beside(name: str, folder: Path) -> Path | None:
    """The path of a file named in another file; None when it leads out of its folder."""
    pure = PurePosixPath(name.replace("\\", "/"))
    if pure.is_absolute() or PureWindowsPath(name).drive or ".." in pure.parts:
        return None
    path = folder / pure
    try:
        inside = path.resolve().is_relative_to(folder.resolve())
    except (OSError, ValueError):  # a loop of links, a null byte
        return None
    return path if inside else None


def read_mesh(
    name: str,
    unit: str | None,
    body: str,
    document: Document,
    key: Key,
    sources: Sources,
) -> Mesh | None:
    """The mesh in a file beside the document.

    Returns:
        None where it cannot be used; the problem is then in `sources`.
    """
    found, right = "", ""
    kind = name.rpartition(".")[2].lower()
    path = beside(name, Path(document.file).parent)
    if kind not in KINDS:
        found, right = f'"{name}" is not a mesh file that is read', "use STL, OBJ, PLY or GLB"
    elif path is None:
        found, right = f'"{name}" leads out of the folder of this file', "put it beside the file"
    if found or path is None:
        sources.add(document.problem(key, found, right))
        return None
    try:
        content = read_file(path, name, LARGEST_MESH)
    except CellError as error:
        problem = error.problems[0]
        sources.add(document.problem(key, f'"{name}": {problem.found}', problem.right))
        return None
    sources.used(f"mesh {name}", content)
    made = _parsed(content, kind, _METRES[unit or ("m" if kind == "glb" else "mm")])
    if isinstance(made, tuple):
        sources.add(document.problem(key, f'"{name}" {made[0]}', made[1]))
        return None
    if not made.closed:
        sources.note(f'mesh "{name}" ({body}) is not watertight: it counts as a skin, no inside')
    return made


def _parsed(content: bytes, kind: str, metres: float) -> Mesh | tuple[str, str]:
    """The mesh, or what is wrong and what would be right."""
    import trimesh  # slow to import, and few cells have meshes

    load = cast(Any, trimesh).load
    loaded: Any
    try:
        loaded = load(
            BytesIO(content), file_type=kind, force="mesh", skip_materials=True, process=False
        )
        loaded.merge_vertices(merge_tex=True, merge_norm=True)
        triangles = np.array(loaded.triangles, dtype=float).reshape(-1, 3, 3) * metres
        if kind == "glb":  # glTF 2.0, section 3.4: +y is up
            triangles = triangles @ _Z_UP_FROM_Y_UP.T
    except Exception:  # a broken file can make the reader fail in any way
        return "cannot be read as a mesh", f"save it as {kind.upper()} again"
    if len(triangles) == 0:
        return "holds no triangles", "save it with its surface as triangles"
    if len(triangles) > MOST_TRIANGLES:
        return f"has {len(triangles)} triangles", f"thin it out to {MOST_TRIANGLES} or fewer"
    if not np.isfinite(triangles).all():
        return "has corners that are no numbers", "save it again"
    extent = float(np.ptp(triangles.reshape(-1, 3), axis=0).max())
    if not 1e-6 < extent < LARGEST_EXTENT or float(np.abs(triangles).max()) > LARGEST_EXTENT:
        return f"is {extent * 1e3:g} mm long", "give its unit by mesh_unit: mm, cm, m or in"
    edges_a, edges_b = (triangles[:, (1, 2)] - triangles[:, :1]).transpose(1, 0, 2)
    full = np.linalg.norm(np.cross(edges_a, edges_b), axis=1) > 0.0
    closed = bool(loaded.is_watertight and loaded.is_winding_consistent)
    return Mesh(frozen(triangles[full]), closed)
