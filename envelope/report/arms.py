"""Arms as text: a list of them, and one with its joints."""

import math
from collections.abc import Iterator, Sequence

from ..arm.arm import Arm
from .numbers import written
from .results import joint_scale

_DECIMALS = 2


def arm_list(arms: Sequence[Arm]) -> str:
    """One line an arm."""
    rows = [("arm", "family", "joints", "rated load")]
    rows += [
        (arm.name, arm.family, str(arm.dof), f"{written(arm.rating.mass, _DECIMALS)} kg")
        for arm in arms
    ]
    return "\n".join(_aligned(rows)) + "\n"


def arm_sheet(arm: Arm) -> str:
    """The arm's joints, coupled limits and rating."""
    lines = [f"{arm.name} ({arm.family})", "", *_aligned(_joints(arm))]
    for limit in arm.coupled:
        terms = " ".join(
            f"{factor:+g} {joint.name}"
            for factor, joint in zip(limit.factors, arm.joints, strict=True)
            if factor
        )
        low, high = (written(math.degrees(end), _DECIMALS) for end in (limit.lower, limit.upper))
        lines.append(f"{limit.name}: {low} to {high} deg for {terms}")
    lines += ["", f"rated load: {written(arm.rating.mass, _DECIMALS)} kg"]
    return "\n".join(lines) + "\n"


def _joints(arm: Arm) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = [("joint", "from", "to", "unit", "per s", "per s2")]
    slides = {link.source for link in arm.chain.links if link.prismatic}
    for index, (joint, scale) in enumerate(zip(arm.joints, joint_scale(arm.chain), strict=True)):
        numbers = (joint.lower, joint.upper, joint.speed, joint.acceleration)
        low, high, speed, acceleration = (written(scale * n, _DECIMALS) for n in numbers)
        unit = "mm" if index in slides else "deg"
        rows.append((joint.name, low, high, unit, speed, acceleration))
    return rows


def _aligned(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        cells = (text.ljust(width) for text, width in zip(row, widths, strict=True))
        yield "  ".join(cells).rstrip()
