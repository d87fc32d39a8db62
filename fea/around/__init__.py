"""Bottoms that are not the same all round: what they hold, what small waves cost."""
