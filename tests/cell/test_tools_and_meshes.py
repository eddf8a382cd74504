"""Lips between rigid face and cartons; meshes that close, do not close, or are none."""

from pathlib import Path

import numpy as np
import pytest
import trimesh

from envelope.cell.errors import CellError
from envelope.cell.load import load, load_arm, load_tool
from envelope.cell.shapes import bounds

ACCEPTED = Path(__file__).parents[1] / "cells" / "accepted"

TOOL = """\
mass: 3
centre_of_gravity: [0, 0, 50]
bodies: [{{name: plate, box: [300, 200, 20], at: {{z: {face}}}}}]
tcp: {{at: {{z: 100}}, on: {on}}}
fields:
  f: {{centre: [0, 0], size: [300, 200], stroke: 25, compression: 10,
      cups: {{rows: 1, columns: 2, pitch: [100, 100], diameter: 40}}}}
"""


@pytest.mark.parametrize(("on", "free"), [("compressed", 110), ("free", 100)])
def test_lips_reach_from_the_rigid_face_to_the_free_plane(write, on, free):
    tool = load_tool(str(write(TOOL.format(face=70, on=on), "tool.yaml")))
    low, high = bounds(tool.fields[0].lips) * 1e3
    assert low == pytest.approx([-150, -100, 80])
    assert high == pytest.approx([150, 100, free])
    assert tool.fields[0].cups * 1e3 == pytest.approx(np.array([[-50, 0], [50, 0]]))
    assert tool.fields[0].cup_radius == pytest.approx(0.02)


@pytest.mark.parametrize(("on", "face"), [("compressed", 90), ("free", 80)])
def test_a_rigid_face_at_the_compressed_lips_is_refused(write, on, face):
    """Else steel would rest on the carton, and every clearance under the lips would be a lie."""
    path = write(TOOL.format(face=face, on=on), "tool.yaml")
    with pytest.raises(CellError, match="reaches down to its compressed lips"):
        load_tool(str(path))
    assert load_tool(str(write(TOOL.format(face=face - 1, on=on), "tool.yaml")))


def test_lips_under_several_bodies_reach_up_to_the_one_that_covers_the_field(write):
    """A small part beside the cups must not hide the soft height above its lower end."""
    text = TOOL.format(face=70, on="compressed")
    text = text.replace("bodies: [", "bodies: [{name: sensor, box: [20, 20, 40], at: {z: 78}}, ")
    low, _ = bounds(load_tool(str(write(text, "tool.yaml"))).fields[0].lips) * 1e3
    assert low[2] == pytest.approx(80)
    bare = text.replace("box: [300, 200, 20]", "box: [200, 200, 20]")
    low, _ = bounds(load_tool(str(write(bare, "tool.yaml"))).fields[0].lips) * 1e3
    assert low[2] == pytest.approx(85)  # the stroke of 25 above the free plane at 110


def test_a_tilted_tool_frame_carries_its_lips_along(write):
    text = TOOL.format(face=70, on="compressed").replace("at: {z: 100}", "at: {x: 100, pitch: 90}")
    text = text.replace("box: [300, 200, 20], at: {z: 70}", "box: [20, 200, 300], at: {x: 70}")
    low, high = bounds(load_tool(str(write(text, "tool.yaml"))).fields[0].lips) * 1e3
    assert (low[0], high[0]) == pytest.approx((80, 110))


def test_errors_in_an_arm_or_tool_file_name_that_file(write, errors):
    cell = (ACCEPTED / "own-files.yaml").read_text()
    arm = (ACCEPTED / "own/arm.yaml").read_text().replace("mass: 25", "mass: -25")
    tool = (ACCEPTED / "own/tool.yaml").read_text().replace("stroke: 20", "strok: 20")
    write(arm, "own/arm.yaml")
    write(tool, "own/tool.yaml")
    write((ACCEPTED / "block.stl").read_bytes(), "block.stl")
    lines = errors(write(cell))
    assert len(lines) == 2
    assert "arm.yaml:" in lines[0]
    assert "rating.mass: -25 is not above 0" in lines[0]
    assert 'fields.plate.strok: no such key here; did you mean "stroke"?' in "\n".join(lines)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("family: spherical wrist", "family: snake", "unknown family"),
        ("upper_arm:", "uper_arm:", "unknown dimension"),
        ("name: joint 2", "name: joint 1", "joint names must differ"),
        ("  upper arm:", "  uper arm:", "unknown link"),
    ],
)
def test_what_an_arm_family_refuses_is_said_with_file_and_line(write, old, new, message):
    text = (ACCEPTED / "own/arm.yaml").read_text()
    assert old in text
    path = write(text.replace(old, new, 1), "arm.yaml")
    with pytest.raises(CellError) as caught:
        load_arm(str(path))
    assert str(caught.value).startswith(f"{path}:")
    assert message in str(caught.value)


