"""Level and slope of the model by reversal tests: small-sample Bayes on a grid.

A test of a can says ln p = a + s x + lot + noise, with x the logarithm of the model's pressure less
its mean.  Priors: a about 0 and s about 1 as well as the model is known without tests; lots and
noise by what sheet and rig are known to do, the noise itself uncertain.  A test stopped before
reversal says that p lies above (censored; any text on survival analysis).  A few tests may be
of another kind than the rest: noise is a mixture with a wide component (any text on robust
regression).  All is summed over a grid, lots by Gauss-Hermite quadrature: no chain, same bits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr, logsumexp

from domemargin.profiles.arrays import Floats, Ints
from domemargin.studies.readings.calibration import LEVEL_KNOWN, SLOPE_KNOWN

# standard deviations as shares; common practice, no source: cans of one lot with the rig, and
# between lots of sheet
NOISE, LOT = 0.0156, 0.0075
NOISE_KNOWN = 0.35  # standard deviation of the logarithm of NOISE
WRONG, WIDE = 0.03, 0.15  # share of tests of another kind, and how far off those are
_LEVELS, _SLOPES, _NOISES, _LOTS = 41, 15, 7, 5
_Z = 1.959964  # of the normal law, central 95 %
_REACH = 4.0  # standard deviations of the prior


@dataclass(frozen=True)
class Posterior:
    """level, level_sd : middle of the central 95 % of a, the logarithm of measured over modelled,
    and its half over 1.96: outliers give it long tails.  slope, slope_sd : of s.  covariance : of
    both.  noise : mean of the noise.  wrong : (n,) chance that a test is of another kind than the
    rest."""

    level: float
    level_sd: float
    slope: float
    slope_sd: float
    covariance: float
    noise: float
    wrong: Floats


def posterior(
    x: Floats,
    y: Floats,
    stopped: Floats,
    lot: Ints,
    rig: Floats,
) -> Posterior:
    """Level and slope from tests.

    x : (n,) logarithm of modelled pressure less its mean.  y : (n,) logarithm of measured over
    modelled pressure at the mean, so that y = a + s x.  stopped : (n,) whether stopped before
    reversal.  lot : (n,) number of the lot.  rig : (n,) error of the pressure gauge, share.
    """
    spread = float(np.ptp(x))
    a = _levels(x, y, stopped, np.unique(lot).size)
    s, s_weight = _grid(1.0, SLOPE_KNOWN, _SLOPES if spread > 1e-4 else 1, 3.5)
    noise, noise_weight = _grid(np.log(NOISE), NOISE_KNOWN, _NOISES, 3.0)
    node, node_weight = np.polynomial.hermite_e.hermegauss(_LOTS)
    node_weight = np.log(node_weight / node_weight.sum())
    a_weight = -0.5 * (a / LEVEL_KNOWN) ** 2
    sigma = np.exp(noise)
    # axes: level, slope, noise, lot node
    mean = a[:, None, None, None] + LOT * node
    total = a_weight[:, None, None] + s_weight[:, None] + noise_weight
    odd: dict[int, Floats] = {}
    for one in np.unique(lot):
        rows = np.flatnonzero(lot == one)
        by_lot = np.zeros((a.size, s.size, sigma.size, _LOTS)) + node_weight
        for i in rows:
            middle = mean + s[:, None, None] * x[i]
            width = np.hypot(sigma, rig[i])[:, None]
            wide = np.hypot(width, WIDE)
            usual = np.log1p(-WRONG) + _log_density(y[i], middle, width, bool(stopped[i]))
            other = np.log(WRONG) + _log_density(y[i], middle, wide, bool(stopped[i]))
            both = np.logaddexp(usual, other)
            by_lot = by_lot + both
            odd[int(i)] = other - both
        lots = logsumexp(by_lot, axis=-1)
        total = total + lots
        inner = np.exp(by_lot - lots[..., None])
        for i in rows:  # chance of another kind, still by level, slope and noise
            odd[int(i)] = np.sum(inner * np.exp(odd[int(i)]), axis=-1)
    share = np.exp(total - logsumexp(total))
    slope = float(np.einsum("ijk,j->", share, s))
    low, high = _ends(a, share.sum(axis=(1, 2)))
    level, level_sd = 0.5 * (low + high), 0.5 * (high - low) / _Z
    da, ds = a - float(np.einsum("ijk,i->", share, a)), s - slope
    of_slope = float(np.einsum("ijk,j->", share, ds**2)) if s.size > 1 else SLOPE_KNOWN**2
    covariance = float(np.einsum("ijk,i,j->", share, da, ds))
    wrong = np.array([float(np.sum(share * odd[i])) for i in range(len(x))])
    return Posterior(
        level, level_sd, slope, of_slope**0.5, covariance,
        float(np.einsum("ijk,k->", share, sigma)), wrong,
    )  # fmt: skip


def _grid(centre: float, deviation: float, number: int, reach: float) -> tuple[Floats, Floats]:
    """Points and logarithms of the weights of a normal prior."""
    if number == 1:
        return np.array([centre]), np.zeros(1)
    z = np.linspace(-reach, reach, number)
    return centre + deviation * z, -0.5 * z * z


def _levels(x: Floats, y: Floats, stopped: Floats, lots: int) -> Floats:
    """Levels from end to end of the prior, further where tests lie beyond it, as close as the tests
    can tell them apart: a sum over a normal curve is exact for steps up to its deviation."""
    low, high = -_REACH * LEVEL_KNOWN, _REACH * LEVEL_KNOWN
    known = y[~stopped.astype(bool)] - x[~stopped.astype(bool)]
    told = (NOISE**2 / max(known.size, 1) + LOT**2 / lots) ** 0.5
    if known.size:
        middle = float(np.median(known))
        low, high = min(low, middle - 4.0 * told), max(high, middle + 4.0 * told)
    return np.linspace(low, high, max(_LEVELS, math.ceil((high - low) / (0.6 * told))))


def _ends(points: Floats, share: Floats) -> tuple[float, float]:
    """Ends of the central 95 % of shares at even points."""
    from scipy.interpolate import PchipInterpolator

    step = 0.5 * (points[1] - points[0])
    below = PchipInterpolator(
        np.append(points - step, points[-1] + step), np.append(0, share.cumsum())
    )
    fine = np.linspace(points[0] - step, points[-1] + step, 20_001)
    low, high = np.searchsorted(below(fine), (0.025, 0.975))
    return float(fine[low]), float(fine[min(high, fine.size - 1)])


def _log_density(y: float, middle: Floats, width: Floats, stopped: bool) -> Floats:
    z = (y - middle) / width
    if stopped:
        return np.asarray(log_ndtr(-z))
    return np.asarray(-0.5 * z * z - np.log(width))
