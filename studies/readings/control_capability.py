"""Capability: how a machine's depth fits its tolerance, with confidence limits."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from domemargin.studies.margin.tails import beta_quantile, chi2_quantile, normal_limit
from domemargin.studies.readings.readings import Floats


@dataclass(frozen=True)
class Capability:
    """Indices with their confidence limits.

    cp : width of the tolerance over 6 sigma; None for a tolerance with one side.
    cpk : distance of the mean to the nearer limit over 3 sigma.  Each (value, low, high).
    outside, outside_low, outside_high : share of readings outside, with exact binomial limits.
    """

    cp: tuple[float, float, float] | None
    cpk: tuple[float, float, float]
    outside: float
    outside_low: float
    outside_high: float


def cp_interval(cp: float, freedom: int, confidence: float = 0.95) -> tuple[float, float]:
    """Limits of Cp: exact for a normal variable (chi-square; Montgomery, Introduction to
    Statistical Quality Control, process capability)."""
    rest = 0.5 * (1.0 - confidence)
    low, high = chi2_quantile([rest, 1.0 - rest], freedom)
    return cp * math.sqrt(low / freedom), cp * math.sqrt(high / freedom)


def cpk_interval(cpk: float, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Limits of Cpk, approximate (Bissell, Applied Statistics 39, 1990)."""
    z = normal_limit(0.5 * (1.0 - confidence))
    half = z * math.sqrt(1.0 / (9.0 * n) + cpk**2 / (2.0 * (n - 1)))
    return cpk - half, cpk + half


def binomial_interval(count: int, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Exact limits of a share (Clopper & Pearson, Biometrika 26, 1934)."""
    rest = 0.5 * (1.0 - confidence)
    low = 0.0 if count == 0 else float(beta_quantile(rest, count, n - count + 1))
    high = 1.0 if count == n else float(beta_quantile(1.0 - rest, count + 1, n - count))
    return low, high


def capability(
    values: Floats, low: float | None, high: float | None, reading: float = 0.0
) -> Capability:
    """Capability of readings for a tolerance, by their overall standard deviation.

    values : (n,), n at least 3.  low, high : limits, either may be None.
    reading : standard deviation of the gauge, taken off.
    Raises ValueError without a limit, or for too few readings.
    """
    n = values.size
    if n < 3 or (low is None and high is None):
        raise ValueError("capability needs 3 readings and a limit")
    mean, seen = float(values.mean()), float(values.std(ddof=1))
    # never below a tenth of what is seen: a gauge study is no licence to divide by nothing
    sigma = max(math.sqrt(max(seen**2 - reading**2, 0.0)), 0.1 * seen, 1e-9)
    near = min([mean - low] if low is not None else [math.inf],
               [high - mean] if high is not None else [math.inf])[0] / (3.0 * sigma)  # fmt: skip
    cp = None
    if low is not None and high is not None:
        ratio = (high - low) / (6.0 * sigma)
        cp = (ratio, *cp_interval(ratio, n - 1))
    bad = np.zeros(n, dtype=bool)
    bad |= values < low if low is not None else False
    bad |= values > high if high is not None else False
    count = int(bad.sum())
    return Capability(cp, (near, *cpk_interval(near, n)), count / n, *binomial_interval(count, n))
