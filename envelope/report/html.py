"""A result as one page that opens anywhere, without a network."""

import base64
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from .. import __version__
from ..cell.model import Cell
from ..checks.finding import Finding, Judged, Result, Verdict
from ..palletizing.group import carton_names
from ..scene import colours as palette
from ..scene.choose import Problem, chosen, problems
from ..scene.colours import BY_ROLE, BY_VERDICT, Colour
from ..scene.subjects import spoken
from .deciding import RANK, deciding, room, worst_first
from .numbers import written
from .plans import by_pallet, plans
from .problems import against_limit, facts, gathered
from .profiles import nearest, profiles
from .rate import rate_facts
from .rendering import rendered, script_safe, template
from .scene_data import SceneData
from .text import CAUTION, PROVED, verdict_line
from .view_library import view_library

_SCRIPTS = ("table.js", "places.js", "motion.js", "viewer.js", "page.js")
_MOST_STILLS = 4  # the 3D view shows all the others
_MOST_MARKS = 40  # problem spots whose distance is drawn: the worst of each kind
_HEADINGS = (
    "placement",
    "verdict",
    "layer",
    "order",
    "x [mm]",
    "y [mm]",
    "z [mm]",
    "yaw [deg]",
    "group",
    "check",
    "measured",
    "when",
    "in words",
)
_ORDER: tuple[Verdict, ...] = ("fail", "not checked", "marginal", "pass")
_NUMBER = re.compile(r"\s*-?\d+(?:\.\d+)?\s*(?:mm|deg|%)")
_KEPT = ("carton/", "link/", "tool/", "infeed/", "conveyor/", "pallet/", "obstacle/")  # names
_COLOURS = 128  # of a still picture: flat colours and few, so that the page stays small


@dataclass(frozen=True, slots=True)
class Still:
    """A picture for the page; source: a data URL."""

    source: str
    words: str


@dataclass(frozen=True, slots=True)
class Kind:
    """Placements that are stopped in the same way."""

    verdict: Verdict
    title: str
    words: str
    members: tuple[tuple[str, str], ...]
    picture: Still | None


@dataclass(frozen=True, slots=True)
class Row:
    """A placement in the table; measured and when in parts that stay in one line."""

    id: str
    verdict: Verdict
    rank: int
    numbers: tuple[str, ...]
    group: str
    check: str
    room: str
    measured: tuple[str, ...]
    when: tuple[str, ...]
    message: str


class Page:
    """A page, all but its still pictures, which may be drawn meanwhile."""

    def __init__(self, result: Result, cell: Cell) -> None:
        self._result = result
        self._content = _content(result, cell)
        self._data = script_safe(self._content.pop("data"))

    def text(self, pictures: Mapping[str, bytes], missing: str = "") -> str:
        """The page.

        Args:
            pictures: Still pictures of problem spots, PNG, by the id of their placement.
            missing: Why there are none, in a sentence for the reader; empty if there are.
        """
        whole = {
            "kinds": _kinds(self._result, pictures),
            "unpictured": missing,
            "library": view_library(template("viewer.js")),
        }
        page = self._content | whole
        return rendered("page.html", page, _SCRIPTS, {"data": self._data})


def as_html(
    result: Result, cell: Cell, pictures: Mapping[str, bytes] | None = None, missing: str = ""
) -> str:
    """The page of a result, at once; see `Page`."""
    return Page(result, cell).text(pictures or {}, missing)


def pictured(result: Result) -> list[Problem]:
    """Of which problems a still picture stands on the page: the worst of each kind."""
    worst = [alike.worst for alike in gathered(result)]
    seen = [(judged, finding) for judged, finding in worst if finding.verdict != "not checked"]
    return [Problem(judged, finding) for judged, finding in seen[:_MOST_STILLS]]


def _content(result: Result, cell: Cell) -> dict[str, Any]:
    scene = SceneData(cell, result)
    found = plans(cell, result)
    asked = [
        (f.name.replace("_", " "), _shown(cell.clearances, f.name)) for f in fields(cell.clearances)
    ]
    return {
        "name": result.cell_name,
        "verdict": result.verdict,
        "verdict_word": result.verdict.upper(),
        "sentence": _sentence(verdict_line(result, cell).partition(": ")[2]),
        "counts": [(v, result.count(v)) for v in _ORDER if result.count(v)],
        "rate": rate_facts(result),
        "general": [_told(finding) for finding in worst_first(result.findings)],
        "simplified": ", ".join(dict.fromkeys(scene.simplified)),
        "plans": list(by_pallet(found)),
        "grouped": any(spot.whole for plan in found for spot in plan.spots),
        "plan_verdicts": [v for v in _ORDER if result.count(v)],
        "profiles": profiles(cell, result),
        "headings": _HEADINGS,
        "rows": [_row(judged) for judged in result.placements],
        "asked": [*asked, ("joint margin", _joint_margin(cell)), *_motion(cell)],
        "tolerances": _tolerances(cell),
        "defaults": [(default.key, default.value) for default in cell.defaults],
        "notes": list(dict.fromkeys((*cell.notes, *result.notes))),
        "proved": PROVED,
        "caution": CAUTION,
        "version": __version__,
        "sha256": result.sha256,
        "data": scene.told | _placements(result, cell, scene),
    }


