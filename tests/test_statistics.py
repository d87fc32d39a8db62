"""Limits, chances and slopes of the studies, against scipy.stats, statsmodels and textbooks."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from domemargin.fea.core.settings import Settings
from domemargin.profiles import load_profile
from domemargin.profiles.units import PSI
from domemargin.studies import tails
from domemargin.studies.diagnosis.diagnosis import (
    IN_CONTROL,
    NOT_ENOUGH,
    OFFSET,
    SPREAD,
    diagnose,
    enough_readings,
)
from domemargin.studies.diagnosis.levels import levels_of, times_for_lots
from domemargin.studies.diagnosis.plant_generator import Cause, Plant, generate
from domemargin.studies.diagnosis.scatter import Explained, KnownScatter, Slopes, explained_spread
from domemargin.studies.diagnosis.shape import STEADY, STEP, TREND, shape_of
from domemargin.studies.margin.slopes import slope_of, step_of
from domemargin.studies.margin.surrogate import fitted
from domemargin.studies.margin.tolerable import RESOLUTION, most_loss, tolerable_loss
from domemargin.studies.readings.control_capability import capability
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


@pytest.mark.parametrize("size", [60, 150])
def test_limits_of_unexplained_scatter_are_those_of_a_variance(size: int) -> None:
    """s^2 f / chi^2 at 97.5 % and 2.5 % with f = n - 1 (any statistics text; scipy.stats)."""
    rng = np.random.default_rng(size)
    noise = spread_of(rng.standard_normal(size), 0.03)
    # two machines share no lot levels, so a reading keeps all of its scatter
    readings = plant([10.2 + noise, 10.2 + spread_of(rng.standard_normal(size), 0.005)])
    loose, calm = diagnose(readings, KNOWN, 10.2).findings
    assert (loose.verdict, calm.verdict) == (SPREAD, IN_CONTROL)
    assert loose.spread == pytest.approx(0.03, rel=1e-9)
    explained = 0.006**2 + 0.004**2
    assert loose.unexplained == pytest.approx(math.sqrt(0.03**2 - explained), rel=1e-9)
    freedom = size - 1
    low, high = stats.chi2(freedom).ppf([0.975, 0.025])
    for found, at in ((loose.unexplained_low, low), (loose.unexplained_high, high)):
        assert found == pytest.approx(math.sqrt(freedom * 0.03**2 / at - explained), rel=1e-9)
    assert calm.unexplained == 0.0
    # the chance of such scatter where stated scatter is known to a quarter: not below 1.25 of it
    chance = stats.chi2(freedom).sf(freedom * 0.005**2 / (1.25**2 * explained))
    assert calm.spread_chance == pytest.approx(chance, rel=1e-6)
    for finding in (loose, calm):
        assert finding.mean == pytest.approx(10.2, abs=1e-9)
        assert finding.deviation_se == pytest.approx(finding.spread / math.sqrt(size), rel=1e-9)


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
    assert n == enough + 3
    # by drawing: scatter of twice what is explained is called nine times in ten
    rng = np.random.default_rng(0)
    variance = rng.standard_normal((20_000, int(enough) + 1)).var(axis=1, ddof=1) * 4.0
    called = variance > 1.25**2 * stats.chi2.isf(2e-4, enough) / enough
    assert called.mean() == pytest.approx(0.9, abs=0.02)
    short = 10.2 + spread_of(rng.standard_normal(n - 2), 0.006)
    found = diagnose(plant([short, short]), KNOWN, 10.2).findings[0]
    assert (found.verdict, found.more) == (NOT_ENOUGH, 2)


def test_readings_still_needed_where_scatter_is_neither_called_nor_excluded() -> None:
    """Brute force over numbers of readings with chi-square tests of a variance (scipy.stats)."""
    rng = np.random.default_rng(3)
    size, spread = enough_readings() + 1, 0.0121
    depths = [10.2 + spread_of(rng.standard_normal(size), spread) for _ in range(2)]
    found = diagnose(plant(depths), KNOWN, 10.2).findings[0]
    assert found.verdict == NOT_ENOUGH
    ratio = spread**2 / (0.006**2 + 0.004**2)
    freedom = np.arange(size, 5000)
    decided = (stats.chi2.sf(freedom * ratio / 1.25**2, freedom) < 2e-4) | (
        stats.chi2.cdf(freedom * ratio / 2.0**2, freedom) < 0.05
    )
    assert found.more == freedom[decided][0] - (size - 1)


@pytest.mark.parametrize(("low", "high"), [(10.1, 10.34), (10.1, None), (None, 10.34)])
def test_capability_of_readings_of_known_mean_and_spread(
    low: float | None, high: float | None
) -> None:
    """Cp and Cpk by their definition; Cp's limits by chi-square, Cpk's by Bissell 1990 (textbook);
    share outside by counting, its limits by scipy's own exact interval."""
    n, reading = 80, 0.012
    values = 10.23 + spread_of(np.random.default_rng(9).standard_normal(n), 0.05)
    found = capability(values, low, high, reading)
    sigma = math.sqrt(0.05**2 - reading**2)
    sides = [10.23 - low] if low is not None else []
    sides += [high - 10.23] if high is not None else []
    cpk = min(sides) / (3.0 * sigma)
    half = stats.norm.ppf(0.975) * math.sqrt(1.0 / (9.0 * n) + cpk**2 / (2.0 * (n - 1)))
    assert found.cpk == pytest.approx((cpk, cpk - half, cpk + half), rel=1e-9)
    if low is None or high is None:
        assert found.cp is None
    else:
        cp = (high - low) / (6.0 * sigma)
        ends = cp * np.sqrt(stats.chi2(n - 1).ppf([0.025, 0.975]) / (n - 1))
        assert found.cp == pytest.approx((cp, *ends), rel=1e-9)
    outside = int(np.sum(values < (low or 0.0)) + np.sum(values > (high or 99.0)))
    exact = stats.binomtest(outside, n).proportion_ci(0.95, "exact")
    assert found.outside == outside / n
    assert (found.outside_low, found.outside_high) == pytest.approx((exact.low, exact.high))
    # a gauge that scatters like the readings leaves a tenth of what is seen
    assert capability(values, 10.0, 10.5, 0.06).cpk[0] == pytest.approx(0.23 / (3.0 * 0.005))


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
    found = shape_of(day, noise, 0.035)
    assert (found.kind, found.change, found.parameters) == (STEADY, 0.0, 1)
    line = shape_of(day, noise - 0.1 * (day - 3.0) / 28.0, 0.035)
    assert line.kind == TREND
    # least squares of a line (statsmodels)
    fit = sm.OLS(noise - 0.1 * (day - 3.0) / 28.0, sm.add_constant((day - 3.0) / 28.0)).fit()
    assert line.change == pytest.approx(float(fit.params[1]), abs=0.004)
    assert np.ptp(line.fitted) == pytest.approx(abs(line.change), rel=1e-6)
    for at, size in ((100, 0.06), (180, -0.05)):
        jump = np.where(np.arange(240) >= at, size, 0.0)
        step = shape_of(day, noise + jump, 0.035)
        assert step.kind == STEP
        exact = float((noise + jump)[at:].mean() - (noise + jump)[:at].mean())
        assert step.change == pytest.approx(exact, abs=0.004)
        assert step.at_day == pytest.approx(day[at], abs=0.6)
        assert float(step.fitted[-1] - step.fitted[0]) == pytest.approx(exact, abs=0.004)
    # a change that is not worth it is none
    assert shape_of(day, noise + np.where(np.arange(240) >= 100, 0.02, 0.0), 0.035).kind == STEADY
    # a relaxing spring moves fast at first
    gone = 0.15 * (1.0 - np.exp(-(day - 3.0) / 28.0 / 0.2))
    relaxing = shape_of(day, noise - gone, 0.035)
    assert relaxing.kind == TREND
    assert relaxing.change == pytest.approx(-float(gone[-1]), abs=0.006)
    assert np.abs(relaxing.fitted - relaxing.fitted.mean() + gone - gone.mean()).max() < 0.004


