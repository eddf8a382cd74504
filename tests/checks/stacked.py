"""Stacks to check: short ways to put cartons on a pallet and to judge them."""

from dataclasses import replace

import numpy as np

from envelope.cell.model import Fixture, Pallet, Support, Tolerances
from envelope.checks.stacking import stacking
from envelope.palletizing.group import Carton, Group, Item, Placement

DECK = (1.2, 0.8)
EXACT = Tolerances()


def single(length=0.4, width=0.3, height=0.25, mass=10.0, labels=()):
    carton = Carton("carton", (length, width, height), mass, labels)
    return Group("single", (Item(carton, 0.0, 0.0),), (("left",),))


def put(group, x, y, layer=1, z=None, yaw=0.0, items=None):
    """A placement; by default its bottom is level with its layer of equal cartons."""
    height = group.items[0].carton.size[2]
    everything = tuple(range(len(group.items)))
    z = layer * height if z is None else z
    return Placement("", "A", layer, 0, 0, group, items or everything, x, y, z, yaw)


def on_pallet(*placements, **changes):
    """A pallet with these placements, numbered "A/LAYER/NUMBER" as they come."""
    numbered, count = [], {}
    for order, placement in enumerate(placements, start=1):
        n = count[placement.layer] = count.get(placement.layer, 0) + 1
        numbered.append(replace(placement, id=f"A/{placement.layer}/{n}", order=order, cycle=order))
    given = {
        "name": "A",
        "size": (*DECK, 0.144),
        "world_from_pallet": np.eye(4),
        "fixture": Fixture("pallet", None),
        "placements": tuple(numbered),
    }
    return Pallet(**{**given, **changes})


def judge(*placements, support=Support(), tolerances=EXACT, **changes):  # noqa: B008
    return stacking(on_pallet(*placements, **changes), support, tolerances)


def verdicts(found):
    """The verdicts of all findings, by placement."""
    return {key: [finding.verdict for finding in findings] for key, findings in found.items()}