def _kinds(result: Result, pictures: Mapping[str, bytes]) -> list[Kind]:
    found: list[Kind] = []
    for alike in gathered(result):
        worst, finding = alike.worst
        number = len(alike.members)
        count = "" if number == 1 else f", {number} placements"
        members = tuple((judged.placement.id, _in_words(f)) for judged, f in alike.members)
        words = f"{worst.placement.id}, the worst: " if number > 1 else f"{worst.placement.id}: "
        png = pictures.get(worst.placement.id)
        told = f"{worst.placement.id}, {finding.check}: {_in_words(finding)}"
        still = None if png is None else Still(_source(png), told)
        about = "" if finding.between else f": {_NUMBER.sub('', finding.message.partition(';')[0])}"
        title = f"{finding.check.capitalize()} {_verb(worst.verdict)}{about}{count}"
        if any(kind.title == title for kind in found):  # of other bodies, or on another segment
            title += f", as at {worst.placement.id}"
        found.append(Kind(worst.verdict, title, words + _in_words(finding), members, still))
    return found


def _verb(verdict: Verdict) -> str:
    return {"fail": "fails", "not checked": "could not be checked"}.get(verdict, f"is {verdict}")


def _in_words(finding: Finding) -> str:
    """A finding as a sentence; where the message has the number, it is not told twice."""
    lacking = finding.check == "reach" and finding.segment is None
    numbers = "" if lacking else facts(finding)
    return spoken(". ".join(_sentence(text) for text in (numbers, finding.message) if text))


def _sentence(text: str) -> str:
    return text if text.startswith(_KEPT) else text[:1].upper() + text[1:]


def _source(png: bytes) -> str:
    """A picture as a data URL, its colours reduced to those that it needs."""
    import io

    from PIL import Image

    with Image.open(io.BytesIO(png)) as picture:
        reduced = picture.convert("RGB").quantize(_COLOURS, dither=Image.Dither.NONE)
    smaller = io.BytesIO()
    reduced.save(smaller, format="PNG", optimize=True)
    return "data:image/png;base64," + base64.b64encode(smaller.getvalue()).decode("ascii")


def _row(judged: Judged) -> Row:
    placement, finding = judged.placement, deciding(judged)
    if judged.verdict == "pass":
        finding = nearest(judged) or finding  # what comes closest says more than what is told first
    lengths = (placement.x, placement.y, placement.z)
    numbers = [str(placement.layer), str(placement.order)]
    numbers += [written(length * 1e3, 1) for length in lengths]
    numbers.append(written(math.degrees(placement.yaw), 1))
    left = math.inf if finding is None else room(finding)
    at = "" if finding is None or finding.at is None else f"{finding.at:.2f} s"
    measured, _, limit = ("" if finding is None else against_limit(finding)).partition(" (")
    return Row(
        placement.id,
        judged.verdict,
        RANK[judged.verdict],
        tuple(numbers),
        placement.group.name,
        "" if finding is None else finding.check,
        "" if math.isinf(left) else written(left, 4),
        tuple(filter(None, (measured, limit and f"({limit}"))),
        tuple(filter(None, ("" if finding is None else finding.segment, at))),
        "" if finding is None else _message(finding),
    )


def _message(finding: Finding) -> str:
    between = "" if finding.between is None else f"{finding.between[0]} and {finding.between[1]}: "
    return spoken(between + finding.message)


def _told(finding: Finding) -> dict[str, str]:
    return {"check": finding.check, "verdict": finding.verdict, "text": _in_words(finding)}


def _placements(result: Result, cell: Cell, scene: SceneData) -> dict[str, Any]:
    """What the script needs of each placement, and where it starts."""
    marked = chosen(problems(result), _MOST_MARKS)
    marks = {problem.judged.placement.id: _mark(scene, problem, result) for problem in marked}
    bad = gathered(result)
    first = bad[0].worst[0] if bad else result.placements[-1]
    return {
        "placements": [_placement(judged, marks) for judged in result.placements],
        "first": first.placement.id,
        "home": _home(cell),
        "colours": _colours(),
    }


