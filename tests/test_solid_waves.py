"""Waves in the axisymmetric solid: moduli, rigid motion, n = 0, and onsets of two can bottoms.

Moduli are checked against a return map by matrix logarithm and exponential in three dimensions
(tests/test_solid.py): its derivative after one step from virgin metal is that of deformation
theory, and with the plastic strain held it is what flow theory has for shears out of the section.

Onsets by the two models (MPa; default resolution) and by an independent continuum solution
(axisymmetric, eight-node quads, two elements through the gauge; computed independently, band 1 %):

                                    G                               H
                          solid     shell     given       solid     shell     given
    flow theory, n = 1    0.6649    0.6659    0.666       0.5024    0.5016    0.501     falling
    deformation, n = 0    0.5953    0.5967    0.5575      0.5006    0.5017    0.4821    rising
    deformation, n = 1    0.616     0.618     0.578       0.508     0.508     0.496     rising
    elastic               1.2568    1.2616                1.4118    1.4182              n = 5, 7
    elastic limit         1.5918    1.6009                1.8719    1.8815

The given deformation-theory values are not met: their moduli are described as
1/(2 Gs) = 1/(2 G) + 1.5 ep/q, which both models have here (and the check against the return map
confirms), and give pressures 4 to 7 % higher.  Two elements with 2 x 2 points give 0.591 and 0.605
(G), 0.499 and 0.507 (H), so the mesh does not explain it.  Nor do: the tangent along the stress
from Gs in place of G (0.590), a bulk modulus reduced like the shear modulus (0.586), another
transverse shear modulus (no change), or counting all metal that has ever yielded (no change: none
unloads on the way up).  A third of Gs in the section, with Gs out of it, would give 0.562, 0.577;
0.484, 0.495: all within 1 %, as if the secant compliance had been counted three times there.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from evidence_rows import CODE, COMPUTED, WAVES_AROUND, About
from scipy.linalg import logm
from test_solid import CURVES, METALS, VIRGIN, G, K, dense, full, oracle, plastic_trial, ring

from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.metal.materials import encode
from domemargin.fea.solid.kernel import point
from domemargin.fea.solid.wave_kernel import DEFORMATION, FLOW, wave_moduli
from domemargin.fea.solid.waves import solid_wave_tangent
from domemargin.profiles import load_profile

ABOUT = About(WAVES_AROUND, "shell and solid of this project", CODE)

DATA = Path(__file__).parent / "data"
STRAINED = np.array([1.03, 0.012, -0.02, 0.985, 1.01])  # rr, rz, zr, zz, hoop
# (row, column) of the gradient components, in r, z, hoop
IN_PLANE = ((0, 0), (0, 1), (1, 0), (1, 1), (2, 2))
OUT_OF_PLANE = ((0, 2), (2, 0), (1, 2), (2, 1))


def moduli(name: str, theory: int, old=VIRGIN):
    a, b = np.empty((5, 5)), np.empty((4, 4))
    wave_moduli(encode(METALS[name]), 1.0, STRAINED, old, 0.0, theory, a, b)
    return a, b


def differences(stress, entries):
    """d(tau F^-T)/dF pushed forward, by central differences of a stress (3 x 3) of F."""
    f, step = full(STRAINED), 1e-6
    out = np.empty((len(entries), len(entries)))
    for column, (k, m) in enumerate(entries):
        gradient = np.zeros((3, 3))
        gradient[k, m] = step
        ends = [(np.eye(3) + sign * gradient) @ f for sign in (1, -1)]
        piola = [stress(end) @ np.linalg.inv(end).T for end in ends]
        change = (piola[0] - piola[1]) @ f.T / (2 * step)
        out[:, column] = [change[entry] for entry in entries]
    return out


@pytest.mark.parametrize("name", ["elastic", "linear", "voce", "swift"])
def test_deformation_theory_is_one_step_from_virgin_metal(name):
    a, b = moduli(name, DEFORMATION)

    def stress(f):
        return oracle(CURVES.get(name), f, np.eye(3), 0.0)[0]

    assert name == "elastic" or oracle(CURVES[name], full(STRAINED), np.eye(3), 0.0)[2] > 0.01
    for found, entries in ((a, IN_PLANE), (b, OUT_OF_PLANE)):
        expected = differences(stress, entries)
        np.testing.assert_allclose(found, expected, rtol=0, atol=1e-6 * np.abs(expected).max())


@pytest.mark.parametrize("name", ["elastic", "voce", "perfect"])
def test_flow_theory_shears_elastically_out_of_the_section(name):
    a, b = moduli(name, FLOW)
    new, tau, same = np.empty(5), np.empty(4), np.empty((5, 5))
    point(encode(METALS[name]), 1.0, STRAINED, VIRGIN, new, tau, same)
    np.testing.assert_array_equal(a, same)
    plastic = full([new[0], new[2], new[2], new[1], new[3]])

    def stress(f):
        strain = 0.5 * logm(f @ plastic @ f.T).real
        volume = np.trace(strain) / 3.0 * np.eye(3)
        return 3.0 * K * volume + 2.0 * G * (strain - volume)

    expected = differences(stress, OUT_OF_PLANE)
    np.testing.assert_allclose(b, expected, rtol=0, atol=1e-6 * np.abs(expected).max())


def stressed(name: str, theory: str):
    """A ring free of supports, strained and under pressure; its tangents and its positions."""
    model = ring(METALS[name], 0.05, fixed={})
    before, u, pressure = model.start(), plastic_trial(model), 60.0
    found = model.evaluate(u, pressure, before)
    assert (found.trial[..., 4].max() > 0.005) == (name != "elastic")
    state = model.accept(u, pressure, found, before)
    return model, found, solid_wave_tangent(model, before, state, theory), state


@pytest.mark.parametrize("name", ["elastic", "voce"])
def test_no_waves_is_the_axisymmetric_tangent(name):
    model, found, tangent, _ = stressed(name, "flow")
    moving = np.flatnonzero(np.arange(3 * len(model.reference)) % 3 != 2)
    expected = dense(found.band)
    got = dense(tangent.band(0))[np.ix_(moving, moving)]
    np.testing.assert_allclose(got, expected, rtol=0, atol=1e-13 * np.abs(expected).max())


@pytest.mark.parametrize("name", ["elastic", "voce"])
@pytest.mark.parametrize("theory", ["flow", "deformation"])
def test_rigid_motion_meets_no_other_force_than_the_loads(name, theory):
    """One wave moves a body sideways or tips it.

    The pressure on the bore is closed by its two ends in the enclosed volume only where they do
    not move; what is left over is there and nowhere else.  Tipping turns the forces that hold the
    body, so it is checked where there are none: inside.
    """
    model, found, tangent, state = stressed(name, theory)
    x = model.reference + state.x
    one = np.ones(len(x))
    sideways = np.stack((one, 0 * one, -one), axis=1).ravel()
    tip = np.stack((x[:, 1], -x[:, 0], -x[:, 1]), axis=1).ravel()
    # free bodies: no boundary unknown is held but for n = 1 on the axis, where there is none
    band = dense(tangent.band(1))
    size = np.abs(band).max()
    forces = found.residual.reshape(-1, 2)  # what would have to hold the body
    z = model.reference[:, 1]
    inside = (z > 0.01) & (z < 1.19)
    push = (band @ sideways).reshape(-1, 3)
    assert np.abs(push[inside]).max() < 1e-12 * size
    # turned forces: a force (R, Z) cos 0 on a circle tipped by the angle 1
    turned = np.stack((forces[:, 1], -forces[:, 0], -forces[:, 1]), axis=1)
    left = (band @ tip).reshape(-1, 3)
    assert np.abs((left - turned)[inside]).max() < 1e-12 * size * np.abs(x).max()
    assert np.abs(turned).max() > 1e-6 * size  # the check can fail


@pytest.fixture(scope="module", params=["g", "h"])
def pair(request):
    profile = load_profile(DATA / f"open_case_{request.param}.toml")
    return request.param, [
        reversal(profile, model=model, follow=True, growth_at=()) for model in ("solid", "shell")
    ]


def test_flow_theory_tips_after_the_limit(evidence, pair):
    name, (solid, shell) = pair
    given = {"g": 0.666, "h": 0.501}[name]
    for record in (solid, shell):
        onset = record.stability.flow
        assert onset.waves == 1
        assert not onset.before_limit
        evidence(
            f"{record.mesh.model}, open case {name.upper()}, flow theory, n = 1: onset",
            expected=given, computed=onset.pressure_mpa, rel=0.01, unit="MPa", kind=COMPUTED,
            source="axisymmetric continuum by another code, perturbed in n waves, one mesh with 2 "
            "elements through the gauge, ±1 %",
        )  # fmt: skip


def test_models_agree_by_deformation_theory(evidence, pair):
    name, (solid, shell) = pair
    one, other = solid.stability.deformation, shell.stability.deformation
    assert one.waves == other.waves == 0
    assert one.before_limit
    evidence(
        f"solid against shell, open case {name.upper()}, deformation theory, n = 0: onset",
        expected=other.pressure_mpa, computed=one.pressure_mpa, rel=0.01, unit="MPa",
    )  # fmt: skip


@pytest.mark.xfail(
    reason="4 to 7 % above; two models agree, and neither mesh nor moduli explain it", strict=True
)
@pytest.mark.parametrize("model", [0, 1], ids=["solid", "shell"])
def test_given_onset_by_deformation_theory(evidence, pair, model):
    name, records = pair
    evidence(
        f"{records[model].mesh.model}, open case {name.upper()}, deformation theory, n = 0: onset",
        expected={"g": 0.5575, "h": 0.4821}[name],
        computed=records[model].stability.deformation.pressure_mpa, rel=0.01, unit="MPa",
        kind=COMPUTED, source="axisymmetric continuum by another code, secant moduli, one mesh "
        "with 2 elements through the gauge, ±1 %",
    )  # fmt: skip


@pytest.mark.parametrize(("name", "waves"), [("g", 5), ("h", 7)])
def test_elastic_bottoms_let_go_in_the_same_waves(evidence, name, waves):
    profile = load_profile(DATA / f"open_case_{name}.toml")
    profile = replace(profile, material=replace(profile.material, yield_strength=None))
    solid, shell = (
        reversal(profile, model=model, growth_at=(), resolution=0.005)
        for model in ("solid", "shell")
    )
    assert solid.kind == shell.kind == "bifurcation"
    assert solid.stability.flow.waves == shell.stability.flow.waves == waves
    what = f"solid against shell, open case {name.upper()}, elastic metal"
    evidence(
        f"{what}: onset in {waves} waves", expected=shell.reversal_pressure_mpa,
        computed=solid.reversal_pressure_mpa, rel=0.01, unit="MPa",
    )  # fmt: skip
    ours, theirs = (record.stability.axisymmetric_limit_mpa for record in (solid, shell))
    evidence(f"{what}: axisymmetric limit", expected=theirs, computed=ours, rel=0.01, unit="MPa")
    # the mode has its crest where the shell has it
    crest = [
        record.before.r_mm[np.argmax(np.abs(record.stability.flow.axial))]
        for record in (solid, shell)
    ]
    assert crest[0] == pytest.approx(crest[1], abs=1.0)
