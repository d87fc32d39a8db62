"""Control charts: of individual readings with their moving ranges, and of subgroups."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from domemargin.profiles.arrays import Floats

RUN = 9  # readings in a row on one side of the centre
_INSTANT = 1.0 / 86400.0  # days: times that differ by less are the same


@dataclass(frozen=True)
class Constants:
    """Constants of control charts for a normal variable and subgroups of n, three sigma.

    d2, d3 : mean and standard deviation of the range over sigma.  c4 : mean of the sample
    standard deviation over sigma.  A2, D3, D4, E2 : factors of the mean range for the limits of
    means, of ranges (low, high) and of individuals.
    """

    n: int
    d2: float
    d3: float
    c4: float
    A2: float
    D3: float
    D4: float
    E2: float


@lru_cache(maxsize=64)
def constants(n: int) -> Constants:
    """Constants for subgroups of n, d2 and d3 by integration (Tippett, Biometrika 17, 1925).

    n : 2 to 100.  Raises ValueError.
    """
    if not 2 <= n <= 100:
        raise ValueError(f"n is {n}; it must lie in 2 to 100")
    from scipy.special import ndtr

    # the distribution of the range R is smooth, so that the trapezoidal rule is exact to 1e-9
    x = np.linspace(-9.0, 9.0, 901)
    step = float(x[1] - x[0])
    low = ndtr(x)
    d2 = float(np.sum(1.0 - (1.0 - low) ** n - low**n)) * step
    # E R^2 = 2 int int_{x < y} [1 - F(y)^n - (1 - F(x))^n + (F(y) - F(x))^n] dx dy
    first, last = low[:, None], low[None, :]
    inner = 1.0 - last**n - (1.0 - first) ** n + np.clip(last - first, 0.0, 1.0) ** n
    weight = np.triu(np.ones(inner.shape), 1) + 0.5 * np.eye(x.size)
    square = 2.0 * float(np.sum(inner * weight)) * step**2
    d3 = math.sqrt(square - d2**2)
    c4 = math.sqrt(2.0 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))
    # handbooks divide by d2 as they print it, to three decimals: 3 / 1.128 = 2.660
    printed = round(d2, 3)
    return Constants(
        n, printed, d3, c4, A2=3.0 / (printed * math.sqrt(n)), D3=max(0.0, 1.0 - 3.0 * d3 / d2),
        D4=1.0 + 3.0 * d3 / d2, E2=3.0 / printed,
    )  # fmt: skip


@dataclass(frozen=True)
class Chart:
    """An individuals chart with its chart of moving ranges (of two readings in a row).

    centre, low, high : of the individuals.  range_centre, range_high : of the moving ranges.
    sigma : short-term standard deviation, mean moving range / d2.
    beyond, range_beyond : indices of readings, and of the second of two, beyond the limits.
    runs : indices of readings that end a run of RUN or more on one side of the centre.
    """

    centre: float
    low: float
    high: float
    range_centre: float
    range_high: float
    sigma: float
    beyond: np.ndarray
    range_beyond: np.ndarray
    runs: np.ndarray


def individuals_chart(values: Floats) -> Chart:
    """Chart of readings in order of time; (n,), n at least 2.  Raises ValueError."""
    if values.size < 2:
        raise ValueError(f"{values.size} readings are given; a chart needs 2")
    two = constants(2)
    ranges = np.abs(np.diff(values))
    centre, mean_range = float(values.mean()), float(ranges.mean())
    low, high = centre - two.E2 * mean_range, centre + two.E2 * mean_range
    return Chart(
        centre, low, high, mean_range, two.D4 * mean_range, mean_range / two.d2,
        np.flatnonzero((values < low) | (values > high)),
        np.flatnonzero(ranges > two.D4 * mean_range) + 1,
        _runs(values, centre),
    )  # fmt: skip


@dataclass(frozen=True)
class SubgroupChart:
    """Charts of means and ranges of subgroups, three sigma of the scatter within them.

    n : readings of a subgroup.  first : index of the first reading of each.  means, ranges :
    (groups,).  centre, low, high : of the means.  range_centre, range_low, range_high : of the
    ranges.  sigma : mean range / d2.  beyond, range_beyond : subgroups beyond the limits.
    runs : subgroups that end a run of RUN or more on one side of the centre.
    """

    n: int
    first: np.ndarray
    means: Floats
    ranges: Floats
    centre: float
    low: float
    high: float
    range_centre: float
    range_low: float
    range_high: float
    sigma: float
    beyond: np.ndarray
    range_beyond: np.ndarray
    runs: np.ndarray


def subgroup_size(day: Floats) -> tuple[int, np.ndarray] | None:
    """Readings of a subgroup, and the index of the first of each whole one, where readings come in
    subgroups (such as three cans every two hours); None where they do not.

    day : (n,) in order.  Gaps within subgroups are at most a third of those between them; four
    subgroups in five must be alike in size, 2 to 25, and 8 at least.
    """
    if day.size < 16:
        return None
    gaps = np.diff(day)
    lengths = np.sort(gaps)
    for i in np.flatnonzero(lengths[1:] > 3.0 * np.maximum(lengths[:-1], _INSTANT)):
        first = np.concatenate(([0], np.flatnonzero(gaps > lengths[i]) + 1))
        size = np.diff(np.append(first, day.size))
        n = int(np.bincount(size).argmax())
        whole = size == n
        if 2 <= n <= 25 and whole.sum() >= max(8, 0.8 * size.size):
            return n, first[whole]
    return None


def subgroup_chart(values: Floats, n: int, first: np.ndarray) -> SubgroupChart:
    """Charts of means and ranges (Montgomery, Introduction to Statistical Quality Control).

    values : (readings,) in order of time.  n, first : as of `subgroup_size`.
    """
    groups = values[first[:, None] + np.arange(n)]
    means, ranges = groups.mean(axis=1), np.ptp(groups, axis=1)
    known = constants(n)
    centre, mean_range = float(means.mean()), float(ranges.mean())
    reach = known.A2 * mean_range
    low, high = known.D3 * mean_range, known.D4 * mean_range
    return SubgroupChart(
        n, first, means, ranges, centre, centre - reach, centre + reach, mean_range, low, high,
        mean_range / known.d2, np.flatnonzero(np.abs(means - centre) > reach),
        np.flatnonzero((ranges < low) | (ranges > high)), _runs(means, centre),
    )  # fmt: skip


def _runs(values: Floats, centre: float) -> np.ndarray:
    """Indices that end a run of RUN or more on one side of the centre."""
    side = np.sign(values - centre)
    starts = np.flatnonzero(np.append(True, side[1:] != side[:-1]))
    length = np.arange(values.size) - np.repeat(starts, np.diff(np.append(starts, values.size))) + 1
    return np.flatnonzero((length >= RUN) & (side != 0))
