"""Arms: forward kinematics, inverse kinematics with every branch, limits, link bodies."""
