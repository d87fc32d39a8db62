"""Punch, die, clamp ring, spring and blank, and their files."""
