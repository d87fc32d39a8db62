"""Complete spheres under outside pressure, elastic and plastic: onset of waves.

Elastic: R. Zoelly 1915; S. Timoshenko & J. Gere, Theory of Elastic Stability, sec. 11.13: value
from memory, least pressures over the degree l of the Legendre function computed independently.
The critical modes of degree l have n = 0..l waves, all at one pressure.

Plastic: sigma = sqrt(Es Et) t / (R sqrt(3 (1 - nu_p^2))), nu_p = 1/2 - (Es/E)(1/2 - nu),
p = 2 sigma t/R: P. P. Bijlaard 1949; G. Gerard, Handbook of Structural Stability III: value from
memory; numbers for E = 70000, nu = 0.3, Ramberg-Osgood s0.2 = 300 MPa, exponent 10 computed
independently.  That formula is an approximation.  Under equal biaxial stress the moduli of both
theories of plasticity are isotropic in the plane, so the elastic result holds with them as it
stands (computed independently):
    sigma = sqrt(Es Et / ((1 + nu_p) (1 - nu_t))) t / (R sqrt 3), nu_t = 1/2 - (Et/E)(1/2 - nu),
and with E, nu for Es, nu_p in flow theory.  It lies 0.8 to 1.8 % above the formula.

All these are of small strain.  In the shell, radius, gauge and modulus at the onset are those of
the compressed sphere: (t'/R')^2 E/J is worth +2.0 t/R in the elastic one (computed independently:
in-plane strain 0.424 t/R) and more where metal flows.  Therefore the plastic cases are also run
with t/R, s0.2 and the 0.2 % all divided by one number, which leaves pressures over the formula as
they are and takes the strains towards zero.

Measured, over the values of small strain:

    elastic   R/t 100 +2.03 %, 200 +0.99 %, 500 +0.40 %; less that of the strain: within 0.05 %
    plastic, deformation theory, over the formula     R/t 20     50     100    200
        as they stand                                 +4.0 %  +3.2 %  +3.1 %  +1.9 %
        divided by 8                                  +1.2 %  +1.6 %  +2.0 %  +1.1 %
        divided by 8, over the closed form above      +0.4 %  +0.2 %  +0.2 %  +0.1 %
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from evidence_rows import COMPUTED, MEMORY, WAVES_AROUND, About
from scipy.optimize import brentq
from shells import CLAMPED, compliance, revolve

from domemargin.fea.core.banded import factor
from domemargin.fea.core.path import Newton
from domemargin.fea.core.ramp import Plan, Ramp, pressure_control, ramp
from domemargin.fea.shell.shell import Shell, ShellState
from domemargin.fea.waves.kernel import WAVE_WIDTH
from domemargin.fea.waves.waves import WaveTangent, first_onset, onset_by_number, wave_tangent
from domemargin.profiles.material import Material, Swift
from domemargin.profiles.shape.meridian import Segment

ABOUT = About(
    WAVES_AROUND,
    "R. Zoelly 1915; S. Timoshenko & J. Gere, Theory of Elastic Stability, sec. 11.13: complete "
    "sphere under outside pressure, least over the degree",
    MEMORY,
)
BIJLAARD = {
    "source": "P. P. Bijlaard 1949; G. Gerard, Handbook of Structural Stability III: plastic sphere"
}
BIAXIAL = {
    "source": "plastic sphere with the moduli of either theory under equal biaxial stress, closed "
    "form",
    "kind": COMPUTED,
}

E, NU, RADIUS = 70_000.0, 0.3, 100.0

# R/t: least p/E, its degree l
ELASTIC = {100: (1.20999e-4, 18), 200: (3.02524e-5, 25), 500: (4.84109e-6, 40)}
BAND = 0.01
NOT_RIGID = (0, *range(2, 21))  # with one wave a complete sphere can move as a whole


def sphere(material: Material, ratio: float, elements: int) -> Shell:
    """From pole to pole, its inside face to the outside; ratio : R/t."""
    line = Segment("dome", 0.0, 0.0, 0.0, np.pi * RADIUS, -1.0 / RADIUS)
    return revolve(line, material, RADIUS / ratio, elements, CLAMPED)


def plan_for(shell: Shell, pressure: float, step: float, tolerance: float) -> Plan:
    scale = compliance(shell) * pressure
    newton = Newton(tolerance=tolerance, update=1e-4)
    return Plan(step, scale, pressure, 1.3 * pressure, newton=newton)


def elastic(ratio: int) -> tuple[Shell, Ramp, Plan, float]:
    shell = sphere(Material(E, NU), ratio, 240)
    pressure = ELASTIC[ratio][0] * E
    plan = plan_for(shell, pressure, 0.1, 1e-8)
    return shell, ramp(shell, shell.start(), plan), plan, pressure


def excess(ratio: int) -> float:
    """Axisymmetric onset over the table, less 1."""
    shell, path, plan, pressure = elastic(ratio)
    found = first_onset(shell, path.states, plan, numbers=(0,))
    assert found is not None
    assert path.limit is not None
    # the ramp, which knows n = 0 only, reports the same
    assert path.limit.kind == "bifurcation"
    assert path.limit.pressure == pytest.approx(found.pressure, rel=1e-3)
    return found.pressure / pressure - 1.0


@pytest.mark.parametrize(
    "ratio",
    [
        pytest.param(
            100,
            marks=pytest.mark.xfail(
                strict=True,
                reason="measured +2.03 %: the sphere is 0.4 % smaller and thicker by then",
            ),
        ),
        200,
        500,
    ],
)
def test_axisymmetric_check_alone_finds_the_classical_pressure(evidence, ratio: int) -> None:
    evidence(
        f"elastic sphere, R/t {ratio}, axisymmetric onset: p over classical",
        expected=1.0, computed=1.0 + excess(ratio), abs=BAND,
    )  # fmt: skip


@pytest.mark.parametrize("ratio", ELASTIC)
def test_excess_is_that_of_the_compressed_sphere(evidence, ratio: int) -> None:
    strain = (1.0 - NU) / np.sqrt(3.0 * (1.0 - NU**2)) / ratio
    thicker = 2.0 * NU / (1.0 - NU) * strain
    expected = np.exp(2.0 * (thicker + strain) + (2.0 * strain - thicker)) - 1.0
    evidence(
        f"elastic sphere, R/t {ratio}, compressed to the onset: p over classical",
        expected=1.0 + expected, computed=1.0 + excess(ratio), abs=1e-3,
        source="radius, gauge and modulus of the compressed sphere, closed form", kind=COMPUTED,
    )  # fmt: skip


@pytest.mark.parametrize("ratio", ELASTIC)
def test_all_numbers_of_waves_up_to_the_degree_come_at_one_pressure(evidence, ratio: int) -> None:
    shell, path, plan, _ = elastic(ratio)
    degree = ELASTIC[ratio][1]
    numbers = (0, *range(2, degree + 1))
    found = onset_by_number(shell, path.states, plan, numbers=numbers)
    pressure = np.array([found[n] for n in numbers], dtype=float)
    evidence(
        f"elastic sphere, R/t {ratio}, n = 0 to {degree} without 1: largest spread of p",
        expected=0.0, computed=float(np.abs(pressure / pressure[0] - 1.0).max()), abs=1e-3,
    )  # fmt: skip


def without_rigid_motion(tangent: WaveTangent) -> int:
    """Unstable modes with one wave; sliding and tilting are taken out by U = 0 at both poles.

    They leave the tangent unchanged, so holding as many unknowns against them keeps its inertia.
    """
    band = tangent.band(1)
    for i in (0, band.shape[0] - 5):
        band[i] = 0.0
        reach = np.arange(i + 1, min(i + WAVE_WIDTH, band.shape[0] - 1) + 1)
        band[reach, i - reach + WAVE_WIDTH] = 0.0
        band[i, WAVE_WIDTH] = 1.0
    return factor(band)


def test_just_above_the_onset_each_number_has_one_unstable_mode() -> None:
    """(2 l + 1)-fold: one mode for each n = 0..18, none for more waves."""
    shell, path, plan, _ = elastic(100)
    found = first_onset(shell, path.states, plan, numbers=(0,))
    assert found is not None
    degree = ELASTIC[100][1]
    base = path.states[found.before]
    for share, expected in ((0.998, 0), (1.002, 1)):
        state = pressure_control(shell, base, share * found.pressure, plan)
        tangent = wave_tangent(shell, base, state)
        count = [tangent.negative(n) for n in (0, *range(2, degree + 1))]
        assert count == [expected] * degree
        assert without_rigid_motion(tangent) == expected
        assert [tangent.negative(n) for n in range(degree + 1, degree + 4)] == [0, 0, 0]


# Ramberg-Osgood: R/t: p of the formula, MPa
PLASTIC = {20: 34.29, 50: 12.007, 100: 5.2284, 200: 1.9934}
PROOF, PROOF_STRAIN, EXPONENT = 300.0, 0.002, 10
DIVIDED = 8.0
PLASTIC_BAND = 0.03


def closed_form(ratio: float, theory: str) -> float:
    """Critical pressure, MPa; theory : formula, deformation or flow."""

    def rest(s: float) -> float:
        strain = PROOF_STRAIN * (s / PROOF) ** EXPONENT
        Es, Et = 1.0 / (1.0 / E + strain / s), 1.0 / (1.0 / E + EXPONENT * strain / s)
        if theory == "flow":
            Es = E
        nu_p, nu_t = (0.5 - slope / E * (0.5 - NU) for slope in (Es, Et))
        if theory == "formula":
            nu_t = nu_p
        return float(np.sqrt(Es * Et / (3.0 * (1.0 + nu_p) * (1.0 - nu_t))) / ratio - s)

    return 2.0 * float(brentq(rest, 1.0, 2000.0)) / ratio


@pytest.mark.parametrize("ratio", PLASTIC)
def test_numbers_of_the_formula(ratio: int) -> None:
    assert closed_form(ratio, "formula") == pytest.approx(PLASTIC[ratio], rel=1e-4)


def plastic(
    ratio: int, divided: float, shares: Sequence[float]
) -> tuple[Shell, list[ShellState], Plan]:
    """Path of a sphere to shares of the formula's pressure; ends early if a step fails."""
    # a power law in (ep + 1e-9) is Ramberg-Osgood's above a strain of 1e-7
    early = 1e-9 / divided
    first = PROOF / divided * (1e-9 / PROOF_STRAIN) ** (1.0 / EXPONENT)
    material = Material(E, NU, first, Swift(early, 1.0 / EXPONENT))
    shell = sphere(material, ratio * divided, 120 if divided == 1.0 else 240)
    pressure = PLASTIC[ratio] / divided**2
    plan = plan_for(shell, pressure, 0.05, 1e-7)
    states = [shell.start()]
    for share in shares:
        states.append(pressure_control(shell, states[-1], share * pressure, plan))
    return shell, states, plan


