"""Rigid tools against shell and solid."""
