"""Whether a machine scatters more than is explained: from can to can, now and then, or by wander.

Changes of set are not scatter, so scatter is taken within short runs of readings.  Slower wander is
judged by itself, with an allowance for the scatter of the set.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from domemargin.profiles.arrays import Floats
from domemargin.studies.diagnosis.scatter import Explained
from domemargin.studies.tails import chi2_above, chi2_below, chi2_limit, chi2_quantile

RUN = 8  # readings in a run
# scatter counts as unexplained beyond this multiple of what is explained (stated scatter is not
# known better), and must be excluded at twice it before a level is reported
SLACK, EXCLUDED = 1.25, 2.0
CHANCE_SPREAD = 2e-4  # chance of reporting scatter that is explained
_CHANCE_EXCLUDED = 0.05  # chance of excluding scatter of twice what is explained
_DOUBT = 0.005  # with rarer scatter no level is reported as the cause
_WANDER, _WANDER_EXCLUDED = 1.5, 2.0  # of the scatter of the set that slow wander may have
FAR, _FAR_SHARE = 4.0, 0.02  # explained deviations, and the share of cans beyond them at most
_CLIP = 4.0  # robust standard deviations beyond which one can counts no more


@dataclass(frozen=True)
class Spread:
    """Scatter about the shape that was found.

    variance, freedom : from can to can over the record, mm^2, with degrees of freedom that count
    readings which follow each other, and heavy tails, as fewer.
    allowed : variance that is explained, mm^2.
    chance : probability of so much scatter, intermittent or steady, if it were explained.
    excluded : whether twice the explained scatter is excluded; doubt : whether scatter is so large
    that no level should be reported as cause.  far : cans far off.  more : readings still needed.
    trend_error : standard error of a straight trend over the record, mm.
    """

    variance: float
    freedom: float
    allowed: float
    chance: float
    excluded: bool
    doubt: bool
    far: int
    more: int
    trend_error: float

    @property
    def called(self) -> bool:
        """Whether the scatter is beyond what is explained."""
        return self.chance < CHANCE_SPREAD


def spread_of(
    left: Floats, parameters: int, explained: Explained, lot: float, grain: float
) -> Spread:
    """Scatter of one machine's readings about their shape.

    left : (n,) in order of time, mm.  parameters : of the shape.  lot : standard deviation
    between sheet lots, and operators, where they are not taken off.  grain : step of the
    readings, mm.
    """
    n = left.size
    rounding = grain**2 / 12.0
    allowed = explained.seen**2 + lot**2 + rounding
    calm = _calm(left, grain)
    tails = _tails(calm)
    # by runs: what moves slowly drops out with their means
    starts = np.arange(0, max(n - RUN // 2, 1), RUN)
    size = np.diff(np.append(starts, n))
    means = np.add.reduceat(calm, starts) / size
    within = calm - np.repeat(means, size)
    free = max(n - starts.size - 1.0, 1.0) if n > RUN else max(n - float(parameters), 1.0)
    near = float(within @ within) / free
    free *= tails
    # over the record, less sure by as much as readings follow each other
    alike = _alike(calm, parameters)
    freedom = max((n - parameters) * (1.0 - alike**2) / (1.0 + alike**2) * tails, 1.0)
    whole = float(calm @ calm) / max(n - parameters, 1)
    slow = (_WANDER * explained.set) ** 2
    far = int(np.count_nonzero(np.abs(left) > FAR * math.sqrt(allowed)))
    chances = (
        float(chi2_above(free * near / (SLACK**2 * allowed), free)),
        float(chi2_above(freedom * whole / (SLACK**2 * allowed + slow), freedom)),
        _binomial(far, n, _FAR_SHARE),
    )
    slower = (_WANDER_EXCLUDED * explained.set) ** 2
    below = (
        float(chi2_below(free * near / (EXCLUDED**2 * allowed), free)),
        float(chi2_below(freedom * whole / (EXCLUDED**2 * allowed + slower), freedom)),
    )
    excluded = max(below) < _CHANCE_EXCLUDED
    raw = float(left @ left) / max(n - parameters, 1)
    return Spread(
        raw, freedom, allowed, min(chances), excluded, min(chances) < _DOUBT, far,
        0 if excluded else _more(near / allowed, free, n),
        math.sqrt(12.0 * whole / n * (1.0 + alike) / (1.0 - alike)),
    )  # fmt: skip


def enough_readings() -> int:
    """Readings that show twice the explained scatter nine times in ten, and do not call what is
    explained: chi-square test of a variance (any statistics text), a mean taken off each run."""
    for freedom in range(4, 10_000):
        limit = SLACK**2 * float(chi2_limit(CHANCE_SPREAD, freedom))
        if limit <= EXCLUDED**2 * float(chi2_quantile(0.1, freedom)):
            return math.ceil((freedom + 1) * RUN / (RUN - 1))
    raise AssertionError("no number of readings is enough")


def _calm(left: Floats, grain: float) -> Floats:
    # coarse readings may have a median deviation of none
    spread = 1.4826 * float(np.median(np.abs(left - np.median(left))))
    reach = _CLIP * max(spread, 1e-3, 0.6 * grain)
    return np.asarray(np.clip(left, -reach, reach))


def _tails(left: Floats) -> float:
    """Degrees of freedom of a variance over those of normal readings: 2 / (kurtosis - 1)."""
    squares = left * left
    square = float(squares.mean())
    if square <= 0.0:
        return 1.0
    return 2.0 / (max(float(squares @ squares) / left.size / square**2, 3.0) - 1.0)


def _alike(left: Floats, parameters: int) -> float:
    """Correlation of a reading with the one before; what fitted levels hide is put back."""
    whole = float(left @ left)
    if whole <= 0.0 or left.size < 3:
        return 0.0
    found = float(left[1:] @ left[:-1]) / whole + (1.0 + parameters) / left.size
    return min(max(found, 0.0), 0.95)


def _binomial(count: int, n: int, share: float) -> float:
    """Probability of at least so many."""
    from scipy.special import bdtrc

    return 1.0 if count == 0 else float(bdtrc(count - 1, n, share))


def _more(ratio: float, freedom: float, n: int) -> int:
    """Readings still needed until such scatter is either reported or excluded."""
    each = freedom / max(n, 1)
    for more in range(1, 5_000):
        free = freedom + each * more
        called = chi2_above(free * ratio / SLACK**2, free) < CHANCE_SPREAD
        cleared = chi2_below(free * ratio / EXCLUDED**2, free) < _CHANCE_EXCLUDED
        if called or cleared:
            return more
    return 5_000
