"""Stability against circumferential waves, and what small waves cost."""
