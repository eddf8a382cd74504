"""The commands are tested against a door and a check that answer as they are told."""

import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from envelope.checks.finding import Judged, Result
from tests.report import synthetic


@dataclass
class Answers:
    """What the door and the check will answer, and what they were asked."""

    judged: tuple[Judged, ...] = (synthetic.judged(1, synthetic.PASS),)
    door: Callable[[Path], Any] | None = None
    drawing: Callable[[Path], None] | None = None
    asked: dict[str, Any] = field(default_factory=dict)

    def load(self, path: Path, settings: tuple[str, ...] = ()) -> Any:
        self.asked |= {"path": path, "settings": tuple(settings)}
        if self.door is not None:
            return self.door(path)
        return synthetic.cell(tuple(judged.placement for judged in self.judged))

    def check(self, cell: Any, *, placements: Any, jobs: int, progress: Any) -> Result:
        self.asked |= {"placements": placements, "jobs": jobs}
        wanted = [j for j in self.judged if placements is None or j.placement.id in placements]
        return synthetic.result(*wanted)


@pytest.fixture
def answers(monkeypatch: pytest.MonkeyPatch) -> Answers:
    told = Answers()
    for name, function in (("cell.load", told.load), ("verify", told.check)):
        module = ModuleType(f"envelope.{name}")
        setattr(module, function.__name__, function)
        monkeypatch.setitem(sys.modules, f"envelope.{name}", module)
    return told


@pytest.fixture(autouse=True)
def _away_from_the_checkout(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.chdir(tmp_path)
