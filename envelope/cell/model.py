"""The frozen model of a cell. SI units and radians; the door has converted everything.

The world frame has z up and z = 0 on the floor. Everything that does not move
during a cycle is a `Fixture` in the world frame.
"""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from ..arm.arm import Arm
from ..geometry.bodies import Body
from ..geometry.frames import Array
from ..palletizing.group import Carton, Group, Placement
from .holding import Clamp, Fork, HoldLimits, Vacuum

FixtureKind = Literal[
    "pedestal",
    "conveyor",
    "guide",
    "stop",
    "pallet",
    "fence",
    "ceiling",
    "column",
    "keep-out",
    "obstacle",
]


@dataclass(frozen=True, slots=True, eq=False)
class Fixture:
    """A solid that stands still; body.pose is world_from_shape."""

    kind: FixtureKind
    body: Body


@dataclass(frozen=True, slots=True, eq=False)
class Mounted:
    """The arm as it stands in the cell.

    Attributes:
        world_from_base: Pose of the mounting base, shape (4, 4).
        usable: Usable (lower, upper) of each joint: the arm's limits, narrowed by the cell.
        joint_margin: Room of turning joints asked for [rad], below which reach is marginal.
        slide_margin: The same for sliding joints [m].
    """

    arm: Arm
    world_from_base: Array
    usable: tuple[tuple[float, float], ...]
    joint_margin: float
    slide_margin: float = 0.005

    @property
    def up(self) -> Array:
        """Upward in the base frame, shape (3,)."""
        return self.world_from_base[2, :3]

    def wanted_room(self) -> Array:
        """Room asked for of each joint, shape (dof,) [rad or m].

        None of an external axis with stated positions: it is meant to stand there.
        """
        turning = self.arm.chain.turning()
        wanted = np.where(turning, self.joint_margin, self.slide_margin)
        if self.arm.axis is not None and self.arm.axis.in_steps:
            wanted[0] = 0.0
        return wanted

    def room_scale(self) -> Array:
        """What makes rooms of joints comparable, shape (dof,): 1 for turns, [rad/m] for slides.

        Room that is just enough of a slide counts as much as room that is just enough of a
        turn.
        """
        wanted, turning = self.wanted_room(), np.array(self.arm.chain.turning())
        return np.where(turning, 1.0, _scale(self.joint_margin, wanted))

    def slide_worth(self) -> float:
        """What 1 mm of room of a slide counts as, where it is compared with turns [deg]."""
        return float(np.degrees(_scale(self.joint_margin, np.array(self.slide_margin)))) / 1e3


def _scale(turn: float, slide: Array) -> Array:
    """Room asked for of turns over that asked for of slides [rad/m]."""
    least = 1e-6  # [rad, m]: keeps the quotient finite where no room is asked for
    return max(turn, least) / np.maximum(slide, least)


@dataclass(frozen=True, slots=True, eq=False)
class GripField:
    """A part of the tool that grips by itself; centre and cups in the tool frame [m].

    Attributes:
        centre: Centre (x, y) of the field.
        size: Extent (x, y) of the gripping face.
        cups: Cup or pad centres (x, y), shape (n, 2); of jaws or a fork, points of its face.
        cup_radius: Radius of one cup, or half the smaller side of a pad.
        stroke: Free stroke of the lips: how far an idle lip may be pressed.
        compression: How far the lips are compressed when they hold.
        lips: The soft part as a solid in the flange frame, or None.
        pad: Half the size (x, y) of a pad; None where the cups are round.
        cup_area: On which the vacuum of one cup or pad works [m2].
        grip: Jaws or a fork that hold in place of vacuum.
    """

    name: str
    centre: tuple[float, float]
    size: tuple[float, float]
    cups: Array
    cup_radius: float
    stroke: float
    compression: float
    lips: Body | None
    pad: tuple[float, float] | None = None
    cup_area: float = 0.0
    grip: Clamp | Fork | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Tool:
    """The gripper. The tool frame (TCP) has z pointing away from the flange.

    Over a group at turn 0, the tool's x lies along the group's x; the tool's z points down and
    the group's z up, so that the tool's y lies against the group's y.

    Attributes:
        bodies: Rigid solids in the flange frame; a body's name is its part's name.
        flange_from_tcp: Shape (4, 4).
        tcp_on: Whether the TCP lies on the lips "free" or "compressed".
        mass: [kg]; centre: centre of gravity in the flange frame [m].
        inertia: About its centre of gravity, axes parallel to the flange frame's, (3, 3) [kg m2].
        defaults: What the tool's own file left out, and what was taken.
        vacuum: What makes its cups hold; None where its file does not say.
    """

    name: str
    bodies: tuple[Body, ...]
    flange_from_tcp: Array
    tcp_on: Literal["free", "compressed"]
    mass: float
    centre: tuple[float, float, float]
    inertia: Array
    fields: tuple[GripField, ...]
    defaults: tuple["Default", ...] = ()
    vacuum: Vacuum | None = None

    @property
    def holds(self) -> bool:
        """Whether its file says how strongly anything holds."""
        return self.vacuum is not None or any(f.grip is not None for f in self.fields)

    def field(self, name: str) -> GripField:
        """The field of that name. Raises KeyError."""
        return next((f for f in self.fields if f.name == name), None) or _missing(name)


