"""The fewest cycles of a layer against an exhaustive search of its own making."""

import math
import random
import time
from functools import cache
from itertools import combinations

import pytest

from envelope.palletizing.generators import best
from envelope.palletizing.group import Carton, Group, Item
from envelope.palletizing.order import ordered, spots_behind
from envelope.palletizing.pairing import fewest_cycles, in_order
from envelope.palletizing.pattern import Spot
from envelope.palletizing.takings import Layer, Taking, overlapping

UNIT = 0.2  # [m]: side of the squares that the random layers are made of
LONG = Carton("long", (2 * UNIT, UNIT, 0.2), 4.0)
CUBE = Carton("cube", (UNIT, UNIT, 0.2), 2.0)
ARM = (0.0, -1.0)  # the arm stands at the side of least y: far cartons have a great y


def group(name, *items):
    """A group of (carton, x, y, yaw in quarter-turns), in squares."""
    made = [Item(c, x * UNIT, y * UNIT, q * math.pi / 2) for c, x, y, q in items]
    return Group(name, tuple(made), tuple(("field",) for _ in made))


SINGLES = [group("long", (LONG, 0, 0, 0)), group("cube", (CUBE, 0, 0, 0))]
ALONG = group("along", (LONG, -1, 0, 0), (LONG, 1, 0, 0))
ACROSS = group("across", (LONG, 0, -0.5, 0), (LONG, 0, 0.5, 0))
THREE = group("three", (LONG, 0, -1, 0), (LONG, 0, 0, 0), (LONG, 0, 1, 0))
MIXED = group("mixed", (LONG, -0.5, 0, 0), (CUBE, 1, 0, 0))
CORNER = group("corner", (CUBE, -0.5, -0.5, 0), (CUBE, 0.5, -0.5, 0), (CUBE, -0.5, 0.5, 0))
ALL = [ALONG, ACROSS, THREE, MIXED, CORNER]


def random_layer(seed, most):
    """Cartons on squares: (x, y, width, height) of each, whole numbers."""
    rng = random.Random(seed)
    wide, high = rng.randint(3, 7), rng.randint(3, 6)
    free = {(x, y) for x in range(wide) for y in range(high)}
    boxes = []
    while free and len(boxes) < most:
        x, y = min(free)
        shape = rng.choice([(2, 1), (2, 1), (1, 2), (1, 2), (1, 1), None])
        cells = {(x, y)} if shape is None else {
            (x + i, y + j) for i in range(shape[0]) for j in range(shape[1])
        }  # fmt: skip
        if not cells <= free:
            shape, cells = (1, 1), {(x, y)}
        free -= cells
        if shape is not None:  # None leaves a hole
            boxes.append((x, y, *shape))
    return boxes


def spot_of(box):
    x, y, w, h = box
    single, yaw = (SINGLES[1], 0.0) if w == h else (SINGLES[0], 0.0 if w > h else math.pi / 2)
    return Spot(single, (x + w / 2) * UNIT, (y + h / 2) * UNIT, yaw)


def layer_of(boxes, shift=0.005):
    return Layer([spot_of(box) for box in boxes], ARM, shift)


def groups_by_hand(boxes, groups):
    """Sets of cartons that form one of the groups, turned by quarters, on the squares."""
    found = set()
    middles = {(x + w / 2, y + h / 2, w, h): k for k, (x, y, w, h) in enumerate(boxes)}
    for one in groups:
        for q in range(4):
            shape = []
            for item in one.items:
                x, y = item.x / UNIT, item.y / UNIT
                for _ in range(q):
                    x, y = -y, x
                w, h = (2, 1) if item.carton is LONG else (1, 1)
                shape.append((round(x, 6), round(y, 6), *((w, h) if q % 2 == 0 else (h, w))))
            for x0, y0, w0, h0 in middles:
                if (w0, h0) != shape[0][2:]:
                    continue
                places = [
                    (x0 + x - shape[0][0], y0 + y - shape[0][1], w, h) for x, y, w, h in shape
                ]
                if all(place in middles for place in places):
                    found.add(frozenset(middles[place] for place in places))
    return found


