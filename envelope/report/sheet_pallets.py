"""The set-up sheet, third part: what is entered for each pallet, and its tier sheets."""

from collections import Counter

from ..cell.model import Cell, Pallet
from ..motion.setup import CORNERS, base_from_pallet, frame, of_pallet
from ..palletizing.group import Placement
from ..palletizing.tier_sheet import tier_sheet
from .sheet import Block, Column, Number, Section, column, length

_DRAWN = 60  # characters across


def pallets(cell: Cell) -> Section:
    """Frame, corners, counts and tier sheets of each pallet."""
    blocks: list[Block] = []
    for pallet in cell.pallets:
        blocks += [_frame(cell, pallet), _corners(cell, pallet), _counts(pallet), *_tiers(pallet)]
    return Section("per pallet", tuple(blocks))


def _frame(cell: Cell, pallet: Pallet) -> Block:
    length_, width, height = (edge * 1e3 for edge in pallet.size)
    done = f" {pallet.done} placements are down at the start." if pallet.done else ""
    return Block(
        f"Pallet {pallet.name}",
        (f"{length_:g} x {width:g} x {height:g} mm (length, width, height).{done}",),
        (
            column(
                "frame, in the base frame",
                frame(f"pallets.{pallet.name}.frame", base_from_pallet(cell, pallet)),
            ),
        ),
    )


def _corners(cell: Cell, pallet: Pallet) -> Block:
    typed = list(of_pallet(cell, pallet))
    titles = ("1: origin", "2: end of length", "3: opposite", "4: end of width")
    return Block(
        f"Pallet {pallet.name}: corners of the deck, in the base frame",
        (
            "Touch corners 1, 2 and 4 with a pointer to teach the frame; corner 3 tells whether "
            "the pallet is square. Give back either the frame or the corners.",
        ),
        tuple(
            column(title, [t for t in typed if t.key.startswith(f"pallets.{pallet.name}.{name}.")])
            for title, name in zip(titles, CORNERS, strict=True)
        ),
    )


def _counts(pallet: Pallet) -> Block:
    """How many of each group each layer takes, in cycles of the arm."""
    names = list(dict.fromkeys(p.group.name for p in pallet.placements))
    layers = sorted({p.layer for p in pallet.placements})
    key = f"pallets.{pallet.name}"
    columns: list[Column] = []
    for name in names:
        own = [p for p in pallet.placements if p.group.name == name]
        by_layer = Counter(p.layer for p in {(p.layer, p.cycle): p for p in own}.values())
        numbers = [
            Number(f"{key}.layer {n}.{name}", f"layer {n}", float(by_layer[n]), "", 0)
            for n in layers
        ]
        total = float(sum(by_layer.values()))
        numbers.append(Number(f"{key}.all layers.{name}", "all", total, "", 0))
        columns.append(Column(f"cycles of {name}", tuple(numbers), labels=not columns))
    tops = [
        length(
            f"{key}.layer {n}.top",
            f"layer {n}",
            max(p.z for p in pallet.placements if p.layer == n),
        )
        for n in layers
    ]
    columns.append(Column("top over deck, mm", tuple(tops), labels=not columns))
    cartons = sum(len(p.items) for p in pallet.placements)
    cycles = len({p.cycle for p in pallet.placements})
    return Block(
        f"Pallet {pallet.name}: counts",
        (f"{cartons} cartons in {len(pallet.placements)} placements, {cycles} cycles.",),
        tuple(columns),
    )


def _tiers(pallet: Pallet) -> list[Block]:
    """One drawing for all layers that are alike."""
    layers: dict[int, list[Placement]] = {}
    for placement in pallet.placements:
        layers.setdefault(placement.layer, []).append(placement)
    alike: dict[tuple[object, ...], list[int]] = {}
    for number, members in layers.items():
        shape = tuple(
            (p.id.rsplit("/", 1)[-1], p.group.name, p.items, p.x, p.y, p.yaw) for p in members
        )
        alike.setdefault(shape, []).append(number)
    blocks: list[Block] = []
    for numbers in alike.values():
        members = layers[numbers[0]]
        listed = ", ".join(str(n) for n in numbers)
        order = ", ".join(
            f"{p.id.rsplit('/', 1)[-1]} {p.group.name}" for p in sorted(members, key=_turn)
        )
        plural = "s" if len(numbers) > 1 else ""
        drawn = tier_sheet(members, pallet.size[:2], _DRAWN).split("\n")
        blocks.append(
            Block(
                f"Pallet {pallet.name}: tier sheet of layer{plural} {listed}",
                (
                    "Seen from above: the pallet's origin (corner 1) is at the bottom left, x to "
                    f"the right, y upwards. In their order: {order}.",
                ),
                drawing=tuple(drawn),
            )
        )
    return blocks


def _turn(placement: Placement) -> int:
    return placement.order