def test_the_chance_of_a_step_is_that_of_an_f_test() -> None:
    """Blocks' means, looked at in all places: Bonferroni times F(1, blocks - 3) (scipy.stats)."""
    rng = np.random.default_rng(7)
    day = np.arange(60) / 4.0
    rest = rng.normal(0.0, 0.006, 60) + np.where(day >= 7.5, 0.05, 0.0)
    found = shape_of(day, rest, 0.02)
    assert found.kind == STEP
    blocks = rest.reshape(30, 2).mean(axis=1)
    within = rest - np.repeat(blocks, 2)
    left = {
        k: float(
            ((blocks[:k] - blocks[:k].mean()) ** 2).sum()
            + ((blocks[k:] - blocks[k:].mean()) ** 2).sum()
        )
        for k in range(2, 29)
    }
    best = min(left.values())
    whole = float(((blocks - blocks.mean()) ** 2).sum())
    noise = max(best / 27.0, float((within**2).sum()) / 30.0 / 2.0)
    assert found.chance == pytest.approx(27.0 * stats.f.sf((whole - best) / noise, 1, 27), rel=1e-6)


def test_healthy_machines_are_seldom_called_moving() -> None:
    rng = np.random.default_rng(12)
    day = np.linspace(0.0, 28.0, 120)
    moving = sum(shape_of(day, rng.normal(0.0, 0.02, 120), 0.0).kind != STEADY for _ in range(600))
    # 5e-4 for a trend and as much for a step: 0.6 in 600 (binomial)
    assert moving <= stats.binom.ppf(0.999, 600, 1e-3)