def fewest_by_recursion(count, sets):
    """The carton of least number not down yet goes with some set; every way is tried."""
    by_least = [[s for s in sets if k in s] for k in range(count)]

    @cache
    def least(mask):
        if mask == (1 << count) - 1:
            return 0
        first = next(k for k in range(count) if not mask >> k & 1)
        return min(
            1 + least(mask | bits)
            for s in by_least[first]
            for bits in [sum(1 << k for k in s)]
            if not mask & bits
        )

    return least(0)


def fewest_in_order(count, ways):
    """Ways (cartons, must be down, must not be down): every order of every choice is tried."""
    masks = [tuple(sum(1 << k for k in part) for part in way) for way in ways]
    reached, cycles = {0}, 0
    while reached and (1 << count) - 1 not in reached:
        cycles += 1
        reached = {
            mask | mine
            for mask in reached
            for mine, after, before in masks
            if not mask & mine and mask & after == after and not mask & before
        }
    return cycles if reached else None


def behind_by_hand(boxes, mine):
    """Cartons that lie behind some of these, as seen from below."""
    return {
        k
        for k, (x, y, w, _) in enumerate(boxes)
        for m in mine
        for mx, my, mw, mh in [boxes[m]]
        if min(x + w, mx + mw) > max(x, mx) and my + mh <= y and k not in mine
    }


@pytest.mark.parametrize("seed", range(40))
def test_as_few_cycles_as_by_an_exhaustive_search(seed):
    boxes = random_layer(seed, 24)
    groups = random.Random(seed).sample(ALL[:4], 2 + seed % 3)
    takings = layer_of(boxes).takings([*groups, *SINGLES])
    sets = groups_by_hand(boxes, groups) | {frozenset([k]) for k in range(len(boxes))}
    assert {frozenset(t.covers) for t in takings} == sets
    found = fewest_cycles(len(boxes), takings)
    assert found.proved
    assert len(found.chosen) == fewest_by_recursion(len(boxes), sets)
    assert sorted(k for c in found.chosen for k in takings[c].covers) == list(range(len(boxes)))


@pytest.mark.parametrize("seed", range(30))
def test_as_few_cycles_as_over_every_order_also_with_corners_that_interlock(seed):
    boxes = random_layer(1000 + seed, 14)
    takings = layer_of(boxes).takings([*ALL, *SINGLES])
    sets = groups_by_hand(boxes, ALL) | {frozenset([k]) for k in range(len(boxes))}
    ways = [(s, behind_by_hand(boxes, s), ()) for s in sets]
    found = fewest_cycles(len(boxes), takings)
    assert len(found.chosen) == fewest_in_order(len(boxes), ways)
    _has_order(takings, found.chosen)


@pytest.mark.parametrize("seed", range(60))
def test_as_few_cycles_as_over_every_order_with_any_demands_on_it(seed):
    rng = random.Random(seed)
    count = rng.randint(3, 9)
    sets = [s for n in (1, 2, 3) for s in combinations(range(count), n) if rng.random() < 0.5]
    takings = []
    for covers in sets:
        others = [k for k in range(count) if k not in covers]
        after = frozenset(k for k in others if rng.random() < 0.2)
        before = frozenset(k for k in others if k not in after and rng.random() < 0.2)
        apart = spot_of((9 * len(takings), 0, 2, 1))  # geometry plays no part here
        takings.append(Taking(apart, covers, after, before))
    wanted = fewest_in_order(count, [(t.covers, t.after, t.before) for t in takings])
    found = fewest_cycles(count, takings)
    assert (None if found is None else len(found.chosen)) == wanted
    if found is not None:
        _has_order(takings, found.chosen)


def _has_order(takings, chosen):
    """Lay the takings chosen one by one wherever their demands are met."""
    left, down = set(chosen), set()
    while left:
        due = [k for k in left if takings[k].after <= down and not takings[k].before & down]
        assert due
        # Of those due, any that bars another one's way must wait; some order must be left.
        k = next(
            (a for a in due if not any(takings[b].before & set(takings[a].covers) for b in left)),
            None,
        )
        assert k is not None
        left.remove(k)
        down |= set(takings[k].covers)


