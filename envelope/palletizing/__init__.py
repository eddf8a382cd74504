"""Cartons, groups, patterns, and the order in which a pallet is built."""
