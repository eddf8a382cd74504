"""Ways to take the cartons of a layer in groups: which neighbours, whole or in parts.

A taking is one cycle: a group, where it is put down, and what that asks of the order. Its
geometry is settled here: cartons come to stand where the pattern has them, labels face out,
nothing overlaps. Whether the arm can make the motion is for the checks to say.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product

from .footprint import Quad, bounds, gap, rectangle
from .group import Carton, Group
from .labels import hidden_labels, same_turned
from .order import ordered, spots_behind
from .pattern import Release, Spot, Vector, wrapped

TOUCHING = 1e-4  # [m]: cartons side by side may share this much by rounding
SHIFT = 0.005  # [m]: how far a carton may stand off its place, unless told otherwise
WINDOW = 4  # cartons of a group put down in parts lie this close in the order of single cartons
MOST_IN_PARTS = 3  # cartons in a group that is put down in parts
MOST_VARIANTS = 2  # ways to turn a group put down in parts that are kept for the same cartons
_ANGLE = 1e-3  # [rad]: yaws that differ by less are the same


@dataclass(frozen=True, slots=True)
class Taking:
    """One group taken in one cycle.

    Attributes:
        covers: The layer's cartons that it brings, by index, ascending.
        after: Cartons that must stand before, or it would stand in their way in.
        before: Cartons that may not stand yet: the rest of the group would hang in them.
    """

    spot: Spot
    covers: tuple[int, ...]
    after: frozenset[int] = frozenset()
    before: frozenset[int] = frozenset()

    @property
    def releases(self) -> int:
        """In how many parts it is put down."""
        return len(self.spot.parts())


@dataclass(frozen=True, slots=True)
class _Match:
    """Cartons of a group over cartons of the layer.

    Attributes:
        covers: For each item of the release, the carton of the layer.
        turn: Which of the turns that leave a carton the same was taken, 0 for none.
    """

    covers: tuple[int, ...]
    release: Release
    turn: int


class Layer:
    """The single cartons of a layer, and what recurs while takings are looked for.

    Args:
        spots: One carton each, put down whole; their approach is kept where they stay single.
        towards_arm: As in `order.ordered`.
        shift: How far a carton may stand off its place when it comes in a group [m].

    Raises:
        ValueError: A spot has more than one carton.
    """

    def __init__(self, spots: Sequence[Spot], towards_arm: Vector, shift: float = SHIFT) -> None:
        if any(len(spot.group.items) != 1 for spot in spots):
            raise ValueError("a layer of single cartons has one carton in each spot")
        self.spots = tuple(spots)
        self.towards_arm = towards_arm
        self.shift = shift
        self.cartons = [next(spot.cartons()) for spot in spots]
        self.quads: list[Quad] = [spot.footprints()[0] for spot in spots]
        self.boxes = [bounds([quad]) for quad in self.quads]
        self.behind = [spots_behind(spot, self.spots, towards_arm) for spot in self.spots]
        self.all_behind = _closure(self.behind)
        rank = {spot: k for k, spot in enumerate(ordered(self.spots, towards_arm))}
        self.turns = [rank[spot] for spot in self.spots]
        self.hidden = [self._hidden_labels(k, *self.cartons[k][1:]) for k in range(len(spots))]

    def takings(self, groups: Sequence[Group], in_parts: bool = False) -> tuple[Taking, ...]:
        """Every way to take one of the groups from this layer.

        Args:
            groups: Those that may be carried, one-carton groups among them.
            in_parts: Whether groups may also be put down in parts.

        Returns:
            In the order in which ties are decided: whole before in parts, more cartons before
            fewer, then by the groups' order, then by the cartons' order.
        """
        found: list[tuple[tuple[object, ...], Taking]] = []
        for rank, group in enumerate(groups):
            ways = [*self._whole(group), *(self._in_parts(group) if in_parts else ())]
            for taking in ways:
                turns = sorted(self.turns[k] for k in taking.covers)
                size = -len(taking.covers)
                found.append(((taking.releases, size, rank, turns, len(found)), taking))
        return tuple(taking for _, taking in sorted(found, key=lambda entry: entry[0]))

    def _whole(self, group: Group) -> Iterator[Taking]:
        plain = same_turned(group) and not any(item.carton.labels for item in group.items)
        kept: set[tuple[int, ...]] = set()
        matches = self._matches(group, tuple(range(len(group.items))))
        for match in sorted(matches, key=lambda m: (m.turn, abs(m.release.yaw), m.covers)):
            covers = tuple(sorted(match.covers))
            if plain and covers in kept:
                continue  # the motion tries the half-turn of a group that looks the same
            kept.add(covers)
            at = match.release
            spot = Spot(group, at.x, at.y, at.yaw)
            if len(covers) == 1:
                spot = replace(spot, approach=self.spots[covers[0]].approach)
            taking = self._in_order(Taking(spot, covers))
            if taking is not None:
                yield taking

    def _in_parts(self, group: Group) -> Iterator[Taking]:
        count = len(group.items)
        if not 1 < count <= MOST_IN_PARTS:
            return
        variants: dict[tuple[int, ...], list[tuple[tuple[int, ...], Taking]]] = {}
        for blocks in _partitions(tuple(range(count))):
            parts = [list(self._matches(group, block, most_turns=2)) for block in blocks]
            for matches in self._close_together(parts):
                taking = self._hung(group, matches)
                if taking is not None:
                    cost = (taking.releases, len(taking.before), sum(m.turn for m in matches))
                    variants.setdefault(taking.covers, []).append((cost, taking))
        for ways in variants.values():
            ways.sort(key=lambda way: way[0])
            yield from (taking for _, taking in ways[:MOST_VARIANTS])

    def _close_together(self, parts: list[list[_Match]]) -> Iterator[tuple[_Match, ...]]:
        """Combinations of parts over different cartons that follow each other closely."""
        for first in parts[0]:
            near = [
                [
                    other
                    for other in part
                    if not set(other.covers) & set(first.covers)
                    and self._spread((first, other)) < WINDOW
                ]
                for part in parts[1:]
            ]
            for others in product(*near):
                matches = (first, *others)
                if (
                    len({k for m in matches for k in m.covers})
                    == sum(len(m.covers) for m in matches)
                    and self._spread(matches) < WINDOW
                ):
                    yield tuple(sorted(matches, key=lambda m: min(self._places(m))))

    def _places(self, match: _Match) -> list[int]:
        return [self.turns[k] for k in match.covers]

    def _spread(self, matches: Sequence[_Match]) -> int:
        places = [place for match in matches for place in self._places(match)]
        return max(places) - min(places)

    def _hung(self, group: Group, matches: tuple[_Match, ...]) -> Taking | None:
        """The group put down in these parts; None where what still hangs is in the way."""
        left = set(range(len(group.items)))
        down: set[int] = set()
        covers = tuple(sorted(k for match in matches for k in match.covers))
        before: set[int] = set()
        for match in matches:
            if any(self.all_behind[k] & set(match.covers) for k in down):
                return None  # what went down first stands in the way in
            down |= set(match.covers)
            left -= set(match.release.items)
            for quad in _quads(group, match.release, sorted(left)):
                hit = self._under_quad(quad)
                if hit & down:
                    return None
                before |= hit - set(covers)
        releases = tuple(match.release for match in matches)
        first = releases[0]
        spot = Spot(group, first.x, first.y, first.yaw, None, releases)
        taking = self._in_order(Taking(spot, covers, before=frozenset(before)))
        return None if taking is None or taking.after & taking.before else taking

    def _under_quad(self, quad: Quad) -> set[int]:
        """The layer's cartons that an outline overlaps."""
        x0, y0, x1, y1 = bounds([quad])
        return {
            k
            for k, other in enumerate(self.quads)
            if (box := self.boxes[k])[0] < x1
            and x0 < box[2]
            and box[1] < y1
            and y0 < box[3]
            and gap(quad, other) < -TOUCHING
        }

    def _in_order(self, taking: Taking) -> Taking | None:
        """With what must stand before; None where one of those would have to come after too."""
        mine = set(taking.covers)
        for k in mine:
            between = self.all_behind[k] - mine
            if any(self.all_behind[q] & mine for q in between):
                return None
        own = spots_behind(taking.spot, self.spots, self.towards_arm)
        return replace(taking, after=own - mine)

    def _matches(
        self, group: Group, items: tuple[int, ...], most_turns: int = 4
    ) -> Iterator[_Match]:
        """Where these cartons of the group can be let go at once."""
        first = group.items[items[0]]
        for a, (carton, _, yaw) in enumerate(self.cartons):
            if carton != first.carton:
                continue
            turns = min(_same_turns(carton), most_turns)
            for turn in range(turns):
                angle = wrapped(yaw + turn * 2 * math.pi / turns - first.yaw)
                covers = self._under(group, items, a, angle)
                if covers is not None:
                    match = self._settled(group, items, covers, angle, turn)
                    if match is not None:
                        yield match

    def _under(
        self, group: Group, items: tuple[int, ...], first: int, angle: float
    ) -> tuple[int, ...] | None:
        """For each item the carton of the layer that it would come to stand for."""
        covers = [first]
        origin = group.items[items[0]]
        for index in items[1:]:
            item = group.items[index]
            ahead = _turned((item.x - origin.x, item.y - origin.y), angle)
            x, y = self.cartons[first][1]
            place = (x + ahead[0], y + ahead[1])
            fits = [
                (math.dist(place, centre), k)
                for k, (carton, centre, yaw) in enumerate(self.cartons)
                if k not in covers
                and carton == item.carton
                and math.dist(place, centre) <= 2 * self.shift + TOUCHING
                and _looks_same(carton, yaw - angle - item.yaw)
            ]
            if not fits:
                return None
            covers.append(min(fits)[1])
        return tuple(covers)

    def _settled(
        self, group: Group, items: tuple[int, ...], covers: tuple[int, ...], angle: float, turn: int
    ) -> _Match | None:
        """The group's frame set so that its cartons stand nearest to their places."""
        offsets = [_turned((group.items[i].x, group.items[i].y), angle) for i in items]
        places = [self.cartons[k][1] for k in covers]
        x = sum(p[0] - o[0] for p, o in zip(places, offsets, strict=True)) / len(items)
        y = sum(p[1] - o[1] for p, o in zip(places, offsets, strict=True)) / len(items)
        shifts = [math.dist(p, (x + o[0], y + o[1])) for p, o in zip(places, offsets, strict=True)]
        if max(shifts) > self.shift + 1e-9:
            return None
        release = Release(items, x, y, angle)
        mine = set(covers)
        for quad in _quads(group, release, items) if max(shifts) > 1e-6 else ():
            if any(gap(quad, q) < -TOUCHING for k, q in enumerate(self.quads) if k not in mine):
                return None
        for k, i, o in zip(covers, items, offsets, strict=True):
            yaw = angle + group.items[i].yaw
            if self._hidden_labels(k, (x + o[0], y + o[1]), yaw) > self.hidden[k]:
                return None
        return _Match(covers, release, turn)

    def _hidden_labels(self, index: int, centre: Vector, yaw: float) -> int:
        carton = self.cartons[index][0]
        if not carton.labels:
            return 0
        others = [quad for k, quad in enumerate(self.quads) if k != index]
        return len(hidden_labels([(carton, centre, yaw)], others))