def onset(ratio: int, divided: float, theory: str, shares: Sequence[float]) -> float | None:
    """Lowest onset over the formula's pressure."""
    shell, states, plan = plastic(ratio, divided, shares)
    found = first_onset(shell, states, plan, theory, NOT_RIGID)
    return None if found is None else found.pressure / PLASTIC[ratio] * divided**2


EVEN = np.linspace(0.1, 1.05, 20)


@pytest.mark.parametrize(
    "ratio",
    [
        pytest.param(
            ratio,
            marks=pytest.mark.xfail(
                strict=True,
                reason=f"measured {measured}: strains at the onset, and the formula is low",
            ),
        )
        for ratio, measured in {20: "+4.0 %", 50: "+3.2 %", 100: "+3.1 %"}.items()
    ]
    + [200],
)
def test_deformation_theory_as_it_stands(evidence, ratio: int) -> None:
    evidence(
        f"plastic sphere, R/t {ratio}, deformation theory: p over the formula",
        expected=1.0, computed=onset(ratio, 1.0, "deformation", EVEN), abs=PLASTIC_BAND, **BIJLAARD,
    )  # fmt: skip


@pytest.mark.parametrize("ratio", PLASTIC)
def test_deformation_theory_at_small_strain(evidence, ratio: int) -> None:
    found = onset(ratio, DIVIDED, "deformation", EVEN)
    what = f"plastic sphere, R/t {ratio}, deformation theory, strains / {DIVIDED:g}: p over"
    evidence(f"{what} the formula", expected=1.0, computed=found, abs=PLASTIC_BAND, **BIJLAARD)
    exact = closed_form(ratio, "deformation") / closed_form(ratio, "formula")
    evidence(f"{what} it, closed form", expected=exact, computed=found, rel=0.005, **BIAXIAL)


