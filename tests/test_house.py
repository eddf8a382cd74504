"""The house rules that no other tool holds, and the documents: what they show runs."""

import ast
import os
import re
import shlex
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest

from envelope.cli.main import COMMANDS, main

ROOT = Path(__file__).parents[1]
ALLOWED = {
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    "LICENSE",
    "Makefile",
    "pyproject.toml",
    "envelope",
    "models",
    "tests",
    "cells",
}
LONGEST_FUNCTION, LONGEST_FILE = 60, 400
MODULES = sorted((ROOT / "envelope").rglob("*.py"))
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    """Code blocks of the README in one language."""
    return re.findall(rf"^```{language}\n(.*?)^```", README, re.DOTALL | re.MULTILINE)


def commands() -> list[list[str]]:
    """The `envelope` command lines of the README, as arguments."""
    lines = [line for block in blocks("console") for line in block.splitlines()]
    return [shlex.split(line)[1:] for line in lines if line.startswith("envelope ")]


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_files_and_functions_stay_small(path):
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") <= LONGEST_FILE
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            first = min([node.lineno, *(d.lineno for d in node.decorator_list)])
            assert (node.end_lineno or 0) - first < LONGEST_FUNCTION, node.name


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_package_is_never_imported_from_inside_itself(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert node.module is None or not node.module.startswith("envelope"), node.lineno
            if node.module is None and node.level == 1:  # from . import sibling
                names = {alias.name for alias in node.names}
                assert all(_is_module(path.parent / name) for name in names), node.lineno


def _is_module(path: Path) -> bool:
    return path.with_suffix(".py").is_file() or (path / "__init__.py").is_file()


def test_nothing_else_lies_at_the_top():
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if listed.returncode:
        pytest.skip("this is no checkout")
    top = {line.split("/")[0] for line in listed.stdout.splitlines()}
    assert {name for name in top if not name.startswith(".")} <= ALLOWED


def test_the_readme_names_every_command_and_every_option_of_check(capsys):
    for name in COMMANDS:
        assert f"`envelope {name}" in README
    assert main(["check", "--help"]) == 0
    options = set(re.findall(r"(--[a-z]+)", capsys.readouterr().out)) - {"--help"}
    assert options == set(re.findall(r"`(--[a-z]+)", README)) - {"--urdf"}


def test_commands_and_make_targets_of_the_documents_exist():
    assert {line[0] for line in commands()} >= {"new", "check"}
    assert all(line[0] in COMMANDS for line in commands())
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    documents = README + (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for target in set(re.findall(r"^make (\w+)$|`make (\w+)`", documents, re.MULTILINE)):
        assert re.search(rf"^{''.join(target)}:", makefile, re.MULTILINE), target


def test_continuous_integration_calls_the_test_command_of_the_readme():
    script = (ROOT / ".ci/run").read_text(encoding="utf-8").splitlines()
    assert "make test" in [line for block in blocks("console") for line in block.splitlines()]
    assert ("make test", "make lint") in pairwise(script)


def test_links_of_the_documents_lead_somewhere():
    for name in ("README.md", "DEVELOPERS.md", "CHANGELOG.md"):
        text = (ROOT / name).read_text(encoding="utf-8")
        for target in re.findall(r"\]\(([^)#:]+)\)", text):
            assert (ROOT / target).exists(), f"{name}: {target}"


def test_the_commands_of_the_readme_run(tmp_path, monkeypatch):
    """In their order, in one folder that has the example cells, with the status they promise."""
    (tmp_path / "cells").symlink_to(ROOT / "cells", target_is_directory=True)
    monkeypatch.chdir(tmp_path)
    for line in commands():
        fails = "cells/tea-seven-layers.yaml" in line
        assert main(line) == (1 if fails else 0), line
    assert (tmp_path / "my-cell.yaml").is_file()


def test_the_python_of_the_readme_runs(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "my-cell.yaml"]) == 0
    (code,) = blocks("python")
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        check=False,
    )
    assert done.returncode == 0, done.stderr
    verdict, passed, _, total = done.stdout.splitlines()[0].split()
    assert (verdict, passed) == ("pass", total)
    assert int(total) > 8
