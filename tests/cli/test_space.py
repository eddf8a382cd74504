"""`envelope space`: what it writes, and what it refuses."""

import importlib.util
import json
import re
import struct
import xml.etree.ElementTree as ET
from html import unescape
from pathlib import Path

import numpy as np
import pytest
import trimesh

from envelope.cli.main import main
from tests.support.small_cell import TEXT

CAUTION = "Not a risk assessment and not a safety calculation"


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("space")
    (folder / "cell.yaml").write_text(TEXT)
    outputs = [f"--{kind}={folder / f'space.{kind}'}" for kind in ("glb", "stl", "svg", "dxf")]
    outputs.append(f"--report={folder / 'space.html'}")
    assert main(["space", str(folder / "cell.yaml"), "--tolerance", "100", *outputs]) == 0
    return folder


def plain(text: str) -> str:
    return " ".join(text.split())


def test_the_models_hold_the_same_solid(written, capsys):
    solid = trimesh.load(written / "space.stl")
    assert solid.volume > 0.0  # faces look outwards
    shown = trimesh.load(written / "space.glb")
    assert np.allclose(shown.extents[[0, 2, 1]] * 1e3, solid.extents, atol=1e-2)
    assert struct.unpack_from("<I", (written / "space.stl").read_bytes(), 80)[0] == len(solid.faces)


def test_the_page_tells_heights_and_what_is_near(written):
    page = (written / "space.html").read_text(encoding="utf-8")
    assert CAUTION in plain(unescape(page))
    solid = trimesh.load(written / "space.stl")
    told = [int(top) for top in re.findall(r": from -?\d+ to (\d+) mm</title>", page)]
    assert len(told) > 50
    assert max(told) >= solid.bounds[1][2]  # never told too small
    assert max(told) <= solid.bounds[1][2] + 1.0
    assert re.search(r"<td[^>]*>\s*(?:obstacle|conveyor|pallet)", page)
    for address in re.findall(r'(?:src|href)="([^"]*)"', page):
        assert address.startswith(("#", "data:")), address


def test_every_output_carries_the_caution(written, capsys):
    svg = ET.parse(written / "space.svg").getroot()
    texts = [node.text for node in svg.iter("{http://www.w3.org/2000/svg}text")]
    assert CAUTION in plain(" ".join(texts))
    glb = (written / "space.glb").read_bytes()
    (length,) = struct.unpack_from("<I", glb, 12)
    (node,) = json.loads(glb[20 : 20 + length])["nodes"]
    assert CAUTION in node["extras"]["caution"]
    assert b"no risk assessment" in (written / "space.stl").read_bytes()[:80]
    ezdxf = pytest.importorskip("ezdxf")
    drawn = ezdxf.readfile(written / "space.dxf")
    words = [entity.dxf.text for entity in drawn.modelspace().query("TEXT")]
    assert CAUTION in plain(" ".join(words))
    assert main(["space", str(written / "cell.yaml"), "--tolerance", "100"]) == 0
    assert CAUTION in plain(capsys.readouterr().out)


def test_the_drawing_for_cad_is_in_mm_where_the_cell_stands(written):
    ezdxf = pytest.importorskip("ezdxf")
    drawn = ezdxf.readfile(written / "space.dxf")
    assert drawn.units == ezdxf.units.MM
    assert not drawn.audit().errors
    rings = drawn.modelspace().query('LWPOLYLINE[layer=="OPERATING SPACE"]')
    assert all(ring.closed for ring in rings)
    plan = np.array(rings[0].get_points("xy"))
    # the pallet's near corner and the far cartons are passed over, in the world's coordinates
    assert plan[:, 0].max() > 2200
    assert plan[:, 1].min() < -1200
    pallet = [
        np.array(line.get_points("xy"))
        for line in drawn.modelspace().query('LWPOLYLINE[layer=="CELL"]')
    ]
    corners = [(points.min(axis=0), points.max(axis=0)) for points in pallet]
    assert any(
        np.allclose(low, (1000, -200)) and np.allclose(high, (2200, 600)) for low, high in corners
    )


def test_the_text_tells_heights_and_clearances(written, capsys):
    assert main(["space", str(written / "cell.yaml"), "--tolerance", "100"]) == 0
    out = capsys.readouterr().out
    height = int(re.search(r"greatest height +(\d+) mm", out).group(1))
    assert 1000 < height < 4000
    lowest = int(re.search(r"lowest of tool and groups +(\d+) mm", out).group(1))
    assert lowest in (143, 144)  # on the deck
    assert re.search(r"obstacle/floor +14\d\.?\d* to 14\d\.?\d* ", out)
    bands = re.findall(r"^ +(\d+) to +(\d+)  ", out, re.MULTILINE)
    assert int(bands[0][1]) >= height > int(bands[0][0])
    assert "Hint" not in out


