"""Thin walls under internal pressure at their plastic limit, von Mises, perfectly plastic.

Sources.  Sphere and cylinder: R. Hill, The Mathematical Theory of Plasticity, 1950, ch. V, closed
forms: 2 sy ln(b/a) and, with ends held, (2/sqrt 3) sy ln(b/a).  Torisphere: R. T. Shield &
D. C. Drucker, J. Appl. Mech. 28, 1961, design formula fitted to their limit pressures:
    p/sy = (0.33 + 5.5 r/D) t/L + 28 (1 - 2.2 r/D) (t/L)^2 - 0.0006: value from memory.
Bending: fully plastic moment in plane strain (2/sqrt 3) sy t^2 / 4 per width, elastic limit of the
fibre sy t^2 / (6 sqrt(1 - nu + nu^2)): closed forms, computed independently.

A shell leaves out the stress through the gauge, which is of the order of the pressure.  With
pressure on the mid-surface the limit is 2 sy t/R_mid, off by (t/R)^2/12 only; with pressure on the
inside face, as in a bottom, it is high by t/R (sphere) or t/2R (cylinder): the face is smaller,
and the mean stress through the gauge, -p/2, which would lower the hoop stress, is missing.  So
thick walls are left to the solid (test_solid_thick_walls.py).

The closed forms are of small strain: yield is 1e-4 E for the sphere and the cylinder, 1e-6 E for
the torisphere, whose knuckle would otherwise change its shape before the limit.

Measured: sphere -0.03 %, cylinder -0.09 % (mid-surface); plane-strain moment +0.1 %.
"""

from __future__ import annotations

import numpy as np
import pytest
from evidence_rows import COMPUTED, LIMIT_LOADS, MEMORY, About
from shells import bowl, compliance, revolve, tube

from domemargin.fea.core.path import Newton
from domemargin.fea.core.ramp import Plan, Ramp, ramp
from domemargin.fea.shell.shell import Shell
from domemargin.profiles.material import Linear, Material
from domemargin.profiles.shape.meridian import Meridian, Segment

ABOUT = About(
    LIMIT_LOADS,
    "R. Hill, The Mathematical Theory of Plasticity, 1950, ch. V: thin wall, closed form",
    COMPUTED,
)
TORISPHERE = {
    "source": "R. T. Shield & D. C. Drucker, J. Appl. Mech. 28, 1961, design formula",
    "kind": MEMORY,
}

NU = 0.3
YIELD = 240.0  # MPa
RATIOS = [1.005, 1.01, 1.02]
MEAN = 100.0  # radius of the mid-surface, mm


def wall(shape: str, ratio: float, face: str) -> Shell:
    """ratio : outer over inner radius."""
    gauge = 2.0 * MEAN * (ratio - 1.0) / (ratio + 1.0)
    material = Material(1e4 * YIELD, NU, YIELD, Linear(0.0))
    if shape == "sphere":
        # the lower half, free to grow on its plane of symmetry
        return revolve(bowl(MEAN), material, gauge, 20, "z phi", layers=8, face=face)
    return revolve(tube(MEAN, 20.0), material, gauge, 10, "z phi", "z phi", 8, face)


def press(shell: Shell, pressure: float, far: float, step: float = 0.1) -> Ramp:
    """Ramp to `far` times the elastic swept volume at a pressure."""
    plan = Plan(
        step, compliance(shell) * pressure, pressure, 10.0 * pressure,
        most_steps=round(far / step), newton=Newton(tolerance=1e-5),
    )  # fmt: skip
    return ramp(shell, shell.start(), plan)


def limit_of(shape: str, ratio: float, face: str) -> float:
    """Limit over Hill's."""
    expected = {"sphere": 2.0, "cylinder": 2.0 / np.sqrt(3.0)}[shape] * YIELD * np.log(ratio)
    found = press(wall(shape, ratio, face), expected, 6.0)
    # plastic growth at constant yield stress: the pressure turns as soon as all is plastic
    assert found.ending in ("limit", "step_bound"), found.reason
    return max(state.pressure for state in found.states) / expected


@pytest.mark.parametrize("ratio", RATIOS)
@pytest.mark.parametrize("shape", ["sphere", "cylinder"])
def test_limit_pressure_on_the_mid_surface(evidence, shape: str, ratio: float) -> None:
    evidence(
        f"{shape}, outer/inner radius {ratio}, pressure on the mid-surface: p over Hill's",
        expected=1.0, computed=limit_of(shape, ratio, "mid"), rel=0.005,
    )  # fmt: skip


@pytest.mark.parametrize("ratio", RATIOS)
@pytest.mark.parametrize(("shape", "share"), [("sphere", 1.0), ("cylinder", 0.5)])
def test_what_the_inside_face_adds(evidence, shape: str, share: float, ratio: float) -> None:
    """t/R for a sphere, t/2R for a cylinder: the stress through the gauge that a shell lacks."""
    excess = share * 2.0 * (ratio - 1.0) / (ratio + 1.0)
    evidence(
        f"{shape}, outer/inner radius {ratio}, pressure inside: p over Hill's",
        expected=1.0 + excess, computed=limit_of(shape, ratio, "inside"), rel=0.002,
        source="stress through the gauge that a shell lacks: t/R of a sphere, t/2R of a cylinder",
    )  # fmt: skip