def overlapping(takings: Sequence[Taking]) -> list[tuple[int, int]]:
    """Pairs of takings of different cartons that overlap, for cartons shifted off their places."""
    quads = [taking.spot.footprints() for taking in takings]
    boxes = [
        (min(x for q in group for x, _ in q), max(x for q in group for x, _ in q))
        for group in quads
    ]
    found: list[tuple[int, int]] = []
    several = [k for k, taking in enumerate(takings) if len(taking.covers) > 1]
    for place, a in enumerate(several):
        for b in several[place + 1 :]:
            apart = max(boxes[a][0], boxes[b][0]) - min(boxes[a][1], boxes[b][1])
            if apart > -TOUCHING or set(takings[a].covers) & set(takings[b].covers):
                continue
            if any(gap(p, q) < -TOUCHING for p in quads[a] for q in quads[b]):
                found.append((a, b))
    return found


def _closure(behind: Sequence[frozenset[int]]) -> list[frozenset[int]]:
    """What stands behind each carton, and behind that, and so on."""
    closed = [set(direct) for direct in behind]
    for middle in range(len(closed)):
        for reached in closed:
            if middle in reached:
                reached |= closed[middle]
    return [frozenset(reached) for reached in closed]


def _quads(group: Group, release: Release, items: Sequence[int]) -> Iterator[Quad]:
    """Outlines of cartons of a group whose frame stands as at a release."""
    for index in items:
        item = group.items[index]
        dx, dy = _turned((item.x, item.y), release.yaw)
        centre = (release.x + dx, release.y + dy)
        yield rectangle(centre, item.carton.size[:2], release.yaw + item.yaw)


def _partitions(items: tuple[int, ...]) -> Iterator[tuple[tuple[int, ...], ...]]:
    """All ways to split items into two or more blocks."""

    def split(rest: tuple[int, ...]) -> Iterator[tuple[tuple[int, ...], ...]]:
        if not rest:
            yield ()
            return
        for chosen in range(1 << (len(rest) - 1)):
            block = (rest[0], *(v for k, v in enumerate(rest[1:]) if chosen >> k & 1))
            for others in split(tuple(v for v in rest if v not in block)):
                yield (block, *others)

    yield from (blocks for blocks in split(items) if len(blocks) > 1)


def _turned(point: Vector, angle: float) -> Vector:
    c, s = math.cos(angle), math.sin(angle)
    return c * point[0] - s * point[1], s * point[0] + c * point[1]


def _same_turns(carton: Carton) -> int:
    """Into how many turns its outline looks the same: four for a square, else two."""
    return 4 if abs(carton.size[0] - carton.size[1]) < TOUCHING else 2


def _looks_same(carton: Carton, angle: float) -> bool:
    return abs(math.remainder(angle, 2 * math.pi / _same_turns(carton))) < _ANGLE
