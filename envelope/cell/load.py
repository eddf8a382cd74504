"""The door: a cell file, or an arm or tool file, to the frozen model."""

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from ..arm.arm import Arm
from ..geometry.bodies import frozen
from ..palletizing.group import Group
from . import model
from .arms import read_arm, usable_ranges
from .axis import on_axis
from .catalogue import generic_names
from .errors import Problem
from .groups import default_of_group, make_cartons, make_groups
from .holding import HoldLimits
from .model import Cell, Default, Mounted, Pallet, Tool
from .patterns import Layout, towards_arm
from .references import pattern_rings, unknown_names
from .schema import Part
from .schema_cell import CellPart
from .schema_tool import ToolPart
from .settings import with_settings
from .shapes import stand_pose
from .sources import Sources
from .surroundings import floor, infeed, pallet_fixture, pedestal, surroundings
from .tools import make_tool, read_tool
from .validation import defaults_of, validated
from .yaml_reading import Document, read_file, read_yaml

S = TypeVar("S")

__all__ = ["arm_names", "json_schema", "load", "load_arm", "load_text", "load_tool", "tool_names"]


def load(path: str | Path, settings: Sequence[str] = ()) -> Cell:
    """Read a cell file.

    Args:
        path: The cell file.
        settings: Values set on top of it, each "KEY=VALUE" ("pallets.A.at.x=650").

    Raises:
        CellError: With everything that is wrong in the file and in what it names.
    """
    return load_text(read_file(Path(path), str(path)), path, settings)


def load_text(content: bytes | str, path: str | Path, settings: Sequence[str] = ()) -> Cell:
    """Read a cell that is written, or is yet to be written, at a path.

    Args:
        content: Of the cell file.
        path: Where it stands or will stand: what it names is looked for from there.
        settings: As in `load`.

    Raises:
        CellError: With everything that is wrong in the file and in what it names.
    """
    file, sources = str(path), Sources()
    content = content.encode() if isinstance(content, str) else content
    sources.used("cell", content)
    document = with_settings(_read(content, file), settings)
    part, problems = validated(CellPart, document)
    sources.add(*problems)
    arm = _arm(document, sources)
    tool = _tool(document, sources)
    if part is not None and arm is not None:
        arm = on_axis(arm, part.arm, document, sources)
    joints = None if arm is None else [joint.name for joint in arm.joints]
    fields = None if tool is None else [field.name for field in tool.fields]
    sources.add(*unknown_names(document, joints, fields), *pattern_rings(document))
    sources.stop_if_wrong()
    if part is None or arm is None or tool is None:
        raise AssertionError("what is missing has left no problem")
    return _Assembly(part, document, sources).cell(arm, tool, tuple(settings))


@lru_cache(maxsize=8)
def _read(content: bytes, file: str) -> Document:
    """A cell file's text, read once for all its variants; `with_settings` copies what it gives."""
    return read_yaml(content, file)


def load_arm(name_or_path: str) -> Arm:
    """A generic arm by its name, or an arm file. Raises CellError."""
    sources = Sources()
    arm = read_arm(name_or_path, None, _complain_of(name_or_path), sources)
    sources.stop_if_wrong()
    assert arm is not None  # else there is a problem
    return arm


def load_tool(name_or_path: str) -> Tool:
    """A generic tool by its name, or a tool file. Raises CellError."""
    sources = Sources()
    tool = read_tool(name_or_path, None, _complain_of(name_or_path), sources)
    sources.stop_if_wrong()
    assert tool is not None  # else there is a problem
    return tool


def arm_names() -> tuple[str, ...]:
    """Names of the generic arms."""
    return generic_names("arms")


def tool_names() -> tuple[str, ...]:
    """Names of the generic tools."""
    return generic_names("tools")


def json_schema() -> dict[str, Any]:
    """The JSON Schema of cell files, for editors that check while one types."""
    return CellPart.model_json_schema()


def _complain_of(name: str) -> Any:
    def complain(found: str, right: str) -> Problem:
        return Problem(name, None, "", found, right)

    return complain


def _arm(document: Document, sources: Sources) -> Arm | None:
    """The arm a cell names, whatever else is wrong in the cell."""
    section = document.data.get("arm")
    name: Any = section.get("model") if isinstance(section, dict) else None  # pyright: ignore
    if not isinstance(name, str) or not name.strip():
        return None  # the schema has said so

    def complain(found: str, right: str) -> Problem:
        return document.problem(("arm", "model"), found, right)

    return read_arm(name, Path(document.file).parent, complain, sources)


