"""What the cell brings in a minute, and what keeps it from bringing more. As shown: mm, s."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class LayerRate:
    """One layer of a pallet; rate: while it is laid, changes of pallets left out [cartons/min]."""

    pallet: str
    layer: int
    rate: float


@dataclass(frozen=True, slots=True)
class Queue:
    """The longest queue on the infeed at the line's rate, what stands at the stop included.

    Attributes:
        cartons: How many at once; None where the queue grows without end.
        length: How long it is at most, from the stop [mm]; None likewise.
        available: Length there is for it [mm].
        places: Cartons there is room for, where each has a place.
    """

    cartons: int | None
    length: float | None
    available: float
    places: int | None = None


@dataclass(frozen=True, slots=True)
class Rate:
    """How many cartons a minute go down, over full pallets one after the other.

    Attributes:
        sustained: What can be kept up while cartons never run short [cartons/min]; pallet
            changes, index and settle included where the cell states a line.
        alone: The same for an arm that never waits.
        asked: The line's rate [cartons/min]; None where the cell states no line.
        cartons: Cartons on all pallets once.
        cycles: Cycles that bring them.
        mean_cycle: Mean duration of a cycle, waiting left out [s].
        rounding: What rounding corners saves of it, at full speed [s]; the times in the results
            file are those of a stop at every corner.
        slowest_cycle: The longest [s], and the first placement that it brings.
        waiting: Seconds a round that the arm waits, by what it waits for.
        layers: In the order in which they are laid.
        dominating: What the slowest cycles spend their time on, the longest first, mean over
            them [s]: a joint's speed or acceleration, that of straight lines, standing still.
        queue: None where the cell states no line.
    """

    sustained: float
    alone: float
    asked: float | None
    cartons: int
    cycles: int
    mean_cycle: float
    rounding: float
    slowest_cycle: tuple[float, str]
    waiting: tuple[tuple[str, float], ...]
    layers: tuple[LayerRate, ...]
    dominating: tuple[tuple[str, float], ...]
    queue: Queue | None = None

    @property
    def slowest_layer(self) -> LayerRate:
        """The layer with the least rate."""
        return min(self.layers, key=lambda layer: layer.rate)
