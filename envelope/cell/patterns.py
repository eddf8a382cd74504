"""Patterns of the cell file laid out on a pallet's deck, and stacked."""

from dataclasses import dataclass

from ..geometry.frames import Array, invert, transform
from ..palletizing.footprint import clip, rectangle
from ..palletizing.generators import best, brick, column, pinwheel
from ..palletizing.group import Group, Placement
from ..palletizing.pattern import Pattern, Release, Spot, Vector, mirrored, turned
from ..palletizing.stack import build_stack
from .errors import Key
from .schema_pattern import GeneratedPart, PatternPart, PlacementPart
from .sources import Sources
from .yaml_reading import Document

MOST_IN_LAYER = 500  # groups; beyond it the sizes are wrong, and nothing ends in time
MOST_ON_PALLET = 20_000  # placements


def towards_arm(
    world_from_pallet: Array, size: tuple[float, ...], world_from_base: Array
) -> Vector:
    """Direction from a pallet's middle to the arm's base, in the pallet's frame [m].

    Args:
        world_from_pallet: Shape (4, 4).
        size: Length and width of the pallet, and what follows [m].
        world_from_base: Shape (4, 4).
    """
    base = transform(invert(world_from_pallet), world_from_base[None, :3, 3])[0]
    return float(base[0]) - size[0] / 2, float(base[1]) - size[1] / 2


@dataclass(frozen=True, slots=True)
class Layout:
    """What patterns are laid out with."""

    parts: dict[str, PatternPart]
    groups: dict[str, Group]
    document: Document
    sources: Sources

    def stacked(
        self, pallet: str, deck: Vector, names: tuple[str, ...], layers: int, towards_arm: Vector
    ) -> tuple[Placement, ...]:
        """Placements of a pallet; none where a pattern is wrong (said in the sources)."""
        laid: dict[str, tuple[Pattern, bool]] = {}
        for name in dict.fromkeys(names):
            made = self._pattern(name, deck)
            if made is not None:
                self._check_on_deck(name, made[0], deck)
                laid[name] = made
        if len(laid) < len(set(names)):
            return ()
        chosen = [laid[names[layer % len(names)]] for layer in range(layers)]
        if sum(len(spot.parts()) for pattern, _ in chosen for spot in pattern) > MOST_ON_PALLET:
            found = f"comes to more than {MOST_ON_PALLET} placements"
            self._say(("pallets", pallet), found, "write fewer layers")
            return ()
        as_written = [written for _, written in chosen]
        return build_stack(pallet, deck, [laid for laid, _ in chosen], towards_arm, as_written)

    def _pattern(self, name: str, deck: Vector) -> tuple[Pattern, bool] | None:
        """A pattern, and whether its order is as written."""
        part, key = self.parts[name], ("patterns", name)
        made: tuple[Pattern, bool] | None
        if part.of is not None:
            made = self._pattern(part.of, deck)
            if made is not None and (part.mirrored == "x" or part.mirrored == "y"):
                made = (mirrored(made[0], deck, part.mirrored), made[1])
            if made is not None and part.turned:
                made = (turned(made[0], deck), made[1])
        elif part.placements is not None:
            spots = [
                self._spot(placement, (*key, "placements", index))
                for index, placement in enumerate(part.placements)
            ]
            made = (tuple(spot for spot in spots if spot), True) if all(spots) else None
        else:
            pattern = self._generated(part, key, deck)
            made = None if pattern is None else (pattern, False)
        if made is None or part.order is None:
            return made
        return made[0], part.order == "as written"

    def _generated(self, part: PatternPart, key: Key, deck: Vector) -> Pattern | None:
        name = next(kind for kind in ("column", "brick", "pinwheel", "best") if getattr(part, kind))
        source: GeneratedPart = getattr(part, name)
        group = self.groups[source.group]
        low, high = group.extent()
        area = float((high[0] - low[0]) * (high[1] - low[1]))
        if area * MOST_IN_LAYER < deck[0] * deck[1]:
            found = f"comes to more than {MOST_IN_LAYER} groups in a layer"
            self._say((*key, name), found, "check the sizes of carton and pallet")
            return None
        try:
            return self._laid(part, group, deck)
        except ValueError as error:
            self._say((*key, name), str(error), "choose another pattern or group")
            return None

    def _laid(self, part: PatternPart, group: Group, deck: Vector) -> Pattern:
        if part.column is not None:
            way = part.column.orientation
            orientation = way if way == "lengthwise" or way == "crosswise" else None
            return column(group, deck, part.column.gap, orientation, part.column.overhang)
        for lay, source in ((brick, part.brick), (pinwheel, part.pinwheel)):
            if source is not None:
                way = "crosswise" if source.orientation == "crosswise" else "lengthwise"
                return lay(group, deck, source.gap, way, source.overhang)
        assert part.best is not None  # the schema has seen to it
        return best(group, deck, part.best.gap, part.best.overhang)

    def _spot(self, part: PlacementPart, key: Key) -> Spot | None:
        group = self.groups[part.group]
        if part.at is not None:
            return Spot(group, part.at.x, part.at.y, part.at.yaw, part.approach)
        releases: list[Release] = []
        count = len(group.items)
        down: list[int] = []
        for index, release in enumerate(part.parts or ()):
            here: Key = (*key, "parts", index, "cartons")
            for number in release.cartons:
                if number > count:
                    self._say(here, f"there is no carton {number}", f"the group has {count}")
                elif number in down:
                    self._say(here, f"carton {number} is already down", "name each carton once")
                down.append(number)
            items = tuple(number - 1 for number in release.cartons)
            at = release.at
            releases.append(Release(items, at.x, at.y, at.yaw, release.approach))
        left = [str(number) for number in range(1, count + 1) if number not in down]
        if left:
            found = f"left on the tool: carton {', '.join(left)}"
            self._say((*key, "parts"), found, "put every carton down")
        if sorted(down) != list(range(1, count + 1)):
            return None
        first = releases[0]
        return Spot(group, first.x, first.y, first.yaw, None, tuple(releases))

    def _check_on_deck(self, name: str, pattern: Pattern, deck: Vector) -> None:
        """Says which listed placements have a carton wholly beside the deck."""
        if self.parts[name].placements is None:
            return
        whole = rectangle((deck[0] / 2, deck[1] / 2), deck, 0.0)
        for index, spot in enumerate(pattern):
            if any(len(clip(quad, whole)) < 3 for quad in spot.footprints()):
                x, y = deck[0] * 1e3, deck[1] * 1e3
                right = f"x runs from 0 to {x:g} and y from 0 to {y:g} on this pallet"
                key: Key = ("patterns", name, "placements", index)
                self._say(key, "a carton lies wholly beside the deck", right)

    def _say(self, key: Key, found: str, right: str) -> None:
        self.sources.add(self.document.problem(key, found, right))
