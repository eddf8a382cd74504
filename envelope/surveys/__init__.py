"""Surveys: the same check over many variants of a cell, run through one executor."""
