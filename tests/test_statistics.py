"""Limits and chances of the studies, against distributions of scipy.stats and textbooks."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from made_readings import (
    KNOWN,
    blocks_of,
    plant,
    spread_of,
    unrelated,
    within_runs,
)
from scipy import stats
from scipy.optimize import brentq

from domemargin.studies import tails
from domemargin.studies.diagnosis.diagnosis import (
    IN_CONTROL,
    SPREAD,
    Finding,
    diagnose,
)
from domemargin.studies.diagnosis.shape import STEADY, STEP, shape_of
from domemargin.studies.diagnosis.spread import spread_of as scatter_about
from domemargin.studies.readings.control_capability import Gauge, capability
from domemargin.studies.readings.readings import Labels


def test_tails_are_those_of_scipy_stats() -> None:
    z = np.linspace(-4.0, 6.0, 21)
    np.testing.assert_allclose(tails.normal_above(z), stats.norm.sf(z), rtol=1e-12)
    share = np.array([1e-9, 0.003, 0.2, 0.5, 0.9])
    np.testing.assert_allclose(
        tails.normal_limit(share), stats.norm.isf(share), rtol=1e-12, atol=1e-15
    )
    for freedom in (1, 4, 31.5, 400):
        x = freedom * np.array([0.2, 0.9, 1.5, 3.0])
        chi2 = stats.chi2(freedom)
        np.testing.assert_allclose(tails.chi2_above(x, freedom), chi2.sf(x), rtol=1e-10)
        np.testing.assert_allclose(tails.chi2_below(x, freedom), chi2.cdf(x), rtol=1e-10)
        np.testing.assert_allclose(tails.chi2_limit(share, freedom), chi2.isf(share), rtol=1e-9)
        np.testing.assert_allclose(tails.chi2_quantile(share, freedom), chi2.ppf(share), rtol=1e-9)
        t = stats.t(freedom)
        np.testing.assert_allclose(
            tails.student_limit(share, freedom), t.isf(share), rtol=1e-8, atol=1e-12
        )
        f = stats.f(2, freedom)
        np.testing.assert_allclose(tails.f_above(x, 2, freedom), f.sf(x), rtol=1e-10)
    assert tails.f_above(-1e-12, 1, 5) == 1.0
    for a, b in ((2.0, 5.0), (0.5, 31.0)):
        np.testing.assert_allclose(
            tails.beta_quantile(share, a, b), stats.beta(a, b).ppf(share), rtol=1e-9
        )


@pytest.mark.parametrize("named", [False, True])
@pytest.mark.parametrize("size", [60, 150])
def test_limits_of_unexplained_scatter_are_those_of_a_variance(size: int, named: bool) -> None:
    """s^2 f / chi^2 at 97.5 % and 2.5 % with f = n - 1 (any statistics text; scipy.stats)."""
    rng = np.random.default_rng(size)
    noise = [unrelated(rng, size, spread) for spread in (0.03, 0.0085, 0.005)]

    def finding_of(values: np.ndarray) -> Finding:
        # two machines share no lot levels, so a reading keeps all of its scatter
        readings = plant([10.2 + values, 10.2 + noise[1]])
        if named:
            who = Labels(np.zeros(2 * size, dtype=np.int64), ("Ida",))
            readings = replace(readings, operator=who)
        return diagnose(readings, KNOWN, 10.2).findings[0]

    loose, near, calm = (finding_of(one) for one in noise)
    assert (loose.verdict, near.verdict, calm.verdict) == (SPREAD, IN_CONTROL, IN_CONTROL)
    # operators that nobody recorded scatter by 0.003 mm (common practice, no source)
    allowed = 0.006**2 + 0.004**2 + (0.0 if named else 0.003**2)
    assert loose.spread == pytest.approx(0.03, rel=1e-9)
    assert loose.unexplained == pytest.approx(math.sqrt(0.03**2 - allowed), rel=1e-9)
    freedom = size - 1
    low, high = stats.chi2(freedom).ppf([0.975, 0.025])
    for found, at in ((loose.unexplained_low, low), (loose.unexplained_high, high)):
        assert found == pytest.approx(math.sqrt(freedom * 0.03**2 / at - allowed), rel=1e-9)
    assert calm.unexplained == 0.0
    for finding, values in zip((loose, near, calm), noise):
        # the chance of such scatter where stated scatter is known to a quarter: within runs, over
        # the record with wander of 1.5 sets of 0.01 mm, and of cans beyond four deviations
        variance, free = within_runs(values)
        far = int(np.sum(np.abs(values) > 4.0 * math.sqrt(allowed)))
        chances = (
            stats.chi2(free).sf(free * variance / (1.25**2 * allowed)),
            stats.chi2(freedom).sf(
                freedom * values.var(ddof=1) / (1.25**2 * allowed + (1.5 * 0.01) ** 2)
            ),
            stats.binom(size, 0.02).sf(far - 1),
        )
        assert finding.far == far
        assert finding.spread_chance == pytest.approx(min(chances), rel=1e-6, abs=0.0)
        assert finding.effective == pytest.approx(freedom, rel=1e-12)
        assert finding.mean == pytest.approx(10.2, abs=1e-9)
        # standard error of a mean by means of blocks (batch means, any text on simulation), with
        # no less than half of the variance that is explained
        least = math.sqrt(0.5 * (0.006**2 + 0.004**2) / size)
        error = max(float(stats.sem(blocks_of(values))), least)
        assert finding.deviation_se == pytest.approx(error, rel=1e-9)


def test_the_smallest_of_three_chances_calls_scatter() -> None:
    """Within runs, over the record, cans far off (chi-square and binomial of scipy.stats); the
    record's freedom where readings follow each other is that of Bayley & Hammersley 1946 (formula
    from memory)."""
    rng = np.random.default_rng(14)
    size, seen = 192, KNOWN.seen
    noise = unrelated(rng, size, 1.0)
    wave = np.repeat(np.tile([1.0, -1.0], 12), 8)
    sign = np.where(np.arange(size) % 2 == 0, 1.0, -1.0)
    far = np.where(np.arange(size) % 16 == 5, 4.2 * sign, 0.0)
    for values, rules in (
        (1.5 * seen * noise, 0),
        (0.2 * seen * noise + 3.0 * seen * wave, 1),
        (seen * (0.5 * noise + far), 2),
    ):
        left = values - values.mean()
        found = scatter_about(left, 1, KNOWN, 0.0, 0.0)
        # one can counts for no more than four robust deviations; tails leave less freedom
        robust = 1.4826 * stats.median_abs_deviation(left)
        calm = np.clip(left, -4.0 * robust, 4.0 * robust)
        kurtosis = float(np.mean(calm**4) / np.mean(calm**2) ** 2)
        tails = 2.0 / (max(kurtosis, 3.0) - 1.0)
        alike = max(float(calm[1:] @ calm[:-1] / (calm @ calm)) + 2.0 / size, 0.0)
        freedom = tails * (size - 1) * (1.0 - alike**2) / (1.0 + alike**2)
        within, free = within_runs(calm)
        whole = float(calm @ calm) / (size - 1)
        allowed = 1.25**2 * seen**2
        many = int(np.sum(np.abs(left) > 4.0 * seen))
        chances = (
            stats.chi2(tails * free).sf(tails * free * within / allowed),
            stats.chi2(freedom).sf(freedom * whole / (allowed + (1.5 * KNOWN.set) ** 2)),
            stats.binom(size, 0.02).sf(many - 1),
        )
        assert int(np.argmin(chances)) == rules
        assert found.chance == pytest.approx(chances[rules], rel=1e-6, abs=0.0)
        assert found.freedom == pytest.approx(freedom, rel=1e-9)
        assert found.far == many


@pytest.mark.parametrize("freedom", [math.inf, 20.0])
@pytest.mark.parametrize(("low", "high"), [(10.1, 10.34), (10.1, None), (None, 10.34)])
def test_capability_of_readings_of_known_mean_and_spread(
    low: float | None, high: float | None, freedom: float
) -> None:
    """Cp and Cpk by their definition; limits of Cp by chi-square, of Cpk by those of mean and
    sigma put together (variance estimates recovery, Zou & Donner 2008, formula from memory);
    share outside by counting, its limits by scipy's own exact interval."""
    n, reading = 80, 0.012
    values = 10.23 + spread_of(np.random.default_rng(9).standard_normal(n), 0.05)
    found = capability(values, low, high, Gauge(reading, freedom))
    assert found is not None
    assert found.effective == n
    sigma = math.sqrt(0.05**2 - reading**2)
    sides = [10.23 - low] if low is not None else []
    sides += [high - 10.23] if high is not None else []
    cpk = min(sides) / (3.0 * sigma)
    # limits of what was seen; of the gauge, which are its own value where it is known
    seen = (n - 1) * 0.05**2 / stats.chi2(n - 1).ppf([0.975, 0.025])
    gauge = np.full(2, reading**2)
    if math.isfinite(freedom):
        gauge = freedom * reading**2 / stats.chi2(freedom).ppf([0.975, 0.025])
    least = sigma**2 - math.hypot(0.05**2 - seen[0], gauge[1] - reading**2)
    most = sigma**2 + math.hypot(seen[1] - 0.05**2, reading**2 - gauge[0])
    if math.isinf(freedom):  # a known variance is plainly taken off both limits
        assert (least, most) == pytest.approx(tuple(seen - reading**2), rel=1e-12)
    mean = stats.norm.ppf(0.975) * 0.05 / math.sqrt(n) / (3.0 * sigma)
    ends = min(sides) / (3.0 * np.sqrt([most, least]))
    limits = cpk - math.hypot(cpk - ends[0], mean), cpk + math.hypot(ends[1] - cpk, mean)
    assert found.cpk == pytest.approx((cpk, *limits), rel=1e-9)
    if low is None or high is None:
        assert found.cp is None
    else:
        cp = (high - low) / (6.0 * np.sqrt([sigma**2, most, least]))
        assert found.cp == pytest.approx(tuple(cp), rel=1e-9)
    outside = int(np.sum(values < (low or 0.0)) + np.sum(values > (high or 99.0)))
    exact = stats.binomtest(outside, n).proportion_ci(0.95, "exact")
    assert found.outside == outside / n
    assert (found.outside_low, found.outside_high) == pytest.approx((exact.low, exact.high))
    # a gauge that scatters like the readings leaves nothing to judge
    assert capability(values, 10.0, 10.5, Gauge(0.06, freedom)) is None
    # one that may do so leaves no upper limit
    little = capability(values, 10.0, 10.5, Gauge(0.048, freedom))
    assert little is not None
    assert little.cpk[0] == pytest.approx(0.23 / (3.0 * 0.014))
    assert little.cpk[2] == math.inf


