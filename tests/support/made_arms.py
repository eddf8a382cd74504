"""Arms of every generic family with dimensions of our own, and random joints for them."""

import numpy as np

from envelope.arm.arm import Joint
from envelope.arm.families import FAMILIES, build

DIMENSIONS = {
    "spherical wrist": {
        "shoulder_height": 0.52,
        "shoulder_offset": 0.18,
        "shoulder_lateral": 0.07,
        "upper_arm": 0.83,
        "elbow_offset": 0.13,
        "forearm": 0.79,
        "flange": 0.14,
    },
    "three parallel axes": {
        "shoulder_height": 0.19,
        "upper_arm": 0.66,
        "forearm": 0.58,
        "wrist_lateral": 0.16,
        "wrist_length": 0.12,
        "flange": 0.11,
    },
    "parallelogram": {
        "shoulder_height": 0.8,
        "shoulder_offset": 0.26,
        "upper_arm": 1.15,
        "forearm": 1.25,
        "wrist_offset": 0.21,
        "flange_drop": 0.24,
        "elbow_bar_back": 0.2,
        "elbow_bar_up": 0.05,
        "tie_bar_up": 0.22,
        "tie_bar_out": 0.04,
        "drive_lever": 0.3,
    },
    "column arm": {
        "shoulder_height": 0.7,
        "shoulder_offset": 0.3,
        "upper_arm": 0.8,
        "forearm": 0.65,
        "flange_drop": 0.2,
    },
    "gantry": {"flange_height": 0.4, "mast_offset": 0.25},
}
SLIDES = {"column arm": (0,), "gantry": (0, 1, 2)}


def joints(count, most=np.pi):
    return [Joint(f"joint {i + 1}", -most, most, 3.0, 10.0) for i in range(count)]


def make(family, most=np.pi):
    return build("test", family, DIMENSIONS[family], joints(len(FAMILIES[family].joints), most))


def random_joints(arm, count, seed=0):
    """Angles all around, and slides up to 5 m: farther than half a turn has radians."""
    q = np.random.default_rng(seed).uniform(-np.pi, np.pi, (count, arm.dof))
    q[:, list(SLIDES.get(arm.family, ()))] *= 5.0 / np.pi
    return q
