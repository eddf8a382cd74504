"""Small cells for arms that slide: a gantry, and a column arm, each over one pallet."""

from pathlib import Path

from envelope.cell.load import load
from envelope.cell.model import Cell

_TEXT = """
name: {name}
arm: {{model: {model}, at: {{x: 0, y: 0}}}}
tool: {{model: one-field-400x300}}
cartons:
  box: {{size: [400, 300, 250], mass: 12}}
infeed:
  at: {{x: {infeed[0]}, y: {infeed[1]}, z: 700, yaw: -90}}
  width: 400
pallets:
  A: {{size: [{size[0]}, {size[1]}, 144], at: {{x: {pallet[0]}, y: {pallet[1]}}}, stack: main}}
stacks:
  main: {{layers: 2, patterns: [row]}}
patterns:
  row:
    order: as written
    placements:
      - {{group: box, at: {{x: {first[0]}, y: {first[1]}}}}}
      - {{group: box, at: {{x: {second[0]}, y: {second[1]}}}}}
"""
GANTRY = _TEXT.format(
    name="Gantry",
    model="gantry-3200-80",
    infeed=(310, 200),
    size=(1200, 800),
    pallet=(690, -400),
    first=(1000, 150),
    second=(200, 150),
)
COLUMN = _TEXT.format(
    name="Column arm",
    model="column-arm-1600-50",
    infeed=(1050, -700),
    size=(800, 1200),
    pallet=(850, -300),
    first=(600, 150),
    second=(200, 1000),
)


def slide_cell(folder: Path, text: str, *changes: tuple[str, str]) -> Cell:
    """One of these cells, with pieces of its text replaced."""
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path = folder / "cell.yaml"
    path.write_text(text, encoding="utf-8")
    return load(path)