def with_mesh(write, content: bytes, name: str, more: str = ""):
    write(content, name)
    text = (ACCEPTED / "single.yaml").read_text()
    return write(f"{text}surroundings: [{{name: thing, mesh: {name}{more}}}]\n")


def thing(cell):
    return next(f.body for f in cell.fixtures if f.body.name == "obstacle/thing")


@pytest.mark.parametrize("kind", ["stl", "obj", "ply", "glb"])
def test_meshes_of_every_kind_close_and_keep_their_size(write, kind):
    # glTF is in metres with y up; the others have no unit of their own and are taken as mm.
    sides = [0.1, 0.3, 0.2] if kind == "glb" else [100, 200, 300]
    content = trimesh.creation.box(sides).export(file_type=kind)
    content = content.encode() if isinstance(content, str) else content
    cell = load(with_mesh(write, content, f"part.{kind}"))
    assert thing(cell).shape.closed
    assert thing(cell).shape.triangles.shape == (12, 3, 3)
    assert np.ptp(bounds(thing(cell)), axis=0) == pytest.approx([0.1, 0.2, 0.3])
    assert cell.notes == ()


@pytest.mark.parametrize(("unit", "metres"), [("m", 1.0), ("cm", 0.01), ("in", 0.0254)])
def test_mesh_units(write, unit, metres):
    content = trimesh.creation.box([1, 2, 3]).export(file_type="stl")
    cell = load(with_mesh(write, content, "part.stl", f", mesh_unit: {unit}"))
    assert np.ptp(bounds(thing(cell)), axis=0) == pytest.approx([metres, 2 * metres, 3 * metres])


def test_a_mesh_with_a_hole_counts_as_a_skin_and_the_report_says_so(write):
    mesh = trimesh.creation.box([100, 200, 300])
    mesh.update_faces(np.arange(12) > 0)
    cell = load(with_mesh(write, mesh.export(file_type="stl"), "part.stl"))
    assert not thing(cell).shape.closed
    assert cell.notes == (
        'mesh "part.stl" (obstacle/thing) is not watertight: it counts as a skin, no inside',
    )


def test_a_mesh_whose_faces_point_both_ways_is_not_closed(write):
    """Its inside cannot be told: to take it as solid or hollow would be a guess."""
    mesh = trimesh.creation.box([100, 200, 300])
    mesh.faces[0] = mesh.faces[0][::-1]
    cell = load(with_mesh(write, mesh.export(file_type="stl"), "part.stl"))
    assert not thing(cell).shape.closed


@pytest.mark.parametrize(
    ("content", "name", "message"),
    [
        (b"", "part.stl", "holds no triangles"),
        (b"\x00" * 200, "part.stl", "part.stl"),
        (b"no mesh at all", "part.ply", "cannot be read as a mesh"),
        (b"v 0 0 0\nv 1 0 0\n", "part.obj", "part.obj"),
        (b"v 0 0 0\nv nan 0 0\nv 0 1 0\nf 1 2 3\n", "part.obj", "part.obj"),
        (b"v 0 0 0\nv 900000 0 0\nv 0 1 0\nf 1 2 3\n", "part.obj", "is 900000 mm long; give"),
        (b"glTF" + b"\xff" * 40, "part.glb", "cannot be read as a mesh"),
    ],
)
def test_what_is_no_mesh(write, errors, content, name, message):
    (line,) = errors(with_mesh(write, content, name))
    assert "surroundings.0.mesh" in line
    assert message in line


def test_a_link_that_leads_out_of_the_folder_is_refused(write, errors, tmp_path):
    write(trimesh.creation.box([1, 1, 1]).export(file_type="stl"), "secret.stl")
    text = (ACCEPTED / "single.yaml").read_text()
    cell = write(f"{text}surroundings: [{{name: thing, mesh: part.stl}}]\n", "in/cell.yaml")
    (tmp_path / "in" / "part.stl").symlink_to(tmp_path / "secret.stl")
    (line,) = errors(cell)
    assert "leads out of the folder" in line


@pytest.mark.parametrize("name", ["/etc/part.stl", "C:\\part.stl", "..\\part.stl", "a/../../b.stl"])
def test_absolute_paths_are_refused(write, errors, name):
    text = (ACCEPTED / "single.yaml").read_text()
    (line,) = errors(write(f"{text}surroundings: [{{name: thing, mesh: '{name}'}}]\n"))
    assert "leads out of the folder" in line
