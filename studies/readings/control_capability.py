"""Capability: how a machine's depth fits its tolerance, with confidence limits.

As observed, the scatter of the gauge included; without it only where the gauge was measured.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from domemargin.profiles.arrays import Floats
from domemargin.studies.tails import beta_quantile, chi2_quantile, f_above, normal_limit


@dataclass(frozen=True)
class Gauge:
    """Standard deviation of a gauge that was measured, mm, and its degrees of freedom."""

    deviation: float
    freedom: float = math.inf


@dataclass(frozen=True)
class Capability:
    """Indices with their confidence limits.

    cp : width of the tolerance over 6 sigma; None for a tolerance with one side.
    cpk : distance of the mean to the nearer limit over 3 sigma.  Each (value, low, high); high is
    infinite where the gauge may scatter as much as all that is seen.
    outside, outside_low, outside_high : share of readings outside, with exact binomial limits.
    effective : number of independent readings that give the spread as well as these.
    """

    cp: tuple[float, float, float] | None
    cpk: tuple[float, float, float]
    outside: float
    outside_low: float
    outside_high: float
    effective: float


def binomial_interval(count: int, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Exact limits of a share (Clopper & Pearson, Biometrika 26, 1934)."""
    rest = 0.5 * (1.0 - confidence)
    low = 0.0 if count == 0 else float(beta_quantile(rest, count, n - count + 1))
    high = 1.0 if count == n else float(beta_quantile(1.0 - rest, count + 1, n - count))
    return low, high


def capability(
    values: Floats, low: float | None, high: float | None, gauge: Gauge | None = None
) -> Capability | None:
    """Capability of readings for a tolerance, by their overall standard deviation.

    values : (n,) in order of time, n at least 3.  low, high : limits, either may be None.
    gauge : whose variance is subtracted; None: as observed.  Returns None where the gauge scatters
    as much as the readings.  Raises ValueError without a limit, or for too few readings.
    """
    n = values.size
    if n < 3 or (low is None and high is None):
        raise ValueError("capability needs 3 readings and a limit")
    mean, seen = float(values.mean()), max(float(values.std(ddof=1)), 1e-9)
    for_mean, for_spread = _worth(values)
    near = min([mean - low] if low is not None else [math.inf],
               [high - mean] if high is not None else [math.inf])[0]  # fmt: skip
    width = None if low is None or high is None else high - low
    bad = np.zeros(n, dtype=bool)
    bad |= values < low if low is not None else False
    bad |= values > high if high is not None else False
    count = int(bad.sum())
    outside = (count / n, *binomial_interval(count, n))
    if gauge is None:
        sigma = seen
        least, most = (seen * r for r in _sigma_limits(for_spread - 1.0))
    else:
        square = seen**2 - gauge.deviation**2
        if square <= 0.0:
            return None
        sigma = math.sqrt(square)
        least, most = _less_gauge(seen, for_spread - 1.0, gauge)
    # the limits of mean and sigma put together from the point: the method of variance estimates
    # recovery (Zou & Donner, Statistics in Medicine 27, 2008)
    cpk, z = near / (3.0 * sigma), normal_limit(0.025)
    by_mean = z * seen / math.sqrt(for_mean) / (3.0 * sigma)
    # beyond its limit a mean with less scatter is worse
    ends = sorted((_over(near, 3.0 * least), _over(near, 3.0 * most)))
    limits = (cpk - math.hypot(cpk - ends[0], by_mean), cpk + math.hypot(ends[1] - cpk, by_mean))
    cp = None
    if width is not None:
        cp = (width / (6.0 * sigma), width / (6.0 * most), _over(width, 6.0 * least))
    return Capability(cp, (cpk, *limits), *outside, for_spread)


def _over(length: float, sigma: float) -> float:
    return length / sigma if sigma > 0.0 else math.copysign(math.inf, length)


def _sigma_limits(freedom: float) -> tuple[float, float]:
    """95 % limits of a standard deviation over the one observed (chi-square)."""
    high, low = chi2_quantile([0.975, 0.025], freedom)
    return math.sqrt(freedom / high), math.sqrt(freedom / low)


def _less_gauge(seen: float, freedom: float, gauge: Gauge) -> tuple[float, float]:
    """95 % limits of what is left of a standard deviation when that of the gauge is taken off:
    variance estimates recovery for a difference of two variances."""
    square, off = seen**2, gauge.deviation**2
    low, high = (square * r**2 for r in _sigma_limits(freedom))
    off_low = off_high = off
    if math.isfinite(gauge.freedom):
        off_low, off_high = (off * r**2 for r in _sigma_limits(gauge.freedom))
    left = square - off
    least = left - math.hypot(square - low, off_high - off)
    return math.sqrt(max(least, 0.0)), math.sqrt(left + math.hypot(high - square, off - off_low))


def _worth(values: Floats) -> tuple[float, float]:
    """How many independent readings these are worth for their mean and for their spread.

    By the variance of means of batches over what independent readings would have (batch means);
    only where an F test finds them to follow each other, once in a hundred by chance.
    """
    n = values.size
    batches = int(math.sqrt(n))
    if batches < 5:
        return float(n), float(n)
    each = n // batches
    cut = values[: batches * each].reshape(batches, each)
    means = cut.mean(axis=1)
    within = float(np.mean(cut.var(axis=1, ddof=1)))
    between = each * float(means.var(ddof=1))
    if within <= 0.0 or f_above(between / within, batches - 1, batches * (each - 1)) > 0.01:
        return float(n), float(n)
    ratio = between / max(float(values.var(ddof=1)), 1e-18)
    alike = max((ratio - 1.0) / (ratio + 1.0), 0.0)
    return n / max(ratio, 1.0), max(n * (1.0 - alike**2) / (1.0 + alike**2), 3.0)