@pytest.mark.parametrize("n", [20, 80])
def test_limits_of_capability_for_one_limit_against_the_noncentral_t(n: int) -> None:
    """Exact limits of (mean - low) / 3 s of normal readings: the noncentral t (scipy.stats)."""
    values = spread_of(np.random.default_rng(3).standard_normal(n), 1.0)
    found = capability(4.0 + values, 0.0, None)
    assert found is not None
    t = 4.0 * math.sqrt(n)

    def share(noncentral: float) -> float:
        return float(stats.nct.cdf(t, n - 1, noncentral))

    for limit, at in zip(found.cpk[1:], (0.975, 0.025)):
        exact = brentq(lambda x, at=at: share(x) - at, 0.2 * t, 2.0 * t) / (3.0 * math.sqrt(n))
        # recovery is an approximation: better than 2 % at 20 readings
        assert limit == pytest.approx(exact, rel=0.02 if n == 20 else 0.005)


def test_the_chance_of_a_step_is_that_of_a_difference_of_means() -> None:
    """Two-sided normal chance of the difference over its standard error, by means of blocks of
    which none follows another (any statistics text; scipy.stats)."""
    rng = np.random.default_rng(7)
    day = np.arange(120) / 4.0
    noise = np.concatenate([unrelated(rng, 60, 0.006) for _ in range(2)])
    for size in (0.0065, 0.008, -0.012):
        rest = noise + np.where(day >= 15.0, size, 0.0)
        found = shape_of(day, rest, 0.004)
        assert (found.kind, found.at_day) == (STEP, 15.0)
        assert found.change == pytest.approx(size, rel=1e-9)
        # pooled over 60 blocks of two readings, less two levels and the place of the step
        blocks = noise.reshape(-1, 2).mean(axis=1)
        error = math.sqrt(2.0 * float(blocks @ blocks) / 57.0 * (1.0 / 60 + 1.0 / 60))
        chance = 2.0 * stats.norm.sf(abs(size) / error)
        assert found.chance == pytest.approx(chance, rel=1e-6, abs=0.0)


def test_healthy_machines_are_seldom_called_moving() -> None:
    rng = np.random.default_rng(12)
    day = np.linspace(0.0, 28.0, 120)
    draws = 1500
    moving = sum(
        shape_of(day, rng.normal(0.0, 0.02, 120), 0.02).kind != STEADY for _ in range(draws)
    )
    # a change is called beyond four standard errors, looked for in 57 places between 60 blocks and
    # as three forms of trend: Bonferroni's bound of the normal chance
    assert moving <= stats.binom.ppf(0.999, draws, 60 * 2.0 * stats.norm.sf(4.0))
