"""Cycles: from the pick pose and the placements to joint paths and their times."""
