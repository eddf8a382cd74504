"""`envelope check --second-opinion`: what it prints, and its exit status."""

import re
from dataclasses import replace

import pytest

from envelope import verify
from envelope.checks import second_opinion as asked
from envelope.cli.main import main
from tests.support.small_cell import TEXT

POST = "surroundings:\n  - {name: post, box: [100, 100, 300], at: {x: 2000, y: -50, z: 150}}\n"
ONE = ["--placement", "A/1/1", "--second-opinion", "--jobs", "1"]


@pytest.fixture
def write(tmp_path):
    def written(more: str = "") -> str:
        path = tmp_path / "cell.yaml"
        path.write_text(TEXT + more)
        return str(path)

    return written


@pytest.fixture
def hushed(monkeypatch):
    """A check that tells of nothing but reach and stacking."""
    honest = verify.check

    def check(*args, **kwargs):
        result = honest(*args, **kwargs)
        judged = tuple(
            replace(
                entry,
                findings=tuple(
                    f for f in entry.findings if f.check not in ("approach", "collision")
                ),
            )
            for entry in result.placements
        )
        return replace(result, placements=judged)

    monkeypatch.setattr(verify, "check", check)


def test_agreement_is_told_on_standard_output(write, capsys):
    assert main(["check", write(), *ONE]) == 0
    out, err = capsys.readouterr()
    line = re.search(r"^Second opinion: (\d+) configurations, (\d+) pairs .* agree\.$", out, re.M)
    assert line is not None
    assert int(line[2]) > int(line[1]) > 50
    assert err == ""


def test_an_honest_fail_stays_a_fail(write, capsys):
    assert main(["check", write(POST), *ONE]) == 1
    assert "the two engines agree" in capsys.readouterr().out


@pytest.mark.parametrize("more", [[], ["--quiet"]])
def test_a_disagreement_is_never_hushed(write, hushed, capsys, more):
    assert main(["check", write(POST), *ONE, *more]) == 3
    out, err = capsys.readouterr()
    assert "agree" not in out
    lines = [line for line in err.splitlines() if line.startswith("Second opinion disagrees: ")]
    assert any(
        re.search(r"A/1/1, .*, row \d.* s, .* and obstacle/post: they touch", x) for x in lines
    )
    assert len(lines) == len(set(lines)) == len(err.splitlines()) - 1


def test_the_results_are_written_all_the_same(write, hushed, tmp_path, capsys):
    results = tmp_path / "r.json"
    assert main(["check", write(POST), *ONE, "--results", str(results)]) == 3
    assert results.stat().st_size > 1000


def test_quiet_stays_one_line(write, capsys):
    assert main(["check", write(), *ONE, "--quiet"]) == 0
    assert len(capsys.readouterr().out.splitlines()) == 1


def test_what_was_left_open_is_told(write, monkeypatch, capsys):
    opinion = asked.Opinion(10, (), 20, 2, ("A/1/1",))
    monkeypatch.setattr(asked, "second_opinion", lambda *args: opinion)
    main(["check", write(), *ONE])
    out = capsys.readouterr().out
    assert "2 contacts left open, 1 placement without a motion" in out


def test_it_is_not_asked_unless_wanted(write, monkeypatch, capsys):
    monkeypatch.setattr(asked, "second_opinion", None)
    assert main(["check", write(), "--placement", "A/1/1"]) == 0
    assert "opinion" not in capsys.readouterr().out


def test_the_help_names_its_exit_status(capsys):
    assert main(["check", "--help"]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "3 the second opinion disagrees" in text
