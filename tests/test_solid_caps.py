"""Clamped shallow spherical caps of elastic solid: first axisymmetric limit under pressure.

Source: Marguerre's shallow-shell equations, computed independently (spectral collocation, two
resolutions agreeing to four digits), nu = 1/3, edge fully clamped; the problem is that of
B. Budiansky, Buckling of clamped shallow spherical shells (IUTAM, Delft 1959), H. J. Weinitschke
1960 and N. C. Huang, J. Appl. Mech. 31, 1964, 447.
lambda = [12 (1 - nu^2)]^(1/4) a / sqrt(R t);  pressures over the classical
2 E (t/R)^2 / sqrt(3 (1 - nu^2)).

The table is the limit of small a/R.  Measured here, solid against table: a/R = 0.1: 0.3 %
(0.75 % at lambda 5.5, where the limit rises by 1.2 per unit of lambda); a/R = 0.05: 0.05 %.
Lambda 8 to 11 are the trap: careless steps jump over the sharp first peak.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from evidence_rows import COMPUTED, SNAP, About

from domemargin.fea.core.ramp import Plan, compliance, ramp
from domemargin.fea.solid.solid import bottom_solid
from domemargin.profiles.material import Material
from domemargin.profiles.shape.meridian import Meridian, Segment

ABOUT = About(
    SNAP,
    "Marguerre's shallow-shell equations by spectral collocation, clamped cap (problem of B. "
    "Budiansky 1959, H. J. Weinitschke 1960, N. C. Huang 1964)",
    COMPUTED,
)

E, NU = 70_000.0, 1.0 / 3.0
FIRST_LIMIT = {
    3.5: 0.6063, 4.0: 0.5735, 5.0: 0.6268, 5.5: 0.7614, 6.0: 0.9923, 7.0: 1.0638, 8.0: 1.1249,
    8.5: 1.0551, 9.0: 0.9170, 9.5: 0.8479, 10.0: 0.8142, 11.0: 0.8102, 12.0: 0.9630,
}  # fmt: skip


@dataclass(frozen=True)
class Cap:
    meridian: Meridian
    gauge: float
    material: Material

    def thickness(self, s):
        return np.full(np.shape(s), self.gauge)

    def prior_strain(self, s):
        return np.zeros(np.shape(s))

    def yield_factor(self, s):
        return np.ones(np.shape(s))


def limit(lam: float, base: float, step: float) -> float:
    """First limit over the classical pressure of a cap of radius 100 mm.

    A step of 1 is what the classical pressure would do to a linear cap, or that pressure.
    """
    radius = 100.0
    gauge = np.sqrt(12.0 * (1.0 - NU**2)) * base**2 / (lam**2 * radius)
    classical = 2.0 * E * (gauge / radius) ** 2 / np.sqrt(3.0 * (1.0 - NU**2))
    arc = Segment("dome", 0.0, radius, 0.0, radius * np.arcsin(base / radius), -1.0 / radius)
    cap = Cap(Meridian((arc,)), gauge, Material(E, NU))
    model = bottom_solid(cap, through=1, along={"dome": 40})
    scale = compliance(model, model.start()) * classical
    plan = Plan(step, scale, classical, 3.0 * classical, most_steps=1000, located=2e-4)
    found = ramp(model, model.start(), plan)
    assert found.limit is not None, found.reason
    assert found.limit.kind == "limit"
    assert found.steps[-1].negative == 1
    return found.limit.pressure / classical


@pytest.mark.parametrize("lam", FIRST_LIMIT)
def test_first_limit(evidence, lam):
    evidence(
        f"solid, cap λ = {lam:g}, a/R 0.05: p/p_cl", expected=FIRST_LIMIT[lam],
        computed=limit(lam, 5.0, 0.05), rel=0.003,
    )  # fmt: skip


@pytest.mark.parametrize("lam", [5.0, 6.0, 8.0, 9.0, 10.0])
def test_first_limit_of_a_less_shallow_cap(evidence, lam):
    evidence(
        f"solid, cap λ = {lam:g}, a/R 0.1: p/p_cl", expected=FIRST_LIMIT[lam],
        computed=limit(lam, 10.0, 0.05), rel=0.005,
    )  # fmt: skip


@pytest.mark.parametrize("lam", [5.5, 8.0, 8.5, 9.0, 9.5, 10.0, 11.0])
@pytest.mark.parametrize("step", [0.1, 0.2, 0.5])
def test_long_steps_do_not_jump_over_the_peak(evidence, lam, step):
    evidence(
        f"solid, cap λ = {lam:g}, a/R 0.05, steps of {step:g}: p/p_cl", expected=FIRST_LIMIT[lam],
        computed=limit(lam, 5.0, step), rel=0.003,
    )  # fmt: skip
