"""Write an arm as URDF: tree, limits, followers as `mimic` joints, collision shapes."""

import xml.etree.ElementTree as ET

import numpy as np

from ..geometry.bodies import Body, Box, Capsule, Cylinder, Shape
from ..geometry.frames import Array
from .arm import Arm
from .chain import Link

GIMBAL = 1e-9  # cosine of pitch below which roll and yaw turn about one line


def to_urdf(arm: Arm) -> str:
    """The arm as URDF, the same text for the same arm.

    Lengths are metres, angles radians. The mechanical interface is a link called "flange",
    z outward. A capsule becomes a cylinder and two spheres; a hull or a mesh, for which
    URDF has no shape of its own, is left out, and a comment says so.

    Raises:
        ValueError: If no joint moves by a coordinate as it is, so that none can lead.
    """
    robot = ET.Element("robot", name=_name(arm.name))
    _say(robot, f"family: {arm.family}; joint effort is not known and stands as 0")
    for limit in arm.coupled:
        terms = " ".join(
            f"{factor:+g} * {joint.name}"
            for factor, joint in zip(limit.factors, arm.joints, strict=True)
            if factor
        )
        _say(robot, f"{limit.name}: {_text(limit.lower)} <= {terms} <= {_text(limit.upper)}")
    names = arm.chain.names
    for index, name in enumerate(names):
        bodies = [item.body for item in arm.bodies if item.link == index]
        _add_link(robot, name, bodies)
    leaders = _leaders(arm)
    for index, link in enumerate(arm.chain.links):
        _add_joint(robot, arm, link, names[link.parent], leaders[link.source], index)
    ET.SubElement(robot, "link", name="flange")
    fixed = ET.SubElement(robot, "joint", name="flange_mount", type="fixed")
    _add_origin(fixed, arm.chain.link_from_flange)
    ET.SubElement(fixed, "parent", link=_name(names[arm.chain.flange_link]))
    ET.SubElement(fixed, "child", link="flange")
    ET.indent(robot)
    return f'<?xml version="1.0"?>\n{ET.tostring(robot, encoding="unicode")}\n'


def _leaders(arm: Arm) -> tuple[int, ...]:
    """For each coordinate, the index of the first link that moves by it as it is."""
    leaders: list[int] = []
    for source in range(arm.dof):
        found = (
            index
            for index, link in enumerate(arm.chain.links)
            if link.source == source and link.multiplier == 1.0
        )
        leader = next(found, None)
        if leader is None:
            raise ValueError(f"{arm.name}: no link moves by {arm.joints[source].name} as it is")
        leaders.append(leader)
    return tuple(leaders)


def _add_joint(
    robot: ET.Element, arm: Arm, link: Link, parent: str, leader: int, index: int
) -> None:
    limits = arm.joints[link.source]
    leads = index == leader
    joint = ET.SubElement(
        robot,
        "joint",
        # Some readers add joints in the order of their names, and a leader must come first.
        name=_name(limits.name if leads else f"{limits.name} {link.name}"),
        type="prismatic" if link.prismatic else "revolute",
    )
    ET.SubElement(joint, "parent", link=_name(parent))
    ET.SubElement(joint, "child", link=_name(link.name))
    ET.SubElement(joint, "origin", xyz=_texts(link.origin), rpy="0 0 0")
    ET.SubElement(joint, "axis", xyz=_texts(link.axis))
    ends = sorted((link.multiplier * limits.lower, link.multiplier * limits.upper))
    ET.SubElement(
        joint,
        "limit",
        lower=_text(ends[0]),
        upper=_text(ends[1]),
        effort="0",
        velocity=_text(abs(link.multiplier) * limits.speed),
    )
    if not leads:
        ET.SubElement(
            joint, "mimic", joint=_name(limits.name), multiplier=_text(link.multiplier), offset="0"
        )


def _add_link(robot: ET.Element, name: str, bodies: list[Body]) -> None:
    link = ET.SubElement(robot, "link", name=_name(name))
    for body in bodies:
        pieces = _pieces(body.shape)
        if not pieces:
            kind = type(body.shape).__name__.lower()
            _say(link, f"{body.name}: left out, URDF has no {kind}")
        for number, (tag, sizes, along) in enumerate(pieces, start=1):
            suffix = f" {number}" if len(pieces) > 1 else ""
            for role in ("visual", "collision"):
                solid = ET.SubElement(link, role, name=_name(f"{name} {body.name}{suffix} {role}"))
                pose = np.array(body.pose)
                pose[:3, 3] += along * pose[:3, 2]
                _add_origin(solid, pose)
                ET.SubElement(ET.SubElement(solid, "geometry"), tag, attrib=sizes)


def _pieces(shape: Shape) -> list[tuple[str, dict[str, str], float]]:
    """URDF shapes that make up a shape, each with its place along the shape's z [m]."""
    if isinstance(shape, Box):
        return [("box", {"size": _texts(2.0 * shape.half)}, 0.0)]
    if isinstance(shape, Cylinder | Capsule):
        radius = {"radius": _text(shape.radius)}
        barrel = ("cylinder", {**radius, "length": _text(2.0 * shape.half)}, 0.0)
        if isinstance(shape, Cylinder):
            return [barrel]
        return [barrel, ("sphere", radius, shape.half), ("sphere", radius, -shape.half)]
    return []


def _add_origin(parent: ET.Element, pose: Array) -> None:
    r = pose[:3, :3]
    flat = float(np.hypot(r[0, 0], r[1, 0]))
    pitch = np.arctan2(-r[2, 0], flat)
    if flat > GIMBAL:
        roll, yaw = np.arctan2(r[2, 1], r[2, 2]), np.arctan2(r[1, 0], r[0, 0])
    else:
        roll, yaw = 0.0, np.arctan2(-r[0, 1], r[1, 1])
    turned = _texts(np.array([roll, pitch, yaw]))
    ET.SubElement(parent, "origin", xyz=_texts(pose[:3, 3]), rpy=turned)


def _say(parent: ET.Element, text: str) -> None:
    # XML forbids two hyphens in a row inside a comment, and one at its end.
    parent.append(ET.Comment(f" {text.replace('--', '- -')} "))


def _name(text: str) -> str:
    return text.replace(" ", "_")


def _text(value: float) -> str:
    return f"{value + 0.0:.12g}"  # adding 0.0 turns -0.0 into 0.0


def _texts(values: Array) -> str:
    return " ".join(_text(value) for value in values.tolist())
