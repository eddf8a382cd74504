"""Checks: each turns placements or cycles into findings."""