def _placement(judged: Judged, marks: Mapping[str, Any]) -> dict[str, Any]:
    ordered = worst_first(judged.findings)
    seen: set[str] = set()
    kept = [f for f in ordered if f.verdict != "pass" or not (f.check in seen or seen.add(f.check))]
    finding = ordered[0] if ordered else None
    if judged.verdict == "pass":
        finding = nearest(judged) or finding  # the tightest instant is its worst
    at = None if finding is None else finding.at
    words = ""
    if finding is not None and judged.verdict != "pass":
        words = f"{finding.check} {finding.verdict}: {_in_words(finding)}"
    return {
        "id": judged.placement.id,
        "verdict": judged.verdict,
        "at": at if judged.cycle is not None else None,
        "segment": None if finding is None else finding.segment,
        "between": None if finding is None or finding.between is None else list(finding.between),
        "cartons": list(carton_names(judged.placement)),
        "words": words,
        "mark": marks.get(judged.placement.id),
        "findings": [_told(finding) for finding in kept],
        "more": len(ordered) - len(kept),
    }


def _mark(scene: SceneData, problem: Problem, result: Result) -> dict[str, Any] | None:
    """Where a problem's distance is measured [m]."""
    from ..scene.subjects import mark_of

    place = scene.scenery[problem.judged.placement.pallet]
    mark = mark_of(place, problem.judged, problem.finding, result.placements)
    if mark is None:
        return None
    start, end = (np.round(end, 6).tolist() for end in (mark.start, mark.end))
    return {"start": start, "end": end, "text": mark.text, "kind": mark.kind}


def _home(cell: Cell) -> float:
    """From which side the whole cell is looked at: across the pallets, towards the arm [rad]."""
    base = cell.mounted.world_from_base[:2, 3]
    middles = [
        (pallet.world_from_pallet @ [pallet.size[0] / 2, pallet.size[1] / 2, 0.0, 1.0])[:2]
        for pallet in cell.pallets
    ]
    way = np.mean(middles, axis=0) - base
    if float(np.linalg.norm(way)) < 0.3:
        way = middles[0] - base
    return float(np.arctan2(way[1], way[0])) - math.radians(35.0)


def _colours() -> dict[str, Any]:
    def share(colour: Colour) -> list[float]:
        return [round(value / 255, 4) for value in colour]

    return {
        "paper": share(palette.PAPER),
        "ink": share(palette.INK),
        "edge": share(palette.EDGE),
        "floor": share(palette.FLOOR_LINE),
        "first": share(palette.FIRST),
        "second": share(palette.SECOND),
        "passing": share(palette.BLUISH_GREEN),
        "roles": {role: share(colour) for role, colour in BY_ROLE.items()},
        "verdicts": {v: share(_tint(c)) for v, c in BY_VERDICT.items() if v != "pass"},
    }


def _tint(colour: Colour) -> Colour:
    """Half of a colour on that of a carton: less strong than what is picked out."""
    red, green, blue = ((a + b) // 2 for a, b in zip(colour, BY_VERDICT["pass"], strict=True))
    return red, green, blue


def _shown(limits: Any, name: str) -> str:
    return f"{written(getattr(limits, name) * 1e3, 3)} mm"


def _joint_margin(cell: Cell) -> str:
    if all(cell.mounted.arm.chain.turning()):
        return f"{written(math.degrees(cell.mounted.joint_margin), 2)} deg"
    return f"{written(math.degrees(cell.mounted.joint_margin), 2)} deg (turning joints)"


def _motion(cell: Cell) -> list[tuple[str, str]]:
    motion = cell.motion
    return [
        ("approach height", _shown(motion, "approach_height")),
        ("transfer clearance", _shown(motion, "transfer_clearance")),
        ("speed on straight lines", f"{written(motion.linear_speed * 1e3, 1)} mm/s"),
        ("share of joint speeds", f"{written(motion.joint_speed_share * 100.0, 1)} %"),
        ("corners rounded within", _shown(motion, "blend_radius")),
    ]


def _tolerances(cell: Cell) -> list[tuple[str, str]]:
    """Those that are stated; angles in degrees."""
    told: list[tuple[str, str]] = []
    for entry in fields(cell.tolerances):
        value = getattr(cell.tolerances, entry.name)
        name = entry.name.replace("_", " ")
        if isinstance(value, str) or not value:
            continue
        if entry.name.endswith(("skew", "yaw")):
            told.append((name, f"± {written(math.degrees(value), 3)} deg"))
        else:
            told.append((name, f"± {written(value * 1e3, 3)} mm"))
    return [*told, ("added up as", str(cell.tolerances.added))] if told else []