def test_hints_come_with_formula_edition_source_and_in_all_drawings(written, capsys):
    asked = ["--fence-height", "1800", "--risk", "low", "--gap", "body"]
    asked += ["--stopping-time", "0.32", "--resolution", "14"]
    outputs = ["--svg", str(written / "hints.svg"), "--dxf", str(written / "hints.dxf")]
    arguments = ["space", str(written / "cell.yaml"), "--tolerance", "100", *asked, *outputs]
    assert main(arguments) == 0
    out = plain(capsys.readouterr().out)
    svg = ET.parse(written / "hints.svg").getroot()
    texts = " ".join(n.text for n in svg.iter("{http://www.w3.org/2000/svg}text"))
    ezdxf = pytest.importorskip("ezdxf")
    drawn = ezdxf.readfile(written / "hints.dxf").modelspace()
    words = " ".join(entity.dxf.text for entity in drawn.query("TEXT"))
    for told in (out, plain(texts), plain(words)):
        assert "T 0.32 s, d 14 mm: 512 mm" in told
        assert "ISO 13855:2010, as reproduced: S = 2000 T + 8 (d - 14)" in told
        assert "The edition of 2024 has S = K T + D_DS + Z" in told
        assert "reaching over a fence of 1800 mm, low risk" in told
        assert "ISO 13857:2019" in told
        assert "gaps under 500 mm, in which the body may be crushed" in told
        assert CAUTION in told
    # the line keeps its distance from the outline everywhere
    shapely = pytest.importorskip("shapely")
    (line,) = drawn.query('LWPOLYLINE[layer=="HINT LIGHT CURTAIN"]')
    ring = shapely.LineString(np.array(line.get_points("xy")))
    first = drawn.query('LWPOLYLINE[layer=="OPERATING SPACE"]')[0]
    plan = shapely.Polygon(np.array(first.get_points("xy")))
    assert 511.9 <= shapely.distance(ring, plan) < 530


def test_a_cell_with_failures_is_told_by_the_status(written, capsys):
    arguments = ["space", str(written / "cell.yaml"), "--tolerance", "150"]
    assert main([*arguments, "--set", "arm.at.x=-2000"]) == 1
    out = capsys.readouterr().out
    assert "no motion was found, so nothing is known of: A/1/1" in out


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--tolerance", "5"], "5.0 is not in the range"),
        (["--tolerance", "nan"], "--tolerance"),
        (["--svg", "none/there.svg"], "there is no folder"),
        (["--fence-height", "2000"], "--fence-height needs --risk"),
        (["--risk", "low"], "--risk needs --fence-height"),
        (["--resolution", "14"], "--resolution needs --stopping-time"),
        (["--stopping-time", "0.3"], "--stopping-time needs --resolution or --field-height"),
        (["--stopping-time", "nan", "--resolution", "14"], "--stopping-time must be a number"),
        (["--stopping-time", "-1", "--resolution", "14"], "--stopping-time must be a number"),
        (["--stopping-time", "0.3", "--resolution", "80"], "no formula for a detection"),
        (["--stopping-time", "0.3", "--field-height", "1200"], "no formula for a field"),
        (["--fence-height", "900", "--risk", "high"], "no table for a fence of 900 mm"),
        (["--gap", "nose"], "'nose' is not one of"),
        (["--svg", "one.svg", "--dxf", "one.svg"], "named for two outputs"),
    ],
)
def test_wrong_input_is_refused(written, capsys, more, said):
    assert main(["space", str(written / "cell.yaml"), *more]) == 2
    assert said in capsys.readouterr().err


def test_without_the_library_for_dxf_it_says_what_to_install(written, capsys, monkeypatch):
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    target = written / "other.dxf"
    assert main(["space", str(written / "cell.yaml"), "--dxf", str(target)]) == 2
    assert "envelope-planner[dxf]" in capsys.readouterr().err
    assert not target.exists()


def test_files_that_are_there_stay(written, capsys):
    before = Path(written / "space.svg").read_bytes()
    arguments = ["space", str(written / "cell.yaml"), "--svg", str(written / "space.svg")]
    assert main(arguments) == 2
    assert (written / "space.svg").read_bytes() == before
