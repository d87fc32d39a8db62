"""Figures, as functions of data."""
