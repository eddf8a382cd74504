"""A small cell that passes as it stands, to be spoilt in one way at a time.

World frame, in mm: the arm at the origin on 500; the pallet's deck from (1000, -200) to
(2200, 600) at z = 144; cartons of 400 x 300 x 250 laid as listed. The group is picked at the
stop at (1100, -1000), its centre 200 further along -y, its top at z = 950.
"""

from pathlib import Path

from envelope.cell.load import load

from .second_opinion import Run

TEXT = """
name: Small
arm:
  model: spherical-2600-60
  at: {x: 0, y: 0, z: 500}
  pedestal: {size: [600, 600]}
tool: {model: one-field-400x300}
cartons:
  box: {size: [400, 300, 250], mass: 6}
infeed:
  at: {x: 1100, y: -1000, z: 700, yaw: -90}
  width: 500
  queue_gap: 20
pallets:
  A: {size: [1200, 800, 144], at: {x: 1000, y: -200}, stack: main}
stacks:
  main: {layers: 1, patterns: [row]}
patterns:
  row:
    order: as written
    placements:
      - {group: box, at: {x: 1000, y: 150}}
      - {group: box, at: {x: 1000, y: 450}}
      - {group: box, at: {x: 600, y: 150}}
"""


def small(folder: Path, *changes: tuple[str, str], more: str = "", settings=(), placements=None):
    """The small cell with pieces of its text replaced, more of it, and values set on top."""
    text = TEXT
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path = folder / "cell.yaml"
    path.write_text(text + more)
    return Run(load(path, settings), placements)


def failing(run: Run, placement: str) -> list[dict]:
    """What fails at a placement."""
    return [f for f in run.told[placement]["findings"] if f["verdict"] == "fail"]