def torisphere(gauge: float, stiffness: float, face: str = "inside", layers: int = 8) -> Shell:
    """D = L = 1000, r = 100 mm on the mid-surface, sy = 250 MPa, and a cylinder of 6 sqrt(R t).

    stiffness : E over the yield stress.
    """
    D, L, r, sy = 1000.0, 1000.0, 100.0, 250.0
    angle = np.arcsin((0.5 * D - r) / (L - r))
    crown = Segment("dome", 0.0, 0.0, 0.0, L * angle, 1.0 / L)
    knuckle = crown.next("nose", r * (0.5 * np.pi - angle), 1.0 / r)
    wall = knuckle.next("sidewall", 6.0 * np.sqrt(0.5 * D * gauge), 0.0)
    meridian = Meridian((crown, knuckle, wall))
    ends = np.unique(
        np.concatenate(
            [np.linspace(a, b, n + 1) for a, b, n in zip(*_spans(meridian), (24, 20, 20))]
        )
    )
    material = Material(stiffness * sy, NU, sy, Linear(0.0))
    return revolve(meridian, material, gauge, ends, "z phi", layers=layers, face=face)


def _spans(meridian: Meridian) -> tuple[np.ndarray, np.ndarray]:
    return meridian.breaks[:-1], meridian.breaks[1:]


SHIELD_DRUCKER = {10.0: 2.596, 2.0: 0.3118}  # gauge (mm): MPa
TORISPHERE_BAND = 0.10


def torisphere_limit(gauge: float) -> float:
    """Pressure where the knuckle has rolled out by 16 times the elastic swept volume; the
    plateau is level there."""
    expected = SHIELD_DRUCKER[gauge]
    path = press(torisphere(gauge, 1e6), expected, 16.0, step=0.2)
    pressure = [state.pressure for state in path.states]
    assert path.ending in ("limit", "step_bound"), path.reason
    assert pressure[60] == pytest.approx(max(pressure), rel=0.01)
    return max(pressure)


@pytest.mark.xfail(strict=True, reason="von Mises limit is 15 to 21 % above a formula for Tresca")
@pytest.mark.parametrize("gauge", SHIELD_DRUCKER)
def test_torisphere_against_the_formula_as_it_stands(evidence, gauge: float) -> None:
    """Measured: 2.993 MPa (+15 %) at 10 mm, 0.377 MPa (+21 %) at 2 mm; the axisymmetric solid,
    4 elements through the gauge, gives 2.990 and 0.376 MPa on the same torispheres."""
    evidence(
        f"torisphere, t/D {gauge / 1000.0}: limit pressure", expected=SHIELD_DRUCKER[gauge],
        computed=torisphere_limit(gauge), rel=TORISPHERE_BAND, unit="MPa", **TORISPHERE,
    )  # fmt: skip


@pytest.mark.parametrize("gauge", SHIELD_DRUCKER)
def test_torisphere_between_the_limits_of_two_yield_conditions(evidence, gauge: float) -> None:
    """The formula's limits are for Tresca's condition (from memory).  Limit loads grow with the
    yield surface, and Mises' lies between Tresca's and 2/sqrt 3 of it, so must the limit."""
    low, high = SHIELD_DRUCKER[gauge] * np.array([1.0, 2.0 / np.sqrt(3.0)])
    found = torisphere_limit(gauge)
    evidence(
        f"torisphere, t/D {gauge / 1000.0}: limit pressure, between Tresca and von Mises",
        computed=found, unit="MPa", **TORISPHERE,
        least=low * (1.0 - TORISPHERE_BAND), most=high * (1.0 + TORISPHERE_BAND),
    )  # fmt: skip


def test_plane_strain_bending(evidence) -> None:
    """A ring strip of very large radius, its one element bent to an arc: no hoop strain."""
    far, gauge, length = 1e7, 1.0, 1.0
    strip = Segment("dome", far, 0.0, 0.0, length, 0.0)
    modulus = 70_000.0
    material = Material(modulus, NU, YIELD, Linear(0.0))
    shell = revolve(strip, material, gauge, 1, "", "", layers=16)
    start = shell.start()

    def moment(curvature: float) -> float:
        s = np.array([-0.5, 0.0, 0.5]) * length
        x = np.stack(
            (
                far + 0.5 * length + np.sin(curvature * s) / curvature,
                (1.0 - np.cos(curvature * s)) / curvature,
                curvature * s,
            ),
            axis=1,
        )
        return float(shell.evaluate(x.ravel(), 0.0, start).residual[-1]) / far

    plastic = 2.0 / np.sqrt(3.0) * YIELD * gauge**2 / 4.0
    elastic = YIELD * gauge**2 / 6.0 / np.sqrt(1.0 - NU + NU**2)
    # curvature at which the outer fibre yields
    first = 2.0 * elastic * 6.0 / gauge**2 * (1.0 - NU**2) / (modulus * gauge)
    source = "closed form of a strip bent in plane strain"
    evidence(
        "strip bent in plane strain, half the elastic limit: moment", expected=0.5 * elastic,
        computed=moment(0.5 * first), rel=1e-3, unit="N", source=source,
    )  # fmt: skip
    evidence(
        "strip bent in plane strain, fully plastic: moment", expected=plastic,
        computed=moment(20.0 * first), rel=0.005, unit="N", source=source,
    )  # fmt: skip
