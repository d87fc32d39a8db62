"""Slopes, tolerable loss and surrogate, against least squares of statsmodels and closed forms."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import statsmodels.api as sm

from domemargin.fea.core.settings import Settings
from domemargin.profiles import load_profile
from domemargin.profiles.units import PSI
from domemargin.studies.margin.slopes import slope_of, step_of
from domemargin.studies.margin.surrogate import fitted
from domemargin.studies.margin.tolerable import RESOLUTION, most_loss, tolerable_loss
from domemargin.studies.study.study_file import load_study


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