def _missing(name: str) -> GripField:
    raise KeyError(name)


@dataclass(frozen=True, slots=True)
class Detectors:
    """What sees the cartons at the infeed.

    Attributes:
        positions: Their distances from the end stop, rising [m]; None: where they see best.
        tolerance: Each sits, and switches, within this of its position [m].
        beam: Width of its beam along the travel, hysteresis included [m].
        on_delay: It counts as on once it has been on for so long without a break [s].
        belt_speed: At which cartons come [m/s]; None: not told.
    """

    positions: tuple[float, ...] | None = None
    tolerance: float = 0.005
    beam: float = 0.010
    on_delay: float = 0.3
    belt_speed: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Infeed:
    """Where cartons are picked.

    The infeed frame: origin on the belt at the end stop, on the centre line; x against the
    travel (cartons lie at x > 0), z up.

    Attributes:
        world_from_infeed: Shape (4, 4).
        fixtures: Belt, frame, guides, stop, in the world frame.
        queue: Cartons waiting upstream of the picked group.
        queue_gap: Gap between them, and to the group [m].
        carton_yaw: Turn of cartons on the belt, group's frame to infeed frame [rad].
        guide_height: Height of guides and stop over the belt: lift this far before moving
            sideways [m].
    """

    world_from_infeed: Array
    fixtures: tuple[Fixture, ...]
    queue: int
    queue_gap: float
    carton_yaw: float
    guide_height: float
    detectors: Detectors = field(default_factory=Detectors)


@dataclass(frozen=True, slots=True, eq=False)
class Pallet:
    """One pallet position.

    The pallet frame: origin at the corner of the deck (its top surface) where the length (x)
    and the width (y) start; z = 0 on the deck.

    Attributes:
        size: Length, width, height [m].
        world_from_pallet: Shape (4, 4).
        fixture: The pallet as a solid (box or mesh) in the world frame.
        placements: In the order in which they are put down.
        done: How many of them are already there at the start (a part-built pallet).
        max_height: Greatest height of the stack, pallet included [m], or None.
        max_load: Greatest load on the pallet [kg], or None.
        overhang: How far cartons may hang over the deck [m].
    """

    name: str
    size: tuple[float, float, float]
    world_from_pallet: Array
    fixture: Fixture
    placements: tuple[Placement, ...]
    done: int = 0
    max_height: float | None = None
    max_load: float | None = None
    overhang: float = 0.0


@dataclass(frozen=True, slots=True)
class Clearances:
    """Least distances asked for, by pair class [m], and how they are judged."""

    carried_to_placed: float = 0.010
    carried_to_guide: float = 0.003
    carried_to_fixed: float = 0.020
    tool_to_placed: float = 0.005
    tool_to_fixed: float = 0.020
    arm_to_any: float = 0.020
    arm_to_itself: float = 0.005
    margin: float = 0.005  # marginal: nearer to the limit than this
    taper_height: float = 0.050  # full clearance above this height to go
    placing_gap: float = 0.0  # clearance asked for at rest
    contact: float = 0.0001  # how deep touching by design may go

    @property
    def of_pairs(self) -> tuple[float, ...]:
        """What is asked for in full, of every pair class [m]."""
        return (
            self.carried_to_placed,
            self.carried_to_guide,
            self.carried_to_fixed,
            self.tool_to_placed,
            self.tool_to_fixed,
            self.arm_to_any,
            self.arm_to_itself,
        )


