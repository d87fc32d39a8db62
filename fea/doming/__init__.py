"""Forming a bottom between punch, die and clamp ring."""
