"""Where a lift or track stands during one cycle."""

from dataclasses import dataclass

from ..arm.arm import Arm


@dataclass(frozen=True, slots=True)
class Stand:
    """Place of the external axis at the pick and at the placements [m].

    Between them it moves during the transfer; straight lines are followed with it at rest.
    None for an arm without external axis.
    """

    pick: float | None
    place: float | None

    def travel(self) -> float:
        """How far it moves from one to the other [m]."""
        if self.pick is None or self.place is None:
            return 0.0
        return abs(self.place - self.pick)


NO_AXIS = Stand(None, None)


def branch_name(arm: Arm, stand: Stand, branch: int) -> str:
    """Name of one of the arm's own branches at a stand, as findings tell it."""
    name = arm.branch_names[branch]
    if arm.axis is None or stand.pick is None or stand.place is None:
        return name
    where = f"{arm.axis.kind} at {stand.pick * 1e3:.0f} mm"
    if stand.pick != stand.place:
        where += f" for the pick and {stand.place * 1e3:.0f} mm for the placement"
    return f"{where}, {name}"