@dataclass(frozen=True, slots=True)
class Motion:
    """How cycles are made [m, m/s, s]."""

    approach_height: float = 0.100  # above the placement where the approach starts
    approach_slant: float = 0.050  # sideways shift at the start of a slanted approach
    lift_off: float = 0.150  # at least this far straight up from the pick
    transfer_clearance: float = 0.080  # of the carried bottom over what stands
    linear_speed: float = 0.5
    linear_acceleration: float = 2.0
    linear_jerk: float | None = None  # of straight lines [m/s3]; None: no limit
    joint_speed_share: float = 1.0  # share of the joints' rated speeds used
    joint_acceleration_share: float = 1.0  # share of the joints' rated accelerations used
    loaded_acceleration_share: float = 1.0  # of both accelerations, while cartons hang
    grip_time: float = 0.3
    release_time: float = 0.2
    settle_time: float = 0.0  # standing still before gripping and before releasing
    blend_radius: float = 0.0  # corners may be rounded within this distance of them


@dataclass(frozen=True, slots=True)
class Support:
    """What a stack must offer."""

    least_area: float = 0.60  # share of the bottom face that must be carried
    least_corners: int = 3  # corners of the bottom face that must be carried
    settle: float = 0.0  # how far each layer may settle [m]


@dataclass(frozen=True, slots=True)
class Tolerances:
    """Half-widths [m, rad] by which the real cell may differ from the drawn one."""

    carton_size: float = 0.0
    carton_height: float = 0.0
    pick_position: float = 0.0
    pick_skew: float = 0.0
    group_gap: float = 0.0
    pallet_position: float = 0.0
    pallet_yaw: float = 0.0
    pallet_height: float = 0.0
    arm_repeatability: float = 0.0
    added: Literal["sum", "root of squares"] = "sum"

    @property
    def stated(self) -> bool:
        """Whether any of them is not 0."""
        return any(getattr(self, name) for name in self.__slots__ if name != "added")


@dataclass(frozen=True, slots=True)
class Line:
    """The production line that the cell must keep up with [s, m].

    Attributes:
        rate: Cartons that come, and must go down [1/s].
        index_time: For a carton to move up into its place at the stop.
        settle_time: For the group to come to rest once its last carton is there; the on-delay
            of detectors, where it is longer, counts in its place.
        queue_length: Length of the infeed that cartons may stand on, from the stop.
        queue_places: How many cartons it takes, where it has a place for each.
        pallet_change: From the last release on a pallet until an empty one stands there.
        during_change: Whether the arm waits meanwhile, or goes on with another pallet.
        reduced_share: Share of the time in which the arm runs at reduced speed.
        reduced_speed: Share of its speed that it then has.
        reduced_stretch: Longest time at reduced speed in one piece.
        margin: A rate that is above the line's by less than this share is marginal.
    """

    rate: float
    queue_length: float
    index_time: float = 1.0
    settle_time: float = 0.3
    queue_places: int | None = None
    pallet_change: float = 30.0
    during_change: Literal["wait", "go on"] = "wait"
    reduced_share: float = 0.0
    reduced_speed: float = 0.25
    reduced_stretch: float = 60.0
    margin: float = 0.1


@dataclass(frozen=True, slots=True)
class LoadLimits:
    """How tool and cartons are judged against the arm's rating."""

    margin: float = 0.1  # a load that uses more than 1 less this share is marginal


@dataclass(frozen=True, slots=True)
class Default:
    """A value the user left out, as the report repeats it."""

    key: str
    value: str


@dataclass(frozen=True, slots=True, eq=False)
class Cell:
    """Everything in one cell file.

    Attributes:
        sha256: Of the cell's content: the file, what it names, and what was set on top.
        groups: By name.
        line: What the cell must keep up with; None where the file states none.
        fixtures: All that stands still but infeed and pallets (their own `fixtures`).
        defaults: What was left out and taken.
        notes: Remarks for the report ("mesh frame.stl is not watertight: no inside").
    """

    name: str
    sha256: str
    mounted: Mounted
    tool: Tool
    cartons: tuple[Carton, ...]
    groups: tuple[Group, ...]
    infeed: Infeed
    pallets: tuple[Pallet, ...]
    fixtures: tuple[Fixture, ...] = ()
    clearances: Clearances = field(default_factory=Clearances)
    motion: Motion = field(default_factory=Motion)
    support: Support = field(default_factory=Support)
    tolerances: Tolerances = field(default_factory=Tolerances)
    line: Line | None = None
    load: LoadLimits = field(default_factory=LoadLimits)
    hold: HoldLimits = field(default_factory=HoldLimits)
    defaults: tuple[Default, ...] = ()
    notes: tuple[str, ...] = ()
