import os
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

from envelope import __version__
from envelope.cli.main import COMMANDS, main

ROOT = Path(__file__).parents[2]


def run(*arguments, **options):
    """The command in a process of its own, as a user starts it."""
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    return subprocess.run(
        [sys.executable, "-m", "envelope", *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=environment,
        check=False,
        **options,
    )


def test_help_lists_every_command_in_the_house():
    done = run("--help")
    assert done.returncode == 0
    assert all(name in done.stdout for name in COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_help_of_the_group_says_what_the_command_says_of_itself(name, capsys):
    command = getattr(import_module(f"envelope.cli.{name}"), name)
    assert (command.help or "").split("\n\n")[0].replace("\n", " ") == COMMANDS[name]
    assert main([name, "--help"]) == 0
    assert f"Usage: envelope {name}" in capsys.readouterr().out


def test_help_loads_neither_a_command_nor_numpy():
    script = (
        "import sys\n"
        "from envelope.cli.main import main\n"
        "main(['--help'])\n"
        "print(sorted(m for m in sys.modules if m.startswith('envelope.')), file=sys.stderr)\n"
        "sys.exit('numpy' in sys.modules or 'rich' in sys.modules)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        check=False,
    )
    assert done.returncode == 0
    assert done.stderr.strip() == str(["envelope.cli", "envelope.cli.answer", "envelope.cli.main"])


def test_import_of_the_package_costs_nothing():
    script = "import sys, envelope; sys.exit('numpy' in sys.modules or 'click' in sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", script], env=os.environ | {"PYTHONPATH": str(ROOT)}, check=False
    )
    assert done.returncode == 0


def test_version():
    assert __version__ in run("--version").stdout


@pytest.mark.parametrize(
    "arguments", [["nonsense"], ["check"], ["--nonsense"], ["check", "a", "b"]]
)
def test_a_wrong_command_line_is_status_2_without_traceback(arguments):
    done = run(*arguments)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert done.stderr
    assert done.stdout == ""
