"""Slopes, tolerable loss and surrogate, against least squares of statsmodels and closed forms."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from domemargin.fea.core.settings import Settings
from domemargin.profiles import load_profile
from domemargin.profiles.units import PSI
from domemargin.studies.margin.slopes import slope_of
from domemargin.studies.margin.surrogate import fitted
from domemargin.studies.margin.tolerable import RESOLUTION, most_loss, tolerable_loss
from domemargin.studies.study.study_file import load_study


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
