"""Which pairs of bodies are watched, and how near they may come: the contact classes.

Contact that the job intends is named here, pair by pair and segment by segment;
everything else is held to the clearance asked for its pair class.
"""

from dataclasses import dataclass
from typing import Literal

from ..cell.model import Cell
from ..motion.cycle import SegmentName
from .cast import Actor

NEAR: tuple[SegmentName, ...] = ("approach pick", "lift off", "approach place", "withdraw")
_CARTONS = ("placed", "own", "queue", "waiting")


@dataclass(frozen=True, slots=True)
class Rule:
    """What is asked of a pair of bodies over one segment.

    At a height h still to go the limit is min(full, rest + (full - rest) * h / taper height).

    Attributes:
        check: Which check answers for it.
        pair: The pair class, in words.
        full, rest: Clearance asked for away from rest and at rest [m].
        touching: Whether contact is intended.
    """

    check: Literal["approach", "collision"]
    pair: str
    full: float
    rest: float
    touching: bool = False


@dataclass(frozen=True, slots=True)
class Meeting:
    """A moving body, another body and the circumstances.

    Attributes:
        below: The other is a carton that the carried one comes to rest above.
    """

    mover: Actor
    other: Actor
    segment: SegmentName
    below: bool


class Rules:
    """The contact classes of one cell."""

    def __init__(self, cell: Cell) -> None:
        self._asked = cell.clearances
        self._queue_gap = cell.infeed.queue_gap
        self._axis = cell.mounted.arm.axis

    def of(self, meeting: Meeting) -> Rule:
        """The rule for a meeting of a moving body with another."""
        if meeting.other.link or meeting.other.role == "arm":
            return self._against_arm(meeting)
        if meeting.mover.role == "arm":
            return self._arm(meeting)
        if meeting.mover.role == "carried":
            return self._carried(meeting)
        return self._tool(meeting)

    @property
    def contact(self) -> float:
        """Limit where contact is intended [m]: a little below zero."""
        return -self._asked.contact

    def _constant(self, meeting: Meeting, pair: str, limit: float) -> Rule:
        """The same clearance everywhere; asking for none means that touching is allowed."""
        around = ("pallet", "guide", "stop", "conveyor", *_CARTONS)
        near = meeting.segment in NEAR and meeting.other.role in around
        check = "approach" if near and meeting.mover.role != "arm" else "collision"
        if limit <= 0.0:
            return Rule(check, pair, min(limit, self.contact), min(limit, self.contact), True)
        return Rule(check, pair, limit, limit)

    def _tapered(self, meeting: Meeting, pair: str, rest: float) -> Rule:
        full = max(self._asked.carried_to_placed, rest)
        return Rule("approach", pair, full, rest, rest <= 0.0)

    def _against_arm(self, meeting: Meeting) -> Rule:
        roles = {meeting.mover.role, meeting.other.role}
        if "carried" in roles:
            limit = self._asked.arm_to_any
            return Rule("collision", "carried to arm", limit, limit)
        if self._axis is not None and not meeting.other.link and meeting.mover.link > 1:
            # A column or rails stand still like any fixture; only the carriage runs on them.
            return self._constant(meeting, f"arm to its {self._axis.kind}", self._asked.arm_to_any)
        limit = self._asked.arm_to_itself
        return Rule("collision", "arm to itself", limit, limit)

    def _arm(self, meeting: Meeting) -> Rule:
        above = 1 if self._axis is None else 2
        if meeting.other.role == "pedestal" and meeting.mover.link <= above:
            # The first link turns on the spot, right above what carries it; so does the
            # carriage of a lift rest on it at the lowest.
            return self._constant(meeting, "arm to its pedestal", 0.0)
        return self._constant(meeting, "arm to anything", self._asked.arm_to_any)

    def _tool(self, meeting: Meeting) -> Rule:
        role, lips = meeting.other.role, meeting.mover.role == "lips"
        if role in _CARTONS and lips:
            return self._constant(meeting, "lips to cartons", self.contact - meeting.mover.stroke)
        if role in ("own", "waiting") and meeting.segment in NEAR:
            return self._constant(meeting, "tool to what it holds", 0.0)
        if role in (*_CARTONS, "guide", "stop"):
            return self._constant(meeting, "tool to placed", self._asked.tool_to_placed)
        return self._constant(meeting, "tool to fixed", self._asked.tool_to_fixed)

    def _carried(self, meeting: Meeting) -> Rule:
        role, segment = meeting.other.role, meeting.segment
        at_rest = self.contact - meeting.mover.slack
        if role in ("placed", "pallet") and segment in NEAR:
            gap = self._asked.placing_gap
            rests = role == "pallet" or meeting.below
            return self._tapered(
                meeting,
                "carried to what it rests on" if rests else "carried to placed",
                at_rest if rests or gap <= 0.0 else gap - meeting.mover.slack,
            )
        if role == "own" and segment in NEAR:
            return self._constant(meeting, "cartons of one group", at_rest)
        if segment == "lift off":
            if role == "conveyor":
                return self._tapered(meeting, "carried to belt", at_rest)
            if role == "stop":
                return self._constant(meeting, "carried to stop", at_rest)
            if role in ("queue", "waiting"):
                asked = min(self._asked.carried_to_guide, self._queue_gap)
                return self._constant(meeting, "carried to queue", asked or at_rest)
            if role == "guide":
                return self._constant(meeting, "carried to guide", self._asked.carried_to_guide)
        if role in (*_CARTONS, "pallet"):
            return self._constant(meeting, "carried to placed", self._asked.carried_to_placed)
        return self._constant(meeting, "carried to fixed", self._asked.carried_to_fixed)
