"""The library of the 3D view, out of an installed package, as it is and as it may be one day."""

import pytest

from envelope.report import view_library as library
from envelope.report.html import as_html
from envelope.report.rendering import template

from . import synthetic as made
from .test_html import cell_of

USER = template("viewer.js")


@pytest.fixture
def installed(monkeypatch, tmp_path):
    """A package of this text in place of the installed one."""

    def put(text):
        (tmp_path / library._FILE).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / library._FILE).write_text(text, encoding="utf-8")
        monkeypatch.setattr(library, "files", lambda module: tmp_path)

    return put


def test_the_installed_library_has_all_that_the_view_uses():
    found = library.view_library(USER)
    assert found.missing == ""
    assert library.used_by(USER) >= {"WebGLRenderer", "OrbitControls", "Mesh", "LineSegments"}
    assert len(found.text) < 1_200_000
    assert "Three.js Authors" in found.licence
    assert found.licence.endswith("licence: MIT.")


def test_a_use_that_the_library_does_not_have_is_found():
    found = library.view_library(USER + "new THREE.NoSuchThing()")
    assert found.text == ""
    assert "has no NoSuchThing" in found.missing


def test_without_the_package_it_is_said(monkeypatch):
    monkeypatch.setattr(library, "_MODULE", "no_such_package")
    found = library.view_library(USER)
    assert found.text == ""
    assert "jupyter-threejs-sage" in found.missing


@pytest.mark.parametrize("trouble", ["'</SCRIPT >'", "'<!-- '"])
def test_a_library_that_would_end_its_own_element_is_not_taken(installed, trouble):
    exports = "".join(f"t.{name}=1;" for name in library.used_by(USER))
    installed(f"/** @license Copyright 2030 Somebody SPDX-License-Identifier: MIT */{exports}")
    assert library.view_library(USER).licence == "Copyright 2030 Somebody, licence: MIT."
    installed(f"/** @license Somebody MIT */{exports}{trouble}")
    assert "cannot stand in a page" in library.view_library(USER).missing


def test_a_library_without_its_licence_is_not_taken(installed):
    installed("".join(f"t.{name}=1;" for name in library.used_by(USER)))
    assert library.view_library(USER).text == ""


def test_the_page_says_why_it_has_no_3d_view_and_is_whole_otherwise(installed):
    result = made.result(made.judged(1, made.CLASH))
    with_view = as_html(result, cell_of(result))
    assert "three.js r130. Copyright" in with_view
    installed("/** @license nobody MIT */ t.Scene=1;")
    page = as_html(result, cell_of(result))
    assert "No 3D view: on the machine that wrote this page, the three.js r130" in page
    assert page.count("<script") == 2
    assert "All placements" in page
    assert "Layer plans" in page
