"""Stability against circumferential waves, and the pressure lost by small waves."""
