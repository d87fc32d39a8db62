"""Shares of cans in words."""

from __future__ import annotations

import math

PERCENT, MILLION = ("%", 100.0), ("in a million", 1e6)


def unit_of(share: float) -> tuple[str, float]:
    """Percent, or cans of a million for shares that are small."""
    return PERCENT if share >= 0.001 else MILLION


def share_words(share: float) -> str:
    """A share of cans as people say it."""
    word, factor = unit_of(share) if share > 0.0 else PERCENT
    return f"{factor * share:.3g} {word}"


def interval_words(low: float, high: float) -> str:
    """Two shares in the unit of the larger, to two figures of their distance."""
    word, factor = unit_of(high)
    low, high = factor * low, factor * high
    places = max(0, 1 - math.floor(math.log10(high - low))) if high > low else 0
    return f"{low:.{places}f} to {high:.{places}f} {word}"
