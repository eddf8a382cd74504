"""Arm files to arms."""

import math
from collections.abc import Iterator
from pathlib import Path

from ..arm.arm import Arm, CoupledLimit, Joint, Rating, Touching
from ..arm.families import build
from ..geometry.bodies import Body
from .catalogue import Complain, find_model
from .errors import CellError, Problem
from .schema_arm import ArmPart, JointPart
from .shapes import read_shape
from .sources import Sources
from .validation import validated
from .yaml_reading import Document

# Which key of an arm file a complaint of the arm's builder is about, by a word in it.
_ABOUT = (
    ("unknown family", "family"),
    ("dimension", "dimensions"),
    ("rating", "rating"),
    ("bodies", "bodies"),
    ("touching", "touching"),
    ("factors", "coupled"),
    ("joint", "joints"),
)


def read_arm(name: str, folder: Path | None, complain: Complain, sources: Sources) -> Arm | None:
    """The arm of that name or path.

    Returns:
        None where something is wrong; the problems are then in `sources`.
    """
    try:
        document = find_model(name, "arms", folder, complain)
    except CellError as error:
        sources.add(*error.problems)
        return None
    sources.used("arm", document.content)
    part, problems = validated(ArmPart, document)
    sources.add(*problems)
    if part is None:
        return None
    before = len(sources.problems)
    bodies = {
        link: [
            body
            for index, shape in enumerate(shapes)
            if (
                body := read_shape(
                    shape,
                    shape.name or (link if len(shapes) == 1 else f"{link} {index + 1}"),
                    document,
                    ("bodies", link, index),
                    sources,
                )
            )
        ]
        for link, shapes in part.bodies.items()
    }
    return None if len(sources.problems) > before else _built(part, bodies, document, sources)


def sliding(arm: Arm) -> tuple[bool, ...]:
    """For each joint coordinate, whether it slides (metres) or turns (radians)."""
    slides = {link.source for link in arm.chain.links if link.prismatic}
    return tuple(index in slides for index in range(arm.dof))


def to_si(value: float, slides: bool) -> float:
    """A joint's amount in deg, or in mm where it slides, to radians or metres."""
    return value / 1e3 if slides else math.radians(value)


def _built(
    part: ArmPart, bodies: dict[str, list[Body]], document: Document, sources: Sources
) -> Arm | None:
    rating = Rating(
        part.rating.mass,
        tuple(part.rating.moments.items()),
        tuple(part.rating.inertias.items()),
        part.rating.table,
        tuple(part.rating.moments_moving.items()),
    )
    try:
        arm = build(
            part.name,
            part.family,
            part.dimensions,
            [_joint(joint) for joint in part.joints],
            [
                CoupledLimit(c.name, c.factors, math.radians(c.range[0]), math.radians(c.range[1]))
                for c in part.coupled
            ],
            bodies,
            [Touching(*t.links, t.reason) for t in part.touching],
            rating,
        )
    except ValueError as error:
        sources.add(_complaint(str(error), document))
        return None
    problems = [
        *_wrong_slides(part, arm, document),
        *_coupled_slides(part, arm, document),
        *_rated_slides(part, arm, document),
    ]
    sources.add(*problems)
    return None if problems else arm


def _wrong_slides(part: ArmPart, arm: Arm, document: Document) -> Iterator[Problem]:
    """Joints that the file says slide where the family's turn, or the other way round."""
    for number, (joint, slides) in enumerate(zip(part.joints, sliding(arm), strict=True)):
        if joint.slides == slides:
            continue
        key = ("joints", number, "slides" if "slides" in joint.model_fields_set else "name")
        does, unit = ("slides", "mm") if slides else ("turns", "deg")
        yield document.problem(
            key,
            f"{joint.name} of the family {part.family} {does}",
            f"write slides: {str(slides).lower()}, and its numbers in {unit}",
        )


def _coupled_slides(part: ArmPart, arm: Arm, document: Document) -> Iterator[Problem]:
    """Coupled limits on joints that slide: the sum of mm and deg means nothing."""
    for number, limit in enumerate(part.coupled):
        names = [
            joint.name
            for joint, factor, slides in zip(arm.joints, limit.factors, sliding(arm), strict=True)
            if slides and factor
        ]
        if names:
            found = f"{limit.name} takes in {', '.join(names)}, which slides"
            right = "couple joints that turn; write 0 for those that slide"
            yield document.problem(("coupled", number, "factors"), found, right)


def _rated_slides(part: ArmPart, arm: Arm, document: Document) -> Iterator[Problem]:
    """Moments and inertias about the axis of a joint that has none."""
    slides = {joint.name for joint, slides in zip(arm.joints, sliding(arm), strict=True) if slides}
    rated = {
        "moments": part.rating.moments,
        "moments_moving": part.rating.moments_moving,
        "inertias": part.rating.inertias,
    }
    for key, limits in rated.items():
        for name in limits:
            if name in slides:
                found = f"{name} slides, so no load turns about it"
                right = "name joints that turn; state the mass it may carry as rating.mass"
                yield document.problem(("rating", key, name), found, right)


def _complaint(text: str, document: Document) -> Problem:
    about = next((key for word, key in _ABOUT if word in text), None)
    return document.problem(() if about is None else (about,), text)


def _joint(part: JointPart) -> Joint:
    low, high, speed, acceleration = (
        to_si(value, part.slides) for value in (*part.range, part.speed, part.acceleration)
    )
    jerk = None if part.jerk is None else to_si(part.jerk, part.slides)
    return Joint(part.name, low, high, speed, acceleration, jerk)


def usable_ranges(
    arm: Arm, narrower: dict[str, tuple[float, float]], document: Document, sources: Sources
) -> tuple[tuple[float, float], ...]:
    """The usable range of each joint; ranges in deg or mm as the cell narrows them."""
    ranges: list[tuple[float, float]] = []
    for joint, slides in zip(arm.joints, sliding(arm), strict=True):
        low, high = joint.lower, joint.upper
        if joint.name in narrower:
            key = ("arm", "usable", joint.name)
            low, high = (to_si(value, slides) for value in narrower[joint.name])
            per_si, unit = (1e3, "mm") if slides else (math.degrees(1.0), "deg")
            limits = f"{joint.lower * per_si:g} to {joint.upper * per_si:g} {unit}"
            if low >= high:
                sources.add(document.problem(key, "the range is empty", "write [lower, upper]"))
            elif low < joint.lower - 1e-9 or high > joint.upper + 1e-9:
                found = "reaches beyond the arm's own range"
                sources.add(document.problem(key, found, f"stay within {limits}"))
        ranges.append((max(low, joint.lower), min(high, joint.upper)))
    return tuple(ranges)
