"""The page is written whole, with its pictures where they can be drawn."""

import pytest

from envelope.cli import page
from envelope.cli.main import main
from envelope.cli.pictures import Drawn
from tests.report import synthetic as made
from tests.report.test_html import cell_of

PNG = (
    b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x00\x01\x00\x00\x00\x01\x08\x00\x00\x00\x00:~\x9bU"
    b"\x00\x00\x00\nIDATx\x9cc`\x00\x00\x00\x02\x00\x01H\xaf\xa4q\x00\x00\x00\x00IEND\xaeB`\x82"
)


@pytest.fixture
def result():
    return made.result(made.judged(1, made.PASS), made.judged(2, made.CLASH))


def test_pictures_stand_in_the_page(result, tmp_path, monkeypatch):
    def drawn(cell, result, spots, folder, drawing):
        assert drawing is None
        assert [spot.judged.placement.id for spot in spots] == ["A/1/2"]
        (folder / "0.png").write_bytes(PNG)
        return Drawn((folder / "0.png",))

    monkeypatch.setattr(page, "draw_spots_apart", drawn)
    page.write_page(result, cell_of(result), tmp_path / "page.html")
    text = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert text.count('<img src="data:image/png;base64,') == 1
    assert page.NO_STILLS not in text
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]


def test_without_opengl_pictures_are_left_out_with_a_word(result, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(page, "draw_spots_apart", lambda *_: Drawn((), "No still pictures: died."))
    page.write_page(result, cell_of(result), tmp_path / "page.html")
    text = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert page.NO_STILLS in text
    assert "data:image/png" not in text
    assert "No still pictures: died." in capsys.readouterr().err


def test_nothing_is_drawn_where_nothing_is_wrong(tmp_path, monkeypatch):
    monkeypatch.setattr(page, "draw_spots_apart", None)
    result = made.result(made.judged(1, made.PASS))
    page.write_page(result, cell_of(result), tmp_path / "page.html")
    assert page.NO_STILLS not in (tmp_path / "page.html").read_text(encoding="utf-8")


def test_a_page_that_is_there_stays(answers, tmp_path, capsys):
    (tmp_path / "cell.yaml").write_text("name: x", encoding="utf-8")
    (tmp_path / "page.html").write_text("mine", encoding="utf-8")
    assert main(["check", "cell.yaml", "--report", "page.html"]) == 2
    assert (tmp_path / "page.html").read_text(encoding="utf-8") == "mine"
    assert "page.html" in capsys.readouterr().err
    assert answers.asked == {}
