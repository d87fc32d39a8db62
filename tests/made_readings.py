"""Readings of made-up machines with a known mean, spread and order, for tests of the statistics."""

from __future__ import annotations

import numpy as np
from scipy import stats

from domemargin.studies.diagnosis.scatter import Explained
from domemargin.studies.readings.readings import Labels, Readings, no_labels

KNOWN = Explained(lot=0.0, can=0.006, reading=0.004, set=0.01)


def plant(depths: list[np.ndarray], lots: bool = False) -> Readings:
    """One line of machines, a reading a quarter day."""
    sizes = [one.size for one in depths]
    n = sum(sizes)
    codes = np.repeat(np.arange(len(depths)), sizes)
    day = np.concatenate([0.25 * np.arange(size) for size in sizes])
    lot = no_labels(n)
    if lots:
        lot = Labels(
            (day // 2.0).astype(np.int64), tuple(f"L{i}" for i in range(int(day.max() // 2) + 1))
        )
    return Readings(
        np.concatenate(depths), day, "2025-01-01", Labels(codes, tuple("ABCDEFGH"[: len(depths)])),
        ("Heron",) * len(depths), lot, no_labels(n), no_labels(n), no_labels(n),
        np.full(n, np.nan), np.full(n, np.nan), np.arange(n) + 2,
    )  # fmt: skip


def spread_of(values: np.ndarray, spread: float) -> np.ndarray:
    """The values with exactly this standard deviation and no mean."""
    centred = values - values.mean()
    return centred * spread / centred.std(ddof=1)


def runs_of(values: np.ndarray) -> list[np.ndarray]:
    """Runs of eight readings; a rest of up to four belongs to the last."""
    starts = range(0, max(values.size - 4, 1), 8)
    ends = [*starts[1:], values.size]
    return [values[a:b] for a, b in zip(starts, ends)]


def within_runs(values: np.ndarray) -> tuple[float, int]:
    """Pooled variance about the means of runs, one freedom more taken for the shape; freedom."""
    runs = runs_of(values)
    freedom = values.size - len(runs) - 1
    return sum(float(((run - run.mean()) ** 2).sum()) for run in runs) / freedom, freedom


def unrelated(rng: np.random.Generator, size: int, spread: float) -> np.ndarray:
    """Readings without tails that follow each other in no way, singly and by blocks.

    Quantiles of a normal distribution cut at 2.4 deviations, so that none counts as far from its
    neighbours, in an order without correlation from one to the next: a variance of them has
    size - 1 degrees of freedom.
    """
    quantiles = stats.truncnorm(-2.4, 2.4).ppf((np.arange(size) + 0.5) / size)
    while True:
        values = spread_of(rng.permutation(quantiles), spread)
        blocks = blocks_of(values)
        if all(one[1:] @ one[:-1] < -3.0 / one.size * (one @ one) for one in (values, blocks)):
            return values


def blocks_of(values: np.ndarray) -> np.ndarray:
    """Means of at most 64 blocks of two readings or more."""
    return values.reshape(-1, max(2, -(-values.size // 64))).mean(axis=1)
