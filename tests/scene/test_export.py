"""A GLB file against the cell it stands for, and against the validator of the format."""

import json
import os
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from envelope.geometry.frames import pose
from envelope.scene.export import glb, timeline_of, write_glb
from envelope.scene.facets import facets_of, hull
from envelope.scene.glb import linear
from envelope.scene.surfaces import surface_of

from .gltf import Gltf

ROOT = Path(__file__).parents[2]
VALIDATE = """
const {validateBytes} = require('gltf-validator');
const bytes = new Uint8Array(require('fs').readFileSync(process.argv[1]));
validateBytes(bytes).then(report => console.log(JSON.stringify(report.issues)));
"""


def validator() -> tuple[str, Path]:
    """Node and the folder with the format's own validator; skips where one is missing."""
    folder = Path(os.environ.get("ENVELOPE_NODE_MODULES", ROOT / ".venv" / "node_modules"))
    node = shutil.which("node")
    if node is None or not (folder / "gltf-validator").is_dir():
        pytest.skip(f"node, or its package gltf-validator in {folder}, is missing")
    return node, folder


@pytest.fixture(scope="module")
def sound_file(sound):
    cell, result = sound
    return cell, result.placements[0], Gltf(glb(cell, result))


@pytest.mark.parametrize("name", ["sound", "out_of_reach", "clash"])
def test_the_validator_of_the_format_finds_nothing(name, request, tmp_path):
    node, folder = validator()
    cell, result = request.getfixturevalue(name)
    write_glb(tmp_path / "cell.glb", cell, result)
    environment = os.environ | {"NODE_PATH": str(folder)}
    command = [node, "-e", VALIDATE, str(tmp_path / "cell.glb")]
    told = subprocess.run(command, capture_output=True, check=True, env=environment, timeout=60)
    issues = json.loads(told.stdout)
    assert issues["messages"] == []


def test_nodes_have_the_names_that_findings_use(sound_file):
    cell, judged, file = sound_file
    names = file.names()
    links = {f"link/{link.name}" for link in cell.mounted.arm.chain.links}
    assert {"link/base", *links} <= set(names)
    assert {f"pallet/{cell.pallets[0].name}", "conveyor/belt"} <= set(names)
    assert any(name.startswith("tool/") for name in names)
    group = file.nodes[names.index(f"group/{judged.cycle.number}")]
    assert [file.nodes[i]["name"] for i in group["children"]] == [f"carton/{judged.placement.id}"]
    assert "obstacle/floor" not in names