def test_ties_go_to_the_taking_first_in_the_list_carton_by_carton():
    boxes = [(0, 0, 2, 1), (2, 0, 2, 1), (4, 0, 2, 1)]
    takings = layer_of(boxes).takings([ALONG, *SINGLES])
    found = fewest_cycles(3, takings)
    assert [takings[k].covers for k in found.chosen] == [(0, 1), (2,)]
    backwards = takings[::-1]
    again = fewest_cycles(3, backwards)
    assert len(again.chosen) == 2
    assert [backwards[k].covers for k in again.chosen] == [(0,), (1, 2)]


def test_barred_takings_are_chosen_only_where_nothing_else_brings_a_carton():
    boxes = [(0, 0, 2, 1), (2, 0, 2, 1), (4, 0, 2, 1)]
    takings = layer_of(boxes).takings([ALONG, *SINGLES])
    by = {taking.covers: k for k, taking in enumerate(takings)}
    found = fewest_cycles(3, takings, barred=[by[0, 1]])
    assert [takings[k].covers for k in found.chosen] == [(0,), (1, 2)]
    found = fewest_cycles(3, takings, barred=[by[0, 1], by[1, 2], by[1,]])
    assert sum(k in (by[0, 1], by[1, 2], by[1,]) for k in found.chosen) == 1
    found = fewest_cycles(3, takings, together=[[by[0, 1], by[2,]]])
    assert [takings[k].covers for k in found.chosen] == [(0,), (1, 2)]


def test_no_choice_is_told_where_a_carton_is_in_no_taking():
    takings = layer_of([(0, 0, 2, 1), (2, 0, 1, 1)]).takings([SINGLES[0]])
    assert fewest_cycles(2, takings) is None


def test_a_gap_in_the_pattern_is_closed_no_further_than_told():
    spots = [Spot(SINGLES[0], 0.2 + k * (0.4 + 0.008), 0.1, 0.0) for k in range(2)]
    groups = [ALONG, *SINGLES]
    assert max(len(t.covers) for t in Layer(spots, ARM, 0.0041).takings(groups)) == 2
    assert max(len(t.covers) for t in Layer(spots, ARM, 0.0039).takings(groups)) == 1


def test_a_group_wider_than_its_room_is_not_squeezed_in():
    """Cartons 2 mm apart in the group, touching in the pattern, with a third one beside."""
    loose = group("pair", (LONG, -1.005, 0, 0), (LONG, 1.005, 0, 0))
    spots = [Spot(SINGLES[0], 0.2 + k * 0.4, 0.1, 0.0) for k in range(3)]
    assert max(len(t.covers) for t in Layer(spots, ARM).takings([loose, *SINGLES])) == 1
    assert max(len(t.covers) for t in Layer(spots[:2], ARM).takings([loose, *SINGLES])) == 2


def test_two_groups_shifted_into_each_other_are_not_both_chosen():
    loose = group("pair", (LONG, -1.005, 0, 0), (LONG, 1.005, 0, 0))
    spots = [Spot(SINGLES[0], 0.2 + k * 0.4 + (0.0015 if k > 1 else 0), 0.1, 0) for k in range(4)]
    takings = Layer(spots, ARM).takings([loose, *SINGLES])
    by = {taking.covers: k for k, taking in enumerate(takings)}
    assert (by[0, 1], by[2, 3]) in overlapping(takings)
    found = fewest_cycles(4, takings)
    assert {by[0, 1], by[2, 3]} - set(found.chosen)


def test_label_sides_that_face_out_keep_facing_out():
    """In a row of two the labels look to the ends: no pair that looks one way can do that."""
    labelled = Carton("long", (0.4, 0.2, 0.2), 4.0, ("+x",))
    single = Group("single", (Item(labelled, 0, 0),), (("f",),))
    spots = [Spot(single, 0.2, 0.1, math.pi), Spot(single, 0.6, 0.1, 0.0)]

    def pair(*yaws):
        items = tuple(Item(labelled, 0.4 * k - 0.2, 0, yaw) for k, yaw in enumerate(yaws))
        return Group("pair", items, (("f",), ("f",)))

    def most(one):
        return max(len(t.covers) for t in Layer(spots, ARM).takings([one, single]))

    assert most(pair(0.0, 0.0)) == 1
    assert most(pair(math.pi, 0.0)) == 2
    assert most(pair(0.0, math.pi)) == 1


