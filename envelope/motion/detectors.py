"""Which detectors must be on before a group may be picked, and where along the infeed they sit.

Each carton of a group must be seen while it is in its place. A detector sees a carton surely
where the whole of its beam lies on it, whatever the tolerances do; and it must sit near the
edge that leads, for a carton that stops short is seen as in place up to there. Two cartons
one behind the other need detectors so far apart that one carton alone cannot switch both.

Errs: on the safe side; a carton's edges are taken at the worst of their tolerances.

Source: common practice, no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..cell.model import Cell
from ..palletizing.group import Group
from .waiting import Waiting, waiting, wander

SHARED = 0.025  # [m]: places that differ by less than this get one detector
_SAME = 1e-9
_ALIKE = 1e-3  # [m]: edges that differ by less lie in the same place


@dataclass(frozen=True, slots=True)
class Detector:
    """One detector; at: from the end stop; across: its y, None for a beam across the belt [m]."""

    name: str
    at: float
    across: float | None


@dataclass(frozen=True, slots=True)
class Sight:
    """Where one carton of a group must be seen.

    Attributes:
        number: Of the carton, from 1, counted from the stop.
        low, high: Between these the middle of a detector sees it surely [m from the stop].
        lane: Between these y it must sit where beams do not go across the belt [m].
        detector: Name of the one that sees it, if one does.
        early: How far before its place the carton may be and already be seen [m].
        least_delay: On-delay that bridges the way that is left, at the belt's speed [s].
    """

    group: str
    number: int
    carton: Waiting
    low: float
    high: float
    lane: tuple[float, float]
    detector: str | None = None
    early: float = 0.0
    least_delay: float | None = None


@dataclass(frozen=True, slots=True)
class Seen:
    """All detectors of an infeed, and what they say.

    Attributes:
        detectors: From the stop on.
        sights: Each carton of each group.
        needs: By group, the detectors that must be on; empty where a carton is not seen.
        may: By group, the detectors that may be on while it is in its place.
        troubles: What is wrong, in words.
    """

    detectors: tuple[Detector, ...]
    sights: tuple[Sight, ...]
    needs: dict[str, frozenset[str]]
    may: dict[str, frozenset[str]]
    troubles: tuple[str, ...]

    def allowed(self, on: frozenset[str]) -> list[str]:
        """Groups that may be picked, if the order asks for them, with these detectors on."""
        return [name for name, needed in self.needs.items() if needed and needed <= on]

    def of_group(self, name: str) -> list[Sight]:
        """The sights of a group, from the stop on."""
        return [sight for sight in self.sights if sight.group == name]

    def stands_within(self, less: Group, more: Group) -> bool:
        """Whether each carton of one group waits just as one of the same type of another does."""
        others = [sight.carton for sight in self.of_group(more.name)]
        return all(
            any(
                less.items[own.item].carton == more.items[other.item].carton
                and own.apart(other) < _ALIKE
                for other in others
            )
            for own in (sight.carton for sight in self.of_group(less.name))
        )


def seen(cell: Cell, groups: Sequence[Group]) -> Seen:
    """Where detectors sit, stated or as they see best, and which of them each group needs."""
    sights = [sight for group in groups for sight in _sights(cell, group)]
    beside = [group.name for group in groups if _side_by_side(sights, group.name)]
    stated = cell.infeed.detectors.positions
    if stated is None:
        detectors = _placed(cell, sights, lanes=bool(beside))
        hidden: list[str] = []
    else:
        detectors = [Detector(f"D{n}", at, None) for n, at in enumerate(stated, start=1)]
        hidden = beside
    told = [s if s.group in hidden else _assigned(cell, s, detectors) for s in sights]
    needs = {group.name: _needed(told, group.name, detectors) for group in groups}
    troubles = [
        f"Cartons of {name} stand side by side: the positions stated are of beams across the belt, "
        "which cannot tell whether both are there."
        for name in hidden
    ]
    troubles += _troubles(cell, [s for s in told if s.group not in hidden], detectors)
    may = {group.name: _possible(cell, told, group, detectors) for group in groups}
    return Seen(tuple(detectors), tuple(told), needs, may, tuple(troubles))


def _side_by_side(sights: Sequence[Sight], name: str) -> bool:
    """Whether cartons of a group stand beside each other, so that a beam across sees two."""
    own = [sight.carton for sight in sights if sight.group == name]
    return any(
        a.beside(b) and min(a.high[0], b.high[0]) > max(a.low[0], b.low[0])
        for a in own
        for b in own
    )


def _sights(cell: Cell, group: Group) -> list[Sight]:
    """Between which places a detector sees each carton of a group."""
    across = wander(cell, group).across
    off = cell.infeed.detectors.tolerance + cell.infeed.detectors.beam / 2
    return [
        Sight(
            group.name,
            number,
            carton,
            carton.low[0] + carton.lead + off,
            carton.high[0] - carton.trail - off,
            (carton.low[1] + across + off, carton.high[1] - across - off),
        )
        for number, carton in enumerate(waiting(cell, group), start=1)
    ]


def _apart(cell: Cell, sight: Sight) -> float:
    """How far two detectors must be apart so that this carton cannot switch both [m]."""
    detectors = cell.infeed.detectors
    return (
        sight.carton.length
        + cell.tolerances.carton_size
        + detectors.beam
        + (2 * detectors.tolerance)
    )


def _middle(sight: Sight) -> float:
    return (sight.carton.low[1] + sight.carton.high[1]) / 2


def _placed(cell: Cell, sights: Sequence[Sight], lanes: bool) -> list[Detector]:
    """One detector for places close together, each as near to the leading edge as it may be."""
    clusters: list[list[Sight]] = []
    for sight in sorted(sights, key=lambda s: (s.low, _middle(s))):
        cluster = next((c for c in reversed(clusters) if _fits(c, sight, lanes)), None)
        if cluster is None:
            clusters.append([sight])
        else:
            cluster.append(sight)
    places: list[tuple[float, float | None, list[Sight]]] = []
    for cluster in clusters:
        at = max(s.low for s in cluster)
        for before, _, members in places:
            for one in members:
                if any(_behind(one, s) for s in cluster):
                    at = max(at, before + _apart(cell, one))
        at = min(at, min(s.high for s in cluster))
        places.append((at, _middle(cluster[0]) if lanes else None, cluster))
    places.sort(key=lambda place: (place[0], place[1] or 0.0))
    return [Detector(f"D{n}", at, y) for n, (at, y, _) in enumerate(places, start=1)]


def _fits(cluster: Sequence[Sight], sight: Sight, lanes: bool) -> bool:
    """Whether a carton may share the detector of some others."""
    if lanes and any(not _in_lane(_middle(cluster[0]), s) for s in (*cluster, sight)):
        return False
    if any(other.group == sight.group for other in cluster):
        return False
    near = sight.low - cluster[0].low <= SHARED
    return near and sight.low <= min(s.high for s in (*cluster, sight))


def _in_lane(y: float, sight: Sight) -> bool:
    """Whether a detector at y sees a carton, wherever that stands across the belt."""
    return sight.lane[0] - _SAME <= y <= sight.lane[1] + _SAME


def _behind(one: Sight, other: Sight) -> bool:
    """Whether the other carton stands right behind the first, in the same group and lane."""
    return (
        one.group == other.group
        and other.carton.ahead == one.carton.ahead + 1
        and not one.carton.beside(other.carton)
    )


def _sees(detector: Detector, sight: Sight) -> bool:
    across = detector.across is None or _in_lane(detector.across, sight)
    return across and sight.low - _SAME <= detector.at <= sight.high + _SAME


def _assigned(cell: Cell, sight: Sight, detectors: Sequence[Detector]) -> Sight:
    """A carton with the detector that sees it nearest to its leading edge."""
    found = next((d for d in detectors if _sees(d, sight)), None)
    if found is None:
        return sight
    own = cell.infeed.detectors
    early = found.at + own.tolerance + own.beam / 2 - sight.carton.low[0] + sight.carton.lead
    least = None if own.belt_speed is None else early / own.belt_speed
    return replace(sight, detector=found.name, early=early, least_delay=least)


def _needed(sights: Sequence[Sight], name: str, detectors: Sequence[Detector]) -> frozenset[str]:
    """All detectors that are surely on while a group is in place; none if a carton is unseen."""
    own = [sight for sight in sights if sight.group == name]
    if any(sight.detector is None for sight in own):
        return frozenset()
    return frozenset(d.name for d in detectors if any(_sees(d, sight) for sight in own))


def _possible(
    cell: Cell, sights: Sequence[Sight], group: Group, detectors: Sequence[Detector]
) -> frozenset[str]:
    """All detectors into whose beams a group in its place can reach."""
    own, across = cell.infeed.detectors, wander(cell, group).across
    off = own.tolerance + own.beam / 2
    return frozenset(
        detector.name
        for detector in detectors
        for carton in (sight.carton for sight in sights if sight.group == group.name)
        if carton.low[0] - carton.lead - off < detector.at < carton.high[0] + carton.trail + off
        and (
            detector.across is None
            or carton.low[1] - across - off < detector.across < carton.high[1] + across + off
        )
    )


def _troubles(cell: Cell, sights: Sequence[Sight], detectors: Sequence[Detector]) -> list[str]:
    """What is wrong with where the detectors sit."""
    at = {detector.name: detector for detector in detectors}
    own, found = cell.infeed.detectors, list[str]()
    lanes = any(detector.across is not None for detector in detectors)
    for sight in sights:
        which = f"carton {sight.number} of {sight.group}"
        window = f"between {sight.low * 1e3:.0f} and {sight.high * 1e3:.0f} mm from the stop"
        if sight.high < sight.low:
            found.append(f"No detector can see {which} surely: it is too short for the tolerances.")
        elif sight.detector is None and lanes and sight.lane[1] < sight.lane[0]:
            found.append(
                f"No detector can see {which} surely: it may go too far across. Guide it closer, "
                "or state tolerances.pick_position."
            )
        elif sight.detector is None:
            found.append(f"No detector sees {which} surely: one must sit {window}.")
        if sight.least_delay is not None and sight.least_delay > own.on_delay + _SAME:
            found.append(
                f"On-delay too short for {which}: it is seen {sight.early * 1e3:.0f} mm before its "
                f"place, and needs {sight.least_delay:.2f} s at the belt's speed."
            )
    for one in sights:
        for other in sights:
            if not _behind(one, other) or one.detector is None or other.detector is None:
                continue
            near, far = at[one.detector], at[other.detector]
            if far.at - near.at < _apart(cell, one) - _SAME:
                found.append(
                    f"{near.name} and {far.name} are {(far.at - near.at) * 1e3:.0f} mm apart: one "
                    f"carton of {one.group} alone, stopped short, can switch both on. Apart enough "
                    f"are {_apart(cell, one) * 1e3:.0f} mm."
                )
    return list(dict.fromkeys(found))