def _tool(document: Document, sources: Sources) -> Tool | None:
    """The tool a cell names or holds, whatever else is wrong in the cell."""
    section: Any = document.data.get("tool")
    if not isinstance(section, dict):
        return None
    if "model" not in section:
        part, _ = validated(ToolPart, document, ("tool",))
        return None if part is None else make_tool(part, document, ("tool",), sources, "tool")
    name: Any = section["model"]  # pyright: ignore[reportUnknownVariableType]
    if not isinstance(name, str) or not name.strip():
        return None

    def complain(found: str, right: str) -> Problem:
        return document.problem(("tool", "model"), found, right)

    return read_tool(name, Path(document.file).parent, complain, sources)


class _Assembly:
    """Puts a cell together from its validated part."""

    def __init__(self, part: CellPart, document: Document, sources: Sources) -> None:
        self.part = part
        self.document = document
        self.sources = sources

    def cell(self, arm: Arm, tool: Tool, settings: tuple[str, ...]) -> Cell:
        """The cell. Raises CellError."""
        part, document, sources = self.part, self.document, self.sources
        usable = usable_ranges(arm, part.arm.usable, document, sources)
        mounted = Mounted(
            arm,
            frozen(stand_pose(part.arm.at)),
            usable,
            part.arm.joint_margin,
            part.arm.slide_margin,
        )
        cartons = make_cartons(part.cartons)
        groups, defaults = make_groups(part.groups, cartons, tool, document, sources)
        own = pedestal(part.arm, document, sources)
        around = surroundings(part.surroundings, document, sources)
        sources.stop_if_wrong()  # patterns need their groups
        layout = Layout(part.patterns, groups, document, sources)
        pallets = tuple(self._pallet(name, layout, mounted) for name in part.pallets)
        used = self._used(groups, pallets)
        down = {p.group.name: p.group for pallet in pallets for p in pallet.placements}
        carried = tuple(down.values()) or tuple(groups.values())
        belt = infeed(part.infeed, carried, document, sources)
        sources.stop_if_wrong()
        left_out = [Default(key, value) for key, value in defaults_of(part)]
        left_out += [default_of_group(group) for group in used if group.name not in part.groups]
        return Cell(
            name=part.name,
            sha256=sources.sha256(settings),
            mounted=mounted,
            tool=tool,
            cartons=tuple(cartons.values()),
            groups=used,
            infeed=belt,
            pallets=pallets,
            fixtures=(
                *((own,) if own else ()),
                *((floor(mounted.world_from_base, _travel(arm)),) if part.floor else ()),
                *around,
            ),
            clearances=_filled(model.Clearances, part.clearances),
            motion=_filled(model.Motion, part.motion),
            support=_filled(model.Support, part.support),
            tolerances=_filled(model.Tolerances, part.tolerances),
            line=_line(part),
            load=_filled(model.LoadLimits, part.load),
            hold=_filled(HoldLimits, part.hold),
            defaults=(*left_out, *tool.defaults, *defaults),
            notes=tuple(sources.notes),
        )

    def _used(self, groups: dict[str, Group], pallets: tuple[Pallet, ...]) -> tuple[Group, ...]:
        """Groups the file writes, and those it leaves out but puts down."""
        down = {p.group.name for pallet in pallets for p in pallet.placements}
        return tuple(g for name, g in groups.items() if name in self.part.groups or name in down)

    def _pallet(self, name: str, layout: Layout, mounted: Mounted) -> Pallet:
        part = self.part.pallets[name]
        world_from_pallet = stand_pose(part.at)
        world_from_pallet[2, 3] += part.size[2]  # the frame lies on the deck
        deck = (part.size[0], part.size[1])
        arm = towards_arm(world_from_pallet, part.size, mounted.world_from_base)
        stack = self.part.stacks[part.stack]
        placements = layout.stacked(name, deck, stack.patterns, stack.layers, arm)
        if placements and part.done > len(placements):
            found = f"{part.done} are done, but there are {len(placements)} placements"
            key = ("pallets", name, "done")
            self.sources.add(self.document.problem(key, found, "write fewer"))
        return Pallet(
            name,
            part.size,
            frozen(world_from_pallet),
            pallet_fixture(name, part, self.document, self.sources),
            placements,
            part.done,
            part.max_height,
            part.max_load,
            part.overhang,
        )


def _line(part: CellPart) -> model.Line | None:
    """The line, its queue as long as the infeed where the file does not say."""
    if part.line is None:
        return None
    values: dict[str, Any] = part.line.model_dump()
    if part.line.queue_length is None:
        values["queue_length"] = part.infeed.length
    return model.Line(**values)


def _travel(arm: Arm) -> float:
    """How far the external axis may carry the arm, either way [m]."""
    return 0.0 if arm.axis is None else max(abs(arm.joints[0].lower), abs(arm.joints[0].upper))


def _filled(kind: type[S], part: Part) -> S:
    """A model's section from the schema's section of the same keys."""
    values: dict[str, Any] = part.model_dump()
    return kind(**values)