def test_the_links_move_as_forward_kinematics_says(sound_file):
    cell, judged, file = sound_file
    chain = cell.mounted.arm.chain
    line = timeline_of(judged.cycle, chain.turning())
    assert file.instants() == pytest.approx(line.times, abs=1e-5)
    names = ["link/base", *(f"link/{link.name}" for link in chain.links)]
    for key in range(0, len(line.times), max(len(line.times) // 7, 1)):
        poses = chain.link_poses(line.joints[key : key + 1])[0]
        for name, base_from_link in zip(names, poses, strict=True):
            wanted = cell.mounted.world_from_base @ base_from_link
            assert file.pose(name, key) == pytest.approx(wanted, abs=2e-5)


def test_the_bodies_hang_on_their_links_as_in_the_arm_file(sound_file):
    cell, _, file = sound_file
    for index, link in enumerate(cell.mounted.arm.chain.links, start=1):
        bodies = [entry.body for entry in cell.mounted.arm.bodies if entry.link == index]
        if bodies:
            points = np.concatenate([facets_of(body).points for body in bodies])
            corners = file.corners(f"link/{link.name}")
            assert corners.min(axis=0) == pytest.approx(points.min(axis=0), abs=1e-6)
            assert corners.max(axis=0) == pytest.approx(points.max(axis=0), abs=1e-6)


def test_the_carton_goes_from_the_infeed_to_its_placement_and_stays(sound_file):
    cell, judged, file = sound_file
    name = f"carton/{judged.placement.id}"
    pallet = cell.pallets[0]
    ((carton, at),) = judged.placement.carton_poses()
    wanted = pallet.world_from_pallet @ at @ pose(z=-carton.size[2] / 2)
    last = len(file.instants()) - 1
    assert file.pose(name, last)[:3, 3] == pytest.approx(wanted[:3, 3], abs=1e-4)
    belt = next(f.body for f in cell.infeed.fixtures if f.body.name == "conveyor/belt")
    top = float(facets_of(belt).points[:, 2].max())
    assert file.pose(name, 0)[2, 3] == pytest.approx(top + carton.size[2] / 2, abs=1e-4)
    released = next(s for s in judged.cycle.segments if s.release == 1).times[0]
    after = np.flatnonzero(file.instants() > released + 1e-3)
    resting = np.array([file.pose(name, int(key)) for key in after[:: max(len(after) // 5, 1)]])
    assert np.abs(resting - file.pose(name, last)).max() < 1e-6


def test_the_carton_never_jumps(sound_file):
    _, judged, file = sound_file
    name = f"carton/{judged.placement.id}"
    way = np.array([file.pose(name, key)[:3, 3] for key in range(len(file.instants()))])
    assert np.linalg.norm(np.diff(way, axis=0), axis=1).max() < 0.35


def test_where_no_motion_was_found_nothing_moves_and_the_verdict_is_told(out_of_reach):
    cell, result = out_of_reach
    file = Gltf(glb(cell, result))
    assert "animations" not in file.head
    carton = next(
        n for n in file.nodes if n["name"] == f"carton/{result.placements[0].placement.id}"
    )
    assert carton["extras"] == {"verdict": "fail"}


def test_a_placement_that_is_not_in_the_result_is_refused(sound, tmp_path):
    cell, result = sound
    with pytest.raises(KeyError, match="A/9/9"):
        write_glb(tmp_path / "cell.glb", cell, result, "A/9/9")
    assert list(tmp_path.iterdir()) == []


def test_the_same_cell_gives_the_same_bytes(sound):
    cell, result = sound
    assert glb(cell, result) == glb(cell, result)


def test_a_name_with_markup_and_another_alphabet_stays_text(sound):
    from dataclasses import replace

    cell, result = sound
    name = '</script>"\\\u00df\u4e2d'
    file = Gltf(glb(replace(cell, name=name), result))
    assert file.names()[0] == f"cell/{name}"


def test_flat_sides_keep_their_edges_and_round_ones_are_smooth():
    box = surface_of(hull(np.array([(x, y, z) for x in (0, 1) for y in (0, 1) for z in (0, 1)])))
    assert (len(box.points), len(box.triangles), len(box.edges)) == (24, 12, 12)
    angle = np.arange(36) * (2 * np.pi / 36)
    ring = np.column_stack([np.cos(angle), np.sin(angle)])
    drum = surface_of(
        hull(np.concatenate([np.column_stack([ring, np.full(36, z)]) for z in (0.0, 1.0)]))
    )
    side = np.abs(drum.normals[:, 2]) < 0.5
    assert drum.normals[side, :2] == pytest.approx(drum.points[side, :2], abs=0.09)
    assert len(drum.edges) == 72


def test_normals_point_outwards():
    generator = np.random.default_rng(3)
    surface = surface_of(hull(generator.normal(size=(40, 3))))
    corners = surface.points[surface.triangles]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert ((across * corners.mean(axis=1)).sum(axis=1) > 0).all()
    assert ((surface.normals[surface.triangles[:, 0]] * across).sum(axis=1) > 0).all()


def test_colours_are_written_in_linear_light():
    assert [round(linear(value), 4) for value in (0, 10, 128, 255)] == [0.0, 0.003, 0.2159, 1.0]