def short_steps(ratio: int, upto: float) -> list[float]:
    """Flow theory's tangent is that of a step, which a long step makes as soft as deformation
    theory's; so steps are short near the onset."""
    exact = closed_form(ratio, "flow") / closed_form(ratio, "formula")
    return [*np.linspace(0.1, 0.95, 8) * exact, *np.arange(0.952, upto, 0.002) * exact]


@pytest.mark.parametrize("ratio", [50, 100, 200])
def test_flow_theory_lies_above(evidence, ratio: int) -> None:
    found = onset(ratio, DIVIDED, "flow", short_steps(ratio, 1.012))
    exact = closed_form(ratio, "flow") / closed_form(ratio, "formula")
    evidence(
        f"plastic sphere, R/t {ratio}, flow theory, strains / {DIVIDED:g}: p over the formula",
        expected=exact, computed=found, rel=0.005, **BIAXIAL,
    )  # fmt: skip
    assert found is not None
    assert found > closed_form(ratio, "deformation") / closed_form(ratio, "formula")


def test_flow_theory_of_the_thickest_lies_above() -> None:
    """R/t 20: closed form +11.5 % over the formula.  Nothing up to there; a little beyond,
    rounding grows into an uneven sphere before the onset is reached."""
    assert onset(20, DIVIDED, "flow", short_steps(20, 1.0001)) is None
