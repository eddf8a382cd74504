"""The simple changes to a cell that a planner would try, one at a time, the smallest first."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

from ..cell.model import Cell
from ..cell.variants import CellFile

Kind = Literal["route", "group", "move", "layers"]
_MM = 1e3
_GENERATORS = ("column", "brick", "pinwheel", "best")
_ROUTE = ("approach_height", "lift_off", "transfer_clearance")
_ROUTE_WITHIN, _ROUTE_COARSE = 80.0, 20.0  # [mm]: heights of routes are tried this far and so far


@dataclass(frozen=True, slots=True)
class Reach:
    """How far a remedy may go. All in mm.

    Attributes:
        move: Arm and pallets sideways, each way.
        height: Arm and infeed, up and down.
        coarse: Steps in which is looked first.
        fine: Steps in which the least is then looked for.
    """

    move: float = 300.0
    height: float = 400.0
    coarse: float = 50.0
    fine: float = 10.0


@dataclass(frozen=True, slots=True)
class Step:
    """One value of a key; size: how far it is from what stands there, in the key's unit."""

    value: str
    size: float


@dataclass(frozen=True, slots=True)
class Ladder:
    """One key changed one way, further and further.

    Attributes:
        key: As in `--set`.
        kind: What it costs: another route, another group, a move of steel, cartons.
        before: What stands there now.
        unit: Of the values; empty for names.
        sign: Which way numbers go.
        steps: What is tried, the smallest change first.
        fine: Steps between which the least is looked for; 0 for none.
    """

    key: str
    kind: Kind
    before: str
    unit: str
    sign: int
    steps: tuple[Step, ...]
    fine: float = 0.0

    def between(self, fails: float, cures: float) -> tuple[Step, ...]:
        """Finer steps between a size that fails and one that cures."""
        if self.fine <= 0.0:
            return ()
        count = round((cures - fails) / self.fine)
        sizes = (fails + self.fine * k for k in range(1, count))
        return tuple(self.step(size) for size in sizes if size < cures - 1e-6)

    def step(self, size: float) -> Step:
        """The step of a size."""
        return Step(_plain(float(self.before) + self.sign * size), round(size, 6))


def ladders_of(file: CellFile, cell: Cell, reach: Reach) -> tuple[Ladder, ...]:
    """All changes that are tried for a cell.

    Args:
        file: The cell's file.
        cell: The cell it holds.
        reach: How far they go.
    """
    found = [*_routes(cell, reach), *_groups(file), *_moves(cell, reach), *_layers(file)]
    return tuple(ladder for ladder in found if ladder.steps)


def _plain(value: float) -> str:
    """A number of mm as it is written in a cell file."""
    return f"{value:.6f}".rstrip("0").rstrip(".") if value else "0"


def _ladder(
    key: str, kind: Kind, now: float, sign: int, within: float, coarse: float, fine: float,
    least: float = float("-inf"),
) -> Ladder:  # fmt: skip
    """Steps away from a number of mm, one way."""
    ladder = Ladder(key, kind, _plain(now), "mm", sign, (), fine)
    sizes = (coarse * k for k in range(1, int(within / coarse + 1e-9) + 1))
    steps = tuple(ladder.step(size) for size in sizes if now + sign * size >= least)
    return Ladder(key, kind, ladder.before, "mm", sign, steps, fine)


def _routes(cell: Cell, reach: Reach) -> Iterator[Ladder]:
    for name in _ROUTE:
        now = float(getattr(cell.motion, name)) * _MM
        for sign in (-1, 1):
            yield _ladder(
                f"motion.{name}", "route", now, sign, _ROUTE_WITHIN, _ROUTE_COARSE,
                min(reach.fine, _ROUTE_COARSE), least=1.0,
            )  # fmt: skip


def _moves(cell: Cell, reach: Reach) -> Iterator[Ladder]:
    """Arm, infeed and pallets, moved along the axes of the world."""
    arm = cell.mounted.world_from_base[:3, 3] * _MM
    belt = cell.infeed.world_from_infeed[2, 3] * _MM
    places = [("arm.at.x", arm[0], False), ("arm.at.y", arm[1], False), ("arm.at.z", arm[2], True)]
    places.append(("infeed.at.z", belt, True))
    for pallet in cell.pallets:
        at = pallet.world_from_pallet[:2, 3] * _MM
        places += [
            (f"pallets.{pallet.name}.at.{axis}", at[k], False) for k, axis in enumerate("xy")
        ]
    for key, now, up in places:
        within = reach.height if up else reach.move
        least = 0.0 if up else float("-inf")
        for sign in (-1, 1):
            yield _ladder(
                key, "move", round(float(now), 6), sign, within, reach.coarse, reach.fine, least
            )


def _groups(file: CellFile) -> Iterator[Ladder]:
    """Other groups of the same cartons, where a pattern is made for a group by its name."""
    data: dict[str, Any] = file.data()
    known = _cartons_of(data)
    patterns: dict[str, dict[str, Any]] = data["patterns"]
    for name, pattern in patterns.items():
        for maker in _GENERATORS:
            now = str(pattern[maker]["group"]) if maker in pattern else ""
            if now in known:
                others = (g for g, cartons in known.items() if g != now and cartons == known[now])
                steps = tuple(Step(other, 0.0) for other in others)
                yield Ladder(f"patterns.{name}.{maker}.group", "group", now, "", 1, steps)


def _cartons_of(data: dict[str, Any]) -> dict[str, set[str]]:
    """Names of the cartons of each group of a cell file; a carton is a group of one."""
    known = {str(name): {str(name)} for name in data["cartons"]}
    groups: dict[str, dict[str, Any]] = data.get("groups") or {}
    for name, group in groups.items():
        items: list[dict[str, Any]] = [group["row"]] if "row" in group else group["cartons"]
        known[str(name)] = {str(item["carton"]) for item in items}
    return known


def _layers(file: CellFile) -> Iterator[Ladder]:
    data: dict[str, Any] = file.data()
    for name in file.stacks():
        now = int(data["stacks"][name]["layers"])
        steps = tuple(Step(str(now - k), float(k)) for k in range(1, now))
        yield Ladder(f"stacks.{name}.layers", "layers", str(now), "layers", -1, steps)
