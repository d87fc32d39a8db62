"""Calibration by own tests, and what depth means for pressure."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from domemargin.profiles import load_profile
from domemargin.studies.diagnosis.diagnosis import diagnose
from domemargin.studies.diagnosis.plant_generator import Cause, Plant, generate
from domemargin.studies.diagnosis.pressure import PressureCurve, margin_of, pressure_curve
from domemargin.studies.diagnosis.scatter import KnownScatter
from domemargin.studies.readings.calibration import LEVEL_KNOWN, NO_TESTS, calibrate

PSI = 0.006894757  # MPa; NIST Special Publication 811 (2008)
CURVE = PressureCurve("line", np.linspace(9.9, 10.5, 5), np.linspace(0.58, 0.64, 5), 0.012)


def test_one_test_moves_the_level_part_of_the_way() -> None:
    # normal prior and one normal observation: weights by 1 / variance (any text, closed form)
    done = calibrate(np.array([0.6]), np.array([0.63]), 0.012)
    variance = 0.012**2 + 0.01**2
    weight = LEVEL_KNOWN**2 / (LEVEL_KNOWN**2 + variance)
    assert done.level == pytest.approx(1.0 + weight * 0.05)
    assert done.level_sd == pytest.approx(math.sqrt(LEVEL_KNOWN**2 * (1.0 - weight)))
    assert (done.scale, done.contradictions) == (1.0, ())


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    rng = np.random.default_rng(1)
    held = {2: 0, 5: 0, 20: 0}
    runs = 600
    for n in held:
        for _ in range(runs):
            level = rng.normal(1.0, LEVEL_KNOWN)
            model = 0.6 * (1.0 + rng.normal(0, 0.01, n))
            done = calibrate(model, level * model * (1.0 + rng.normal(0, 0.0156, n)), 0.012)
            held[n] += abs(done.level - level) < 1.96 * done.level_sd
    for n, count in held.items():
        assert 0.925 < count / runs <= 1.0, n


def test_contradictions_are_said() -> None:
    model = np.linspace(0.58, 0.64, 12)
    rng = np.random.default_rng(2)
    noise = 1.0 + rng.normal(0, 0.012, 12)
    assert calibrate(model, model * noise, 0.012).contradictions == ()
    (low,) = calibrate(model, 0.8 * model * noise, 0.012).contradictions
    assert "20" in low or "19" in low
    assert "below the model" in low
    wild = calibrate(model, model * (1.0 + rng.normal(0, 0.08, 12)), 0.012)
    assert any("scatter" in sentence for sentence in wild.contradictions)
    assert wild.scatter > 0.04
    other = calibrate(model, (0.61 - 3.0 * (model - 0.61)) * noise, 0.012)
    assert any("times as fast" in sentence for sentence in other.contradictions)


def test_applied_and_undone_are_inverse() -> None:
    model = np.linspace(0.58, 0.64, 8)
    for done in (NO_TESTS, calibrate(model, 1.04 * model + 0.3 * (model - 0.61), 0.012)):
        assert done.undone(done.applied(0.6)[0]) == pytest.approx(0.6)


def test_share_below_is_that_of_generated_cans() -> None:
    plant = Plant(lines=1, machines=4, days=28)
    cause = Cause("drive play", 1, 0.08)
    done = diagnose(generate(plant, (cause,), np.random.default_rng(3)), plant.explained, 10.2)
    required = 0.60
    rng = np.random.default_rng(4)
    for number, finding in enumerate(done.findings):
        found = margin_of(finding, CURVE, required, plant.explained.reading)
        # what those cans would do: depth scattered as generated, sheet as stated
        size = 0.08 if number == 1 else 0.0
        depth = finding.mean + math.hypot(plant.explained.can, size) * rng.standard_normal(400_000)
        pressure = CURVE.at(depth) * (1.0 + 0.012 * rng.standard_normal(depth.size))
        assert found.below == pytest.approx(np.mean(pressure < required), rel=0.15, abs=2e-4)
        assert found.below_low <= found.below <= found.below_high
        assert found.margin == pytest.approx(float(CURVE.at(finding.mean)) / required - 1.0)
        # 0.1 MPa per mm
        assert found.loss == pytest.approx((found.pressure - required) / 0.1, abs=0.002)


def test_curve_of_a_bottom() -> None:
    bottom = load_profile("north")
    depth = bottom.shape.dome_depth
    curve = pressure_curve(bottom, depth - 0.1, depth + 0.1, KnownScatter())
    # a first study: 80.0 to 89.5 psi for depths of 9.4 to 10.6, so 7.9 psi/mm, of another bottom
    # (computed independently)
    assert 4.0 < curve.slope(depth) / PSI < 14.0
    # +1 % of gauge +1.4 %, +1 % of yield strength +0.9 % (computed independently)
    expected = math.hypot(1.4 * KnownScatter().gauge, 0.9 * KnownScatter().yield_strength)
    assert curve.sheet == pytest.approx(expected, rel=0.2)
    assert curve.depth_for(float(curve.at(depth - 0.05))) == pytest.approx(depth - 0.05, abs=0.002)
    assert curve.depth_for(9.0) is None


@pytest.mark.parametrize("tests", [9, 25])
def test_levels_contradict_from_the_chance_of_a_normal_law(tests: int) -> None:
    """Level and prior differ by chance below 1 %: normal, of 5 % and the error of the mean
    (scipy.stats); weighed by their variances, on paths of one model pressure."""
    sheet = 0.03
    known = math.hypot(sheet, 0.01)
    wobble = np.tile([1.0, -1.0], tests)[:tests]
    wobble -= wobble.mean()
    wobble *= known / wobble.std(ddof=1)  # scatters as known, so nothing else contradicts
    error = known / math.sqrt(tests)
    edge = stats.norm.isf(0.005) * math.hypot(0.05, error)
    model = np.full(tests, 0.6)
    for off, said in ((0.995 * edge, False), (1.005 * edge, True), (-1.005 * edge, True)):
        done = calibrate(model, model * (1.0 + off + wobble), sheet)
        assert bool(done.contradictions) == said
        weight = 0.05**2 / (0.05**2 + error**2)
        assert done.level == pytest.approx(1.0 + weight * off, rel=1e-9)
        assert done.scatter == pytest.approx(known, rel=1e-9)
        spread = 0.05 * math.sqrt(1.0 - weight) * stats.t.ppf(0.975, tests + 3) / 1.96
        assert done.level_sd == pytest.approx(min(spread, 0.05), rel=1e-4)