def test_a_group_in_parts_never_hangs_in_what_stands_and_says_what_must_wait():
    boxes = [(x, y, 2, 1) for y in range(3) for x in (0, 2, 4)]
    layer = layer_of(boxes)
    takings = layer.takings([ALONG, *SINGLES], in_parts=True)
    parted = [taking for taking in takings if taking.releases > 1]
    assert parted
    for taking in parted:
        down = set()
        for part in taking.spot.releases:
            down |= {_covered(boxes, taking.spot.group, part, k) for k in part.items}
            for k in set(range(2)) - {i for p in taking.spot.releases for i in p.items} | (
                {i for p in taking.spot.releases for i in p.items}
                - {
                    i
                    for p in taking.spot.releases[: taking.spot.releases.index(part) + 1]
                    for i in p.items
                }
            ):
                there = _covered(boxes, taking.spot.group, part, k)
                assert there not in down
                assert there is None or there in taking.before or there in taking.covers


def _covered(boxes, one, part, k):
    """Number of the box over whose middle carton k of a group hangs, on the squares."""
    c, s = round(math.cos(part.yaw)), round(math.sin(part.yaw))
    x = (part.x + c * one.items[k].x - s * one.items[k].y) / UNIT
    y = (part.y + s * one.items[k].x + c * one.items[k].y) / UNIT
    return next(
        (n for n, (bx, by, w, h) in enumerate(boxes) if bx < x < bx + w and by < y < by + h), None
    )


def test_in_parts_takes_two_at_a_time_where_no_two_are_neighbours():
    boxes = [(0, 0, 2, 1), (3, 0, 1, 2), (5, 0, 2, 1), (0, 2, 1, 2)]
    layer = layer_of(boxes)
    together = layer.takings([ALONG, *SINGLES])
    parted = layer.takings([ALONG, *SINGLES], in_parts=True)
    assert len(fewest_cycles(4, together).chosen) == 4
    found = fewest_cycles(4, parted)
    assert len(found.chosen) == 2
    pattern = in_order([parted[k] for k in found.chosen], ARM)
    down = [carton for spot in pattern for carton in spot.cartons()]
    assert len(down) == 4
    wanted = sorted((round(s.x, 9), round(s.y, 9)) for s in layer.spots)
    assert sorted((round(x, 9), round(y, 9)) for _, (x, y), _ in down) == wanted


def test_the_order_found_has_nothing_before_what_it_would_stand_in_the_way_of():
    for seed in range(6):
        boxes = random_layer(2000 + seed, 16)
        takings = layer_of(boxes).takings([*ALL, *SINGLES], in_parts=True)
        chosen = [takings[k] for k in fewest_cycles(len(boxes), takings).chosen]
        turn = {spot: k for k, spot in enumerate(in_order(chosen, ARM))}
        of = {carton: turn[taking.spot] for taking in chosen for carton in taking.covers}
        for taking in chosen:
            mine = turn[taking.spot]
            assert all(of[k] < mine for k in taking.after)
            assert all(of[k] > mine for k in taking.before)


def test_the_order_of_single_cartons_is_what_it_was():
    spots = tuple(spot_of(box) for box in random_layer(7, 20))
    for k, spot in enumerate(ordered(spots, ARM)):
        behind = spots_behind(spot, spots, ARM)
        assert {spots[b] for b in behind} <= set(ordered(spots, ARM)[:k])


def test_a_large_layer():
    carton = Carton("small", (0.2, 0.15, 0.2), 1.0)
    single = Group("one", (Item(carton, 0, 0),), (("f",),))
    pair = Group("two", (Item(carton, -0.1, 0), Item(carton, 0.1, 0)), (("f",), ("f",)))
    three = Group("three", tuple(Item(carton, 0, 0.15 * k) for k in (-1, 0, 1)), (("f",),) * 3)
    layer = Layer(best(single, (1.2, 0.8)), ARM)
    start = time.perf_counter()
    takings = layer.takings([pair, three, single])
    found = fewest_cycles(len(layer.spots), takings)
    print(len(layer.spots), len(takings), f"{time.perf_counter() - start:.2f} s")
    assert len(found.chosen) >= math.ceil(len(layer.spots) / 3)
    assert found.proved
