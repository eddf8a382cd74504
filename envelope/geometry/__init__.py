"""Frames, solids, and proved distances between moving solids."""
