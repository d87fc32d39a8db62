"""Limits, chances and slopes of the studies, against scipy.stats, statsmodels and textbooks."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats
from scipy.optimize import brentq

from domemargin.fea.core.settings import Settings
from domemargin.profiles import load_profile
from domemargin.profiles.units import PSI
from domemargin.studies import tails
from domemargin.studies.diagnosis.diagnosis import (
    IN_CONTROL,
    NOT_ENOUGH,
    OFFSET,
    SMALL_STEP,
    SPREAD,
    Finding,
    diagnose,
)
from domemargin.studies.diagnosis.levels import levels_of, times_for_lots
from domemargin.studies.diagnosis.plant_generator import Cause, Plant, generate
from domemargin.studies.diagnosis.scatter import Explained, KnownScatter, Slopes, explained_spread
from domemargin.studies.diagnosis.shape import STEADY, STEP, TREND, shape_of
from domemargin.studies.diagnosis.spread import enough_readings
from domemargin.studies.diagnosis.spread import spread_of as scatter_about
from domemargin.studies.margin.slopes import slope_of
from domemargin.studies.margin.surrogate import fitted
from domemargin.studies.margin.tolerable import RESOLUTION, most_loss, tolerable_loss
from domemargin.studies.readings.control_capability import Gauge, capability
from domemargin.studies.readings.readings import Labels, Readings, no_labels
from domemargin.studies.study.study_file import load_study

# --- distributions -------------------------------------------------------------------------------


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


# --- what is explained ---------------------------------------------------------------------------


def test_explained_scatter_is_that_of_drawn_causes() -> None:
    """Brute force: 400,000 cans with normal causes, a share of whose variance lies between lots."""
    slopes = Slopes(gauge=0.5, yield_strength=-0.6, friction=0.3, set=-2.0)
    scatter = KnownScatter(0.01, 0.02, 0.04, 0.015, between_lots=0.25, gauge_reading=0.006)
    found = explained_spread(scatter, slopes)
    rng = np.random.default_rng(4)
    lots, cans = 4000, 100
    depth = np.zeros((lots, cans))
    for slope, spread in ((0.5, 0.01), (-0.6, 0.02), (0.3, 0.04)):
        lot = rng.normal(0.0, spread * math.sqrt(0.25), (lots, 1))
        depth += slope * (lot + rng.normal(0.0, spread * math.sqrt(0.75), (lots, cans)))
    assert found.can == pytest.approx(math.sqrt(depth.var(axis=1, ddof=1).mean()), rel=0.01)
    assert found.sheet == pytest.approx(depth.std(), rel=0.02)
    between = depth.mean(axis=1).var(ddof=1) - found.can**2 / cans
    assert found.lot == pytest.approx(math.sqrt(between), rel=0.05)
    # of lots is the smaller share here, and never that of the cans
    assert found.lot == pytest.approx(found.can / math.sqrt(3.0), rel=1e-12)
    read = depth + rng.normal(0.0, 0.006, depth.shape)
    assert found.seen == pytest.approx(math.sqrt(read.var(axis=1, ddof=1).mean()), rel=0.01)
    assert found.set == pytest.approx(2.0 * 0.015)
    assert found.reading == 0.006


# --- a machine's numbers -------------------------------------------------------------------------

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


def test_readings_that_follow_each_other_count_as_fewer() -> None:
    """By drawing, the freedom of a variance is 2 E^2 / var of it; a mean has its error in closed
    form; readings of which each keeps half of the one before."""
    rng = np.random.default_rng(6)
    size, draws, keep = 400, 2000, 0.5
    x = rng.standard_normal((size + 50, draws))
    for i in range(1, size + 50):
        x[i] += keep * x[i - 1]
    x = 0.0072 * math.sqrt(1.0 - keep**2) * x[50:]
    spreads = [scatter_about(one - one.mean(), 1, KNOWN, 0.0, 0.0) for one in x.T]
    variance = x.var(axis=0, ddof=1)
    # a variance of 2000 draws is known to 3 %
    real = 2.0 * variance.mean() ** 2 / variance.var()
    assert np.mean([one.freedom for one in spreads]) == pytest.approx(real, rel=0.1)
    assert real < 0.7 * size
    # short records, of which blocks of three readings still follow each other; the variance of
    # their mean is the sum of all covariances
    n = 150
    shapes = [shape_of(np.arange(n) / 4.0, one, 0.0072) for one in x[:n, :1000].T]
    errors = [one.level_error for one in shapes if one.parameters == 1]
    assert len(errors) > 950
    apart = np.abs(np.arange(n)[:, None] - np.arange(n)[None, :])
    exact = 0.0072 / n * math.sqrt(float((keep**apart).sum()))
    # what is estimated of so few blocks errs to the safe side
    assert 1.0 <= math.sqrt(float(np.mean(np.square(errors)))) / exact <= 1.15


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


def test_a_level_that_is_off_counts_from_three_and_a_half_deviations_of_the_set() -> None:
    rng = np.random.default_rng(8)
    for off, verdict in ((0.033, IN_CONTROL), (0.040, OFFSET), (-0.040, OFFSET)):
        depths = [10.2 + spread_of(rng.standard_normal(120), 0.006) for _ in range(2)]
        depths[1] = depths[1] + off
        found = diagnose(plant(depths), KNOWN, 10.2).findings
        assert [one.verdict for one in found] == [IN_CONTROL, verdict], off
        assert found[1].deviation == pytest.approx(off, abs=1e-9)
        assert found[0].deviation == pytest.approx(0.0, abs=1e-9)


def test_readings_that_are_enough_by_brute_force() -> None:
    """The first sample whose 1 - 2e-4 limit lies below the 10 % point of twice the scatter."""
    n = enough_readings()
    freedoms = np.arange(4, 400)
    limit = 1.25**2 * stats.chi2.isf(2e-4, freedoms)
    enough = freedoms[limit <= 4.0 * stats.chi2.ppf(0.1, freedoms)][0]
    # the first number of readings that keeps as many beside the means of its runs and a shape
    assert n == next(k for k in range(8, 400) if within_runs(np.zeros(k))[1] >= enough)
    # by drawing: scatter of twice what is explained is called nine times in ten
    rng = np.random.default_rng(0)
    variance = rng.standard_normal((20_000, int(enough) + 1)).var(axis=1, ddof=1) * 4.0
    called = variance > 1.25**2 * stats.chi2.isf(2e-4, enough) / enough
    assert called.mean() == pytest.approx(0.9, abs=0.02)
    draws = rng.standard_normal((4000, n))
    about = draws - draws.mean(axis=1)[:, None]
    for times, share, within in ((2.0, 0.9, 0.02), (1.0, 0.0, 0.0)):
        found = [scatter_about(times * KNOWN.seen * one, 1, KNOWN, 0.0, 0.0) for one in about]
        assert np.mean([one.called for one in found]) == pytest.approx(share, abs=within), times
    # and at a quarter more than stated hardly ever: 2e-4 by scatter within runs, as much at most
    # by the record and by cans far off (Bonferroni)
    found = [scatter_about(1.25 * KNOWN.seen * one, 1, KNOWN, 0.0, 0.0) for one in about]
    assert sum(one.called for one in found) <= stats.binom.ppf(0.999, 4000, 3 * 2e-4)
    short = 10.2 + spread_of(rng.standard_normal(n - 2), 0.006)
    diagnosed = diagnose(plant([short, short]), KNOWN, 10.2).findings[0]
    assert (diagnosed.verdict, diagnosed.more) == (NOT_ENOUGH, 2)


def test_readings_still_needed_where_scatter_is_neither_called_nor_excluded() -> None:
    """Brute force over numbers of readings with chi-square tests of a variance (scipy.stats)."""
    rng = np.random.default_rng(3)
    allowed = 0.006**2 + 0.004**2 + 0.003**2
    for ratio in (2.77, 2.8, 2.85, 2.9):
        size = enough_readings() + 1
        found, freedom = scattering(rng, size, math.sqrt(ratio * allowed))
        assert found.verdict == NOT_ENOUGH
        more = np.arange(1, 5000)
        # every reading more brings as much as one has brought so far
        free = freedom * (1.0 + more / size)
        decided = (stats.chi2.sf(free * ratio / 1.25**2, free) < 2e-4) | (
            stats.chi2.cdf(free * ratio / 2.0**2, free) < 0.05
        )
        assert found.more == more[decided][0] > 1
        # with so many more of the same scatter, in whole runs, there is a verdict
        found, _ = scattering(rng, size + -(-found.more // 8) * 8, math.sqrt(ratio * allowed))
        assert found.verdict != NOT_ENOUGH


def scattering(rng: np.random.Generator, size: int, spread: float) -> tuple[Finding, int]:
    """Finding on a machine that scatters so within runs, with the freedom of that."""
    noise = unrelated(rng, size, 1.0)
    variance, freedom = within_runs(noise)
    depth = 10.2 + noise * spread / math.sqrt(variance)
    return diagnose(plant([depth, depth]), KNOWN, 10.2).findings[0], freedom


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


def test_levels_of_lots_and_operators_are_those_put_in() -> None:
    """No noise: what was added to lots comes out, over the middle one."""
    per = 40
    base = np.array([10.1, 10.2, 10.35, 10.2])
    readings = plant([np.full(per, level) for level in base], lots=True)
    shift = np.array([0.0, 0.03, -0.02, 0.01, 0.04])
    readings = replace(readings, depth=readings.depth + shift[readings.lot.codes])
    found = levels_of(readings)
    assert found.lot_known.all()
    np.testing.assert_allclose(found.lot, shift - np.median(shift), atol=1e-9)
    machine = found.rest - np.median(shift)
    np.testing.assert_allclose(machine, base[readings.machine.codes], atol=1e-9)
    # two machines cannot tell a lot from themselves
    two = levels_of(replace(readings.at(readings.machine.codes < 2)))
    assert not two.lot_known.any()
    np.testing.assert_array_equal(two.lot, 0.0)
    # operators, told apart on the same machines
    who = Labels(np.arange(len(readings)) % 3, ("x", "y", "z"))
    add = np.array([0.0, 0.05, -0.01])
    worked = replace(readings, operator=who, depth=readings.depth + add[who.codes])
    found = levels_of(worked)
    np.testing.assert_allclose(found.operator, add - np.median(add), atol=1e-6)
    np.testing.assert_allclose(found.lot, shift - np.median(shift), atol=1e-6)


def test_error_of_a_lot_is_that_of_a_median() -> None:
    """Asymptotic error of a median, 1.2533 s / sqrt(n): by drawing levels again and again."""
    rng = np.random.default_rng(11)
    stated, levels = [], []
    for _ in range(40):
        # twelve lots on eight machines; a machine's cells scatter by 0.01
        depths = [10.2 + np.repeat(rng.normal(0.0, 0.01, 12), 8) for _ in range(8)]
        found = levels_of(plant(depths, lots=True))
        stated.append(found.lot_se)
        levels.append(found.lot)
    real = float(np.std(levels))
    assert float(np.mean(stated)) == pytest.approx(real, rel=0.3)


def test_times_stand_for_lots_that_are_not_given() -> None:
    """Four readings of a machine a time, so a day here: 10 days are 10 times."""
    readings = plant([np.full(41, 10.2)] * 3)
    timed = times_for_lots(readings)
    counts = np.bincount(timed.lot.codes)
    # 123 readings of 3 machines in 10 days: a machine has four in 4 * 10 * 3 / 123 days
    times = int(10.0 / (4.0 * 10.0 * 3.0 / 123.0))
    assert counts.size == times == len(timed.lot.names)
    edges = np.minimum((readings.day / 10.0 * times).astype(int), times - 1)
    np.testing.assert_array_equal(timed.lot.codes, edges)
    middles = (np.arange(times) + 0.5) * 10.0 / times
    assert [float(name.split()[-1]) for name in timed.lot.names] == pytest.approx(
        middles, abs=0.051
    )


# --- shapes over time ----------------------------------------------------------------------------


def test_shape_of_a_record_is_the_one_put_in() -> None:
    rng = np.random.default_rng(2)
    day = np.linspace(3.0, 31.0, 240)
    noise = spread_of(rng.standard_normal(240), 0.006)
    found = shape_of(day, noise, 0.006)
    assert (found.kind, found.change, found.parameters) == (STEADY, 0.0, 1)
    line = shape_of(day, noise - 0.1 * (day - 3.0) / 28.0, 0.006)
    assert line.kind == TREND
    # least squares of a line (statsmodels)
    fit = sm.OLS(noise - 0.1 * (day - 3.0) / 28.0, sm.add_constant((day - 3.0) / 28.0)).fit()
    assert line.change == pytest.approx(float(fit.params[1]), abs=0.004)
    assert np.ptp(line.fitted) == pytest.approx(abs(line.change), rel=1e-6)
    for at, size in ((100, 0.06), (180, -0.05), (100, 0.02)):
        jump = np.where(np.arange(240) >= at, size, 0.0)
        step = shape_of(day, noise + jump, 0.006)
        assert step.kind == STEP
        exact = float((noise + jump)[at:].mean() - (noise + jump)[:at].mean())
        assert step.change == pytest.approx(exact, abs=0.004)
        assert step.at_day == pytest.approx(day[at], abs=0.6)
        assert float(step.fitted[-1] - step.fitted[0]) == pytest.approx(exact, abs=0.004)
    # a step within two standard errors of a difference of means is none
    little = 2.0 * 0.006 * math.sqrt(1.0 / 100 + 1.0 / 140)
    for size in (little, -little):
        jump = np.where(np.arange(240) >= 100, size, 0.0)
        assert shape_of(day, noise + jump, 0.006).kind == STEADY
    # a relaxing spring moves fast at first
    gone = 0.15 * (1.0 - np.exp(-(day - 3.0) / 28.0 / 0.2))
    relaxing = shape_of(day, noise - gone, 0.006)
    assert relaxing.kind == TREND
    assert relaxing.change == pytest.approx(-float(gone[-1]), abs=0.006)
    assert np.abs(relaxing.fitted - relaxing.fitted.mean() + gone - gone.mean()).max() < 0.004


def test_a_step_that_is_not_worth_it_is_reported_but_not_blamed() -> None:
    """A step that no log shows counts from 2.5 deviations of the set (0.01 mm) where such are
    rare, and a level from 3.5 (common practice, no source)."""
    rng = np.random.default_rng(5)
    noise = [unrelated(rng, 240, 0.006) for _ in range(2)]
    for size, verdict in ((0.02, IN_CONTROL), (0.03, SMALL_STEP), (0.06, OFFSET)):
        moved = noise[0] + np.where(np.arange(240) >= 100, -size, 0.0)
        # two machines share no lot levels, so a reading keeps all of its step
        first, other = diagnose(plant([10.2 + moved, 10.2 + noise[1]]), KNOWN, 10.2).findings
        assert first.verdict == verdict, size
        assert other.verdict == IN_CONTROL
        assert first.shape.change == pytest.approx(-size, abs=0.003)
        if verdict == IN_CONTROL:
            assert any(f"{first.shape.change:+.3f} mm" in one for one in first.also)


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


# --- slopes of the reversal pressure -------------------------------------------------------------


def answering(psi):
    """A solver that answers with a formula of the bottom, psi."""

    def solve(profile, settings):
        return SimpleNamespace(reversal_pressure_mpa=psi(profile) * PSI, kind="limit", reason="")

    return solve


def test_slope_is_a_central_difference_and_its_error_says_what_is_bent() -> None:
    """A cubic a x + c x^3 has the central difference a + c h^2 (Taylor; any textbook)."""
    base = load_profile("north")
    middle = base.sheet.bottom_gauge
    step = 0.004 * middle

    def psi(profile) -> float:
        x = (profile.sheet.bottom_gauge - middle) / step
        return 90.0 + 2.0 * x - 0.1 * x * x + 0.3 * x**3

    found = slope_of(base, Settings(), "bottom_gauge", answering(psi))
    assert found.per == "0.01 mm"
    assert found.psi == pytest.approx((2.0 + 0.3) * 0.01 / step, rel=1e-9)
    # roughness of the pressure over the step, and the resolution's share of the slope
    rough = math.hypot(4e-6 * 90.0 / step, 4.0 * 5e-4 * 2.3 / step)
    assert found.error == pytest.approx(rough * 0.01 / step * step, rel=1e-6)

    def jumps(profile) -> float:  # a switch 2 psi high between the two solves
        return psi(profile) + 2.0 * (profile.sheet.bottom_gauge > middle)

    found = slope_of(base, Settings(), "bottom_gauge", answering(jumps))
    assert found.error is not None
    assert found.psi is not None
    assert abs(found.psi - 2.3 * 0.01 / step) <= found.error * 1.12


def test_steps_and_units_of_slopes() -> None:
    """Per 0.01 mm, 1 degree, 1 MPa: of a solver whose answer is linear in the quantity."""
    base = load_profile("north")
    angle = slope_of(
        base, Settings(), "outer_leg_angle",
        answering(lambda p: 90.0 + 3.0 * math.degrees(p.shape.outer_leg_angle)),
    )  # fmt: skip
    assert (angle.per, angle.psi) == ("1 deg", pytest.approx(3.0, rel=1e-6))
    length = slope_of(
        base, Settings(), "nose_radius", answering(lambda p: 90.0 + 7.0 * p.shape.nose_radius)
    )
    assert (length.per, length.psi) == ("0.01 mm", pytest.approx(0.07, rel=1e-6))


# --- tolerable loss ------------------------------------------------------------------------------


def test_error_of_the_tolerable_loss_is_the_resolution_over_the_slope() -> None:
    """First-order error: resolution * p / |dp / dloss|, on a line of 8 psi a mm."""
    study = replace(load_study("depth-gauge"), required=88.0 * PSI)
    depth = study.profile.shape.dome_depth

    def psi(profile) -> float:
        return 90.0 + 8.0 * (profile.shape.dome_depth - depth)

    seen = []

    def solve(profile, settings):
        seen.append(settings)
        return answering(psi)(profile, settings)

    found = tolerable_loss(study, {}, solve=solve)
    assert found.loss == pytest.approx(0.25, abs=1e-3)
    assert found.error == pytest.approx(RESOLUTION * 88.0 / 8.0, rel=1e-6)
    assert found.pressure == pytest.approx(90.0 * PSI, rel=1e-12)
    assert {one.resolution for one in seen} == {RESOLUTION}
    assert len(seen) == found.solves
    steeper = tolerable_loss(study, {}, margin=0.01, solve=solve)
    assert steeper.loss == pytest.approx((90.0 - 88.88) / 8.0, abs=1e-3)
    assert most_loss(study) == 0.9


def test_a_surrogate_follows_a_curve_and_a_plane() -> None:
    """Against the functions themselves at new points: a bend to a hundredth, a plane to rounding;
    leave-one-out of a plane by its hat matrix, which here is fitting it without each point."""
    rng = np.random.default_rng(5)
    x = rng.uniform([0.2, 9.0], [0.3, 11.0], (40, 2))
    new = rng.uniform([0.21, 9.1], [0.29, 10.9], (300, 2))

    def bend(at: np.ndarray) -> np.ndarray:
        return 0.6 + 0.05 * np.sin(30.0 * at[:, 0]) * (at[:, 1] - 10.0)

    found = fitted(("a", "b"), x, bend(x))
    assert np.abs(found(new) - bend(new)).max() < 0.01 * np.ptp(bend(new))
    assert found.error < 0.01 * np.ptp(bend(new))
    assert found.worst >= found.error
    plane = 0.1 + 2.0 * x[:, 0] - 0.01 * x[:, 1]
    flat = fitted(("a", "b"), x, plane)
    np.testing.assert_allclose(flat(new), 0.1 + 2.0 * new[:, 0] - 0.01 * new[:, 1], rtol=1e-9)
    assert flat.error < 1e-9
    assert flat.cases == 40
    np.testing.assert_array_equal(
        flat.within(np.array([[0.25, 10.0], [0.31, 10.0]])), [True, False]
    )


def test_the_plant_generator_makes_what_it_says() -> None:
    """Spread within a machine and lot, level and play of generated readings (numpy)."""
    calm = Plant(lines=1, machines=4, days=84, per_day=16)
    rng = np.random.default_rng(1)
    readings = generate(calm, (Cause("set offset", 2, 0.2),), rng)
    level = [readings.depth[readings.machine.codes == i].mean() for i in range(4)]
    others = np.mean([level[i] for i in (0, 1, 3)])
    assert level[2] - others == pytest.approx(0.2, abs=0.04)
    cells = readings.machine.codes * len(readings.lot.names) + readings.lot.codes
    within = [readings.depth[cells == cell].var(ddof=1) for cell in np.unique(cells)]
    assert math.sqrt(np.mean(within)) == pytest.approx(calm.explained.seen, rel=0.1)
