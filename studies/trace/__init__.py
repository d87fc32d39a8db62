"""Traced and drawn contours: points to the dimensions of a profile, with their uncertainty."""
