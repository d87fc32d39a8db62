"""Shares of cans in words."""

from __future__ import annotations

PERCENT, MILLION = ("%", 100.0), ("in a million", 1e6)


def unit_of(share: float) -> tuple[str, float]:
    """Percent, or cans of a million for shares that are small."""
    return PERCENT if share >= 0.001 else MILLION


def share_words(share: float) -> str:
    """A share of cans as people say it."""
    word, factor = unit_of(share) if share > 0.0 else PERCENT
    return f"{factor * share:.3g} {word}"


def interval_words(low: float, high: float) -> str:
    """Two shares in the unit of the larger."""
    word, factor = unit_of(high)
    return f"{factor * low:.3g} to {factor * high:.3g} {word}"
