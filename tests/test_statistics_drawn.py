"""Scatter, levels and shapes of readings, against what was put in and brute force by drawing."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm
from made_readings import (
    KNOWN,
    plant,
    spread_of,
    unrelated,
    within_runs,
)
from scipy import stats

from domemargin.studies.diagnosis.diagnosis import (
    IN_CONTROL,
    NOT_ENOUGH,
    OFFSET,
    SMALL_STEP,
    Finding,
    diagnose,
)
from domemargin.studies.diagnosis.levels import levels_of, times_for_lots
from domemargin.studies.diagnosis.plant_generator import Cause, Plant, generate
from domemargin.studies.diagnosis.scatter import KnownScatter, Slopes, explained_spread
from domemargin.studies.diagnosis.shape import STEADY, STEP, TREND, shape_of
from domemargin.studies.diagnosis.spread import enough_readings
from domemargin.studies.diagnosis.spread import spread_of as scatter_about
from domemargin.studies.readings.readings import Labels


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
