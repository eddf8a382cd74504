"""A small cell and results made by hand, so that reports are tested without any check."""

from dataclasses import replace

import numpy as np

from envelope.arm.arm import Arm, Joint, Rating
from envelope.arm.chain import Chain, Link
from envelope.cell.model import Cell, Default, Fixture, Infeed, Mounted, Pallet, Tool
from envelope.checks.finding import Finding, Judged, Result
from envelope.geometry.bodies import Body, Box, frozen
from envelope.motion.cycle import Cycle, Segment
from envelope.palletizing.group import Carton, Group, Item, Placement

CARTON = Carton("box", (0.4, 0.3, 0.25), 6.0)
GROUP = Group("single", (Item(CARTON, 0.0, 0.0),), (("plate",),))

PASS = Finding("stacking", "pass", 1.0, 0.6, "", "fully carried")
NEAR = Finding(
    "collision",
    "marginal",
    21.0,
    20.0,
    "mm",
    "forearm passes the fence closely. Move the fence away",
    upper=21.5,
    between=("link/forearm", "obstacle/fence"),
    segment="transfer",
    at=2.5,
    gain=(1.0, 0.0, 0.0),
)
CLASH = Finding(
    "collision",
    "fail",
    3.2149,
    20.0,
    "mm",
    "forearm comes too near a carton that is down. Raise the transfer",
    upper=3.2851,
    between=("link/forearm", "carton/A/1/1"),
    segment="transfer",
    at=2.31,
    gain=(0.0, 0.6, 0.8),
)
OUT_OF_REACH = Finding(
    "reach", "fail", None, None, "", "45 mm beyond reach. Bring the pallet nearer", at=None
)
NOT_CHECKED = Finding("collision", "not checked", None, None, "", "no motion was found")


def _no_answer(poses):
    return np.full((len(poses), 1, 2), np.nan)


def _only(q):
    return np.zeros(len(q), int)


def arm() -> Arm:
    """A slide along x that carries one turning link."""
    links = (
        Link("carriage", 0, np.zeros(3), np.array([1.0, 0.0, 0.0]), 0, prismatic=True),
        Link("boom", 1, np.zeros(3), np.array([0.0, 0.0, 1.0]), 1),
    )
    joints = tuple(Joint(link.name, -3.0, 3.0, 1.0, 1.0) for link in links)
    return Arm(
        name="slide and boom",
        family="made by hand",
        chain=Chain(links, 2, 2, frozen(np.eye(4))),
        joints=joints,
        coupled=(),
        bodies=(),
        touching=(),
        rating=Rating(10.0),
        branch_names=("only",),
        solve=_no_answer,
        label=_only,
    )


def placement(
    number: int, layer: int = 1, pallet: str = "A", cycle: int | None = None
) -> Placement:
    return Placement(
        id=f"{pallet}/{layer}/{number}",
        pallet=pallet,
        layer=layer,
        order=number,
        cycle=number,
        group=GROUP,
        items=(0,),
        x=0.2,
        y=-0.1,
        z=0.25 * layer,
        yaw=np.pi / 2,
    )


def cycle(number: int = 1, pallet: str = "A") -> Cycle:
    def segment(name: str, joints: list[list[float]], times: list[float]) -> Segment:
        return Segment(
            name,  # type: ignore[arg-type]
            "joint",
            np.array(joints),
            np.array(times),
            (),
            0,
            np.zeros(len(joints)),
        )

    return Cycle(
        number,
        pallet,
        "only",
        0.0,
        (0.0,),
        "direct",
        (
            segment("transfer", [[0.1, -np.pi], [0.25, np.pi / 3]], [0.0, 1.25]),
            segment("return", [[0.25, np.pi / 3], [0.0, -1e-9]], [1.25, 2.0000004]),
        ),
    )


def result(*judged: Judged) -> Result:
    return Result("Two layers", "ab" * 32, judged)


def judged(number: int, *findings: Finding, layer: int = 1, motion: bool = True) -> Judged:
    return Judged(placement(number, layer), findings, cycle(number) if motion else None)


def cell(placements: tuple[Placement, ...], **changes: object) -> Cell:
    """A cell with one pallet that has these placements."""
    fixture = Fixture("pallet", Body("pallet/A", Box(frozen([0.6, 0.4, 0.072]))))
    pallet = Pallet("A", (1.2, 0.8, 0.144), frozen(np.eye(4)), fixture, placements)
    model = Cell(
        name="Two layers",
        sha256="ab" * 32,
        mounted=Mounted(arm(), frozen(np.eye(4)), ((-3.0, 3.0), (-3.0, 3.0)), 0.087),
        tool=Tool(
            "plate",
            (),
            frozen(np.eye(4)),
            "compressed",
            2.6,
            (0.0, 0.0, 0.05),
            frozen(np.eye(3)),
            (),
        ),
        cartons=(CARTON,),
        groups=(GROUP,),
        infeed=Infeed(frozen(np.eye(4)), (), 3, 0.0, 0.0, 0.06),
        pallets=(pallet,),
        defaults=(Default("clearances.arm_to_any", "20 mm"), Default("motion.lift_off", "150 mm")),
        notes=("mesh frame.stl is not closed: it has no inside",),
    )
    return replace(model, **changes)  # type: ignore[arg-type]


def cell_of(result: Result) -> Cell:
    """A cell whose placements are just those of a result."""
    return cell(tuple(judged.placement for judged in result.placements))
