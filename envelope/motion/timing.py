"""Times of segments: synchronised trapezoids on joint moves, a trapezoid on straight lines."""

import numpy as np

from ..arm.arm import Arm
from ..cell.model import Motion
from ..geometry.frames import Array


def trapezoid(distance: Array, speed: Array, acceleration: Array) -> Array:
    """Rest-to-rest times [s] of moves with limited speed and acceleration, any shape.

    Source: Biagiotti and Melchiorri, Trajectory Planning for Automatic Machines and Robots
    (2008), section 3.2: D/v + v/a when the speed is reached, else 2 sqrt(D/a).
    """
    distance = np.abs(distance)
    reached = distance * acceleration >= speed * speed
    return np.where(
        reached,
        distance / speed + speed / acceleration,
        2.0 * np.sqrt(distance / acceleration),
    )


def instants(shares: Array, distance: float, speed: float, acceleration: float) -> Array:
    """Times [s] at which a trapezoid move passes shares (0..1) of its distance."""
    total = float(trapezoid(np.array(distance), np.array(speed), np.array(acceleration)))
    peak = min(speed, np.sqrt(distance * acceleration))
    ramp = peak * peak / (2.0 * acceleration)
    way = shares * distance
    starting = np.sqrt(2.0 * np.minimum(way, ramp) / acceleration)
    cruising = peak / acceleration + (way - ramp) / peak
    stopping = total - np.sqrt(2.0 * np.clip(distance - way, 0.0, ramp) / acceleration)
    return np.where(way <= ramp, starting, np.where(way >= distance - ramp, stopping, cruising))


def joint_move_time(arm: Arm, motion: Motion, rows: Array) -> Array:
    """Times [s] at the rows of a joint-interpolated move that stops at each row, (rows,)."""
    speed = np.array([joint.speed for joint in arm.joints]) * motion.joint_speed_share
    acceleration = np.array([joint.acceleration for joint in arm.joints])
    legs = trapezoid(np.diff(rows, axis=0), speed, acceleration).max(axis=1)
    return np.concatenate([[0.0], np.cumsum(legs)])


def line_demand(arm: Arm, motion: Motion, rows: Array, length: float) -> float:
    """Greatest share of a joint's speed that a straight line needs at the speed asked for."""
    speed = np.array([joint.speed for joint in arm.joints]) * motion.joint_speed_share
    step = length / (len(rows) - 1)
    return float((np.abs(np.diff(rows, axis=0)) / speed).max() * motion.linear_speed / step)


def line_time(motion: Motion, rows: int, length: float, demand: float) -> Array:
    """Times [s] at the evenly spaced rows of a straight line, shape (rows,).

    Args:
        motion: Speed and acceleration asked for.
        rows: Number of rows.
        length: Of the line [m].
        demand: See `line_demand`; above 1 the speed is lowered by it.
    """
    speed = motion.linear_speed / max(demand, 1.0)
    return instants(np.linspace(0.0, 1.0, rows), length, speed, motion.linear_acceleration)