# --- slopes of the reversal pressure -------------------------------------------------------------


def answering(psi):
    """A solver that answers with a formula of the bottom, psi."""

    def solve(profile, settings):
        return SimpleNamespace(reversal_pressure_mpa=psi(profile) * PSI, kind="limit", reason="")

    return solve


def test_slope_and_error_are_those_of_least_squares() -> None:
    """Five points, a parabola: statsmodels' OLS gives slope and standard error (2 d.o.f.)."""
    base = load_profile("north")
    middle, step = base.sheet.bottom_gauge, 0.004
    assert step_of(base, "bottom_gauge") == 0.004
    # what no cubic takes off, so that the standard error rules
    wobble = {-2: 0.1, -1: -0.4, 0: 0.6, 1: -0.4, 2: 0.1}

    def psi(profile) -> float:
        x = (profile.sheet.bottom_gauge - middle) / step
        return 90.0 + 2.0 * x - 0.4 * x * x + wobble[round(x)]

    found = slope_of(base, Settings(), "bottom_gauge", answering(psi))
    x = np.arange(-2.0, 3.0)
    y = 90.0 + 2.0 * x - 0.4 * x * x + np.array(list(wobble.values()))
    fit = sm.OLS(y, np.stack((np.ones(5), x, x * x), axis=1)).fit()
    cubic = sm.OLS(y, np.stack((np.ones(5), x, x * x, x**3), axis=1)).fit()
    per = 0.01 / step
    assert found.per == "0.01 mm"
    assert found.psi == pytest.approx(float(fit.params[1]) * per, rel=1e-9)
    assert cubic.params[1] == pytest.approx(fit.params[1], rel=1e-9)
    assert found.error == pytest.approx(2.0 * float(fit.bse[1]) * per, rel=1e-9)

    def bent(profile) -> float:
        x = (profile.sheet.bottom_gauge - middle) / step
        return 90.0 + 2.0 * x - 0.3 * x**3

    # on a cubic the parabola's slope is off by 3.4 times the third coefficient: sum x^4 / sum x^2
    found = slope_of(base, Settings(), "bottom_gauge", answering(bent))
    assert found.psi == pytest.approx((2.0 - 0.3 * 3.4) * per, rel=1e-9)
    fit = sm.OLS(90.0 + 2.0 * x - 0.3 * x**3, np.stack((np.ones(5), x, x * x), axis=1)).fit()
    assert found.error == pytest.approx(max(2.0 * float(fit.bse[1]), 0.3 * 3.4) * per, rel=1e-9)


def test_steps_and_units_of_slopes() -> None:
    """Per 0.01 mm, 1 degree, 1 MPa: of a solver whose answer is linear in the quantity."""
    base = load_profile("north")
    assert step_of(base, "dome_depth") == 0.1
    assert step_of(base, "inner_leg_angle") == pytest.approx(math.radians(0.5))
    assert step_of(base, "dome_radius") == pytest.approx(0.02 * base.shape.dome_radii[0])
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
