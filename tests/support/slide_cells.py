"""Small cells for arms that slide: a gantry, and a column arm, each over one pallet."""

from pathlib import Path

from envelope.cell.load import load
from envelope.cell.model import Cell

GANTRY = """
name: Gantry
arm: {model: gantry-3200-80, at: {x: 0, y: 0}}
tool: {model: one-field-400x300}
cartons:
  box: {size: [400, 300, 250], mass: 12}
infeed:
  at: {x: 310, y: 200, z: 700, yaw: -90}
  width: 400
pallets:
  A: {size: [1200, 800, 144], at: {x: 690, y: -400}, stack: main}
stacks:
  main: {layers: 2, patterns: [row]}
patterns:
  row:
    order: as written
    placements:
      - {group: box, at: {x: 1000, y: 150}}
      - {group: box, at: {x: 200, y: 150}}
"""
COLUMN = """
name: Column arm
arm: {model: column-arm-1600-50, at: {x: 0, y: 0}}
tool: {model: one-field-400x300}
cartons:
  box: {size: [400, 300, 250], mass: 12}
infeed:
  at: {x: 1050, y: -700, z: 700, yaw: -90}
  width: 400
pallets:
  A: {size: [800, 1200, 144], at: {x: 850, y: -300}, stack: main}
stacks:
  main: {layers: 2, patterns: [row]}
patterns:
  row:
    order: as written
    placements:
      - {group: box, at: {x: 600, y: 150}}
      - {group: box, at: {x: 200, y: 1000}}
"""


def slide_cell(folder: Path, text: str, *changes: tuple[str, str]) -> Cell:
    """One of these cells, with pieces of its text replaced."""
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path = folder / "cell.yaml"
    path.write_text(text, encoding="utf-8")
    return load(path)
