"""Metal of a shell's layer: yield curves, return map, consistent tangent, Bauschinger effect.

Sources: closed forms of J2 flow under stress paths of fixed direction (uniaxial, equibiaxial, pure
shear), where one step of any length is exact; and for strain paths that bend, the rate equations
of J2 flow with mixed hardening in three dimensions (J. C. Simo & T. J. R. Hughes, Computational
Inelasticity, 1998, sec. 2.3: value from memory) integrated here apart from the code by a
high-order method, computed independently.  Elastic range after reversal: 2 sy with kinematic
hardening only (J. Bauschinger 1881, W. Prager 1956).
"""

from __future__ import annotations

import numpy as np
import pytest
from evidence_rows import COMPUTED, METAL, About
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from domemargin.fea.metal.layers import layer_stresses
from domemargin.fea.metal.materials import (
    B1,
    EP,
    P1,
    P2,
    P3,
    STATE,
    encode,
    yield_curve,
    yield_ratio,
)  # fmt: skip
from domemargin.profiles.material import Linear, Material, Swift, Table, Voce

ABOUT = About(METAL, "J2 flow under stress of fixed direction, closed form", COMPUTED)

E, NU, FIRST = 69_000.0, 0.33, 270.0
LAWS = {
    "perfect": Linear(0.0),
    "linear": Linear(900.0),
    "voce": Voce(40.0, 20.0),
    "swift": Swift(0.004, 0.06),
    "table": Table((0.0, 0.01, 0.03, 0.2), (270.0, 285.0, 300.0, 310.0)),
}
SHARES = [0.0, 0.4, 1.0]


def metal(law: str, share: float = 0.0) -> Material:
    return Material(E, NU, FIRST, LAWS[law], share)


def curve(law: str, ep: float) -> float:
    """The laws as the field writes them."""
    match LAWS[law]:
        case Linear(modulus):
            return FIRST + modulus * ep
        case Voce(saturation, rate):
            return FIRST + saturation * (1.0 - np.exp(-rate * ep))
        case Swift(reference, exponent):
            return FIRST * (1.0 + ep / reference) ** exponent
        case Table(strain, stress):
            return float(np.interp(ep, strain, stress))
    raise AssertionError(law)


def step(material: Material, strain, old=None, factor: float = 1.0):
    """Stress (3,), tangent (3, 3) and new state (7,) of one step to a strain."""
    old = np.zeros(STATE) if old is None else old
    new, stress, tangent = np.empty((STATE, 1)), np.empty((3, 1)), np.empty((6, 1))
    column = np.array(strain, dtype=float)[:, None]
    layer_stresses(
        encode(material), np.array([factor]), column, old[:, None].copy(), new, stress, tangent
    )
    t11, t12, t22, t13, t23, t33 = tangent[:, 0]
    whole = np.array([[t11, t12, t13], [t12, t22, t23], [t13, t23, t33]])
    return stress[:, 0], whole, new[:, 0]


def uniaxial(material: Material, e1: float, old=None):
    """Step to a meridian strain with the hoop stress zero."""
    e2 = brentq(lambda e: step(material, (e1, e, 0.0), old)[0][1], -1.0, 1.0, xtol=1e-15)
    stress, _, new = step(material, (e1, e2, 0.0), old)
    return stress[0], new


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("ep", [0.0, 1e-4, 0.005, 0.02, 0.1, 0.5])
def test_yield_curves(law: str, ep: float) -> None:
    stress, slope = yield_curve(encode(metal(law)), ep)
    assert stress == pytest.approx(curve(law, ep), rel=1e-13)
    h = 1e-7
    right = (curve(law, ep + h) - curve(law, ep)) / h
    assert slope == pytest.approx(right, rel=1e-4, abs=1e-4)


def test_table_is_level_after_its_end() -> None:
    encoded = encode(metal("table"))
    assert yield_curve(encoded, 0.2) == (310.0, 0.0)
    assert yield_curve(encoded, 3.0) == (310.0, 0.0)
    # at a corner, the slope of what follows
    assert yield_curve(encoded, 0.01)[1] == pytest.approx(15.0 / 0.02)


def test_elastic_law_is_plane_stress() -> None:
    stress, tangent, new = step(Material(E, NU), (0.02, -0.3, 0.1))
    plane = E / (1.0 - NU**2) * np.array([[1.0, NU, 0.0], [NU, 1.0, 0.0], [0.0, 0.0, 0.0]])
    plane[2, 2] = E / (2.0 * (1.0 + NU))
    assert tangent == pytest.approx(plane, rel=1e-13)
    assert stress == pytest.approx(plane @ [0.02, -0.3, 0.1], rel=1e-13)
    assert not new.any()


@pytest.mark.parametrize("share", SHARES)
@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("strain", [0.002, 0.0045, 0.02, 0.3])
def test_uniaxial_closed_form(law: str, share: float, strain: float) -> None:
    """strain = s/E + ep, s = yield stress (ep); the share of kinematic hardening is not felt."""
    stress, new = uniaxial(metal(law, share), strain)
    if strain * E <= FIRST:
        assert stress == pytest.approx(E * strain, rel=1e-10)
        return
    ep = brentq(lambda x: curve(law, x) / E + x - strain, 0.0, strain, xtol=1e-16)
    assert stress == pytest.approx(curve(law, ep), rel=1e-9)
    assert new[EP] == pytest.approx(ep, rel=1e-9)
    # plastic flow keeps the volume: the hoop contracts by half
    assert new[[P1, P2]] == pytest.approx([ep, -0.5 * ep], rel=1e-8)


@pytest.mark.parametrize("share", SHARES)
@pytest.mark.parametrize("law", LAWS)
def test_equibiaxial_and_shear_closed_forms(evidence, law: str, share: float) -> None:
    """Equivalent stress of each path = yield stress; ep from strain = elastic + plastic."""
    material, shear = metal(law, share), E / (2.0 * (1.0 + NU))
    # equibiaxial: s = E/(1-nu) (e - ep/2), q = s
    ep = brentq(lambda x: E / (1 - NU) * (0.03 - 0.5 * x) - curve(law, x), 0.0, 1.0, xtol=1e-16)
    stress, _, new = step(material, (0.03, 0.03, 0.0))
    evidence(
        f"{law}, kinematic share {share:g}, equibiaxial strain of 3 %: stress",
        expected=curve(law, ep), computed=float(stress[0]), rel=1e-9, unit="MPa",
    )  # fmt: skip
    assert stress == pytest.approx([curve(law, ep)] * 2 + [0.0], rel=1e-9)
    assert new[EP] == pytest.approx(ep, rel=1e-9)
    # stretch e and -e: s = 2 G (e - sqrt(3)/2 ep), q = sqrt(3) s
    root = np.sqrt(3.0)
    ep = brentq(
        lambda x: 2 * shear * (0.03 - 0.5 * root * x) * root - curve(law, x), 0.0, 1.0, xtol=1e-16
    )
    stress, _, new = step(material, (0.03, -0.03, 0.0))
    assert stress[:2] == pytest.approx(np.array([1.0, -1.0]) * curve(law, ep) / root, rel=1e-9)
    # transverse shear: t = G (g - sqrt(3) ep), q = sqrt(3) t
    ep = brentq(lambda x: shear * (0.03 - root * x) * root - curve(law, x), 0.0, 1.0, xtol=1e-16)
    stress, _, new = step(material, (0.0, 0.0, 0.03))
    assert stress == pytest.approx([0.0, 0.0, curve(law, ep) / root], rel=1e-9, abs=1e-9)
    assert new[P3] == pytest.approx(root * ep, rel=1e-9)


@pytest.mark.parametrize("share", SHARES)
@pytest.mark.parametrize("law", LAWS)
def test_reverse_yield(evidence, law: str, share: float) -> None:
    """After pulling to s, yield comes back at s - 2 [sy + (1 - m)(s - sy)], m the kinematic share;
    m = 1 gives s - 2 sy, m = 0 gives -s."""
    material = metal(law, share)
    pulled, state = uniaxial(material, 0.03)
    expected = pulled - 2.0 * (FIRST + (1.0 - share) * (pulled - FIRST))
    elastic = 0.03 - (pulled - expected) / E
    stress, after = uniaxial(material, elastic + 1e-7, state)
    assert after[EP] == state[EP]
    evidence(
        f"{law}, kinematic share {share:g}, pulled to 3 %: stress at reverse yield",
        expected=expected + 1e-7 * E, computed=float(stress), rel=1e-6, unit="MPa",
        source="J. Bauschinger 1881, W. Prager 1956: elastic range after reversal",
    )  # fmt: skip
    _, after = uniaxial(material, elastic - 1e-6, state)
    assert after[EP] > state[EP]


def test_yield_factor_scales_the_curve() -> None:
    material = metal("voce", 0.4)
    double = Material(E, NU, 2.0 * FIRST, Voce(80.0, 20.0), 0.4)
    old = step(material, (0.01, 0.02, 0.003), factor=2.0)[2]
    assert old == pytest.approx(step(double, (0.01, 0.02, 0.003))[2], rel=1e-12)
    one = step(material, (0.02, -0.01, 0.0), old, factor=2.0)
    two = step(double, (0.02, -0.01, 0.0), old)
    assert one[0] == pytest.approx(two[0], rel=1e-12)
    assert one[1] == pytest.approx(two[1], rel=1e-9)


def test_prior_strain_is_a_place_on_the_curve() -> None:
    """Metal that has worked already yields at its hardened stress."""
    old = np.zeros(STATE)
    old[EP] = 0.05
    material = metal("voce")
    limit = curve("voce", 0.05) / E
    assert uniaxial(material, 0.999 * limit, old)[1][EP] == 0.05
    assert uniaxial(material, 1.001 * limit, old)[1][EP] > 0.05


@pytest.mark.parametrize("share", SHARES)
def test_yield_ratio_is_one_at_yield(share: float) -> None:
    material = metal("voce", share)
    stress, _, new = step(material, (0.02, -0.013, 0.004))
    found = yield_ratio(encode(material), np.ones(1), new[:, None], stress[:, None])
    assert found[0] == pytest.approx(1.0, abs=1e-9)
    half = yield_ratio(encode(material), np.full(1, 2.0), np.zeros((STATE, 1)), stress[:, None])
    q = np.sqrt(stress[0] ** 2 - stress[0] * stress[1] + stress[1] ** 2 + 3.0 * stress[2] ** 2)
    assert half[0] == pytest.approx(q / (2.0 * FIRST), rel=1e-12)


# strain path of two straight legs, the second back across the first
LEGS = [np.array([0.012, -0.004, 0.006]), np.array([-0.004, 0.010, -0.002])]


def by_rates(law: str, share: float) -> tuple[np.ndarray, float]:
    """Stress (3,) and ep at the end of LEGS from the rate equations, no stress through the gauge.

    Tensors as (11, 22, 33, 12), 12 the tensor component; unknown e33 follows from no rate of s33.
    """
    lame, shear = E * NU / ((1 + NU) * (1 - 2 * NU)), E / (2 * (1 + NU))
    C = lame * np.outer([1, 1, 1, 0], [1, 1, 1, 0]) + 2 * shear * np.eye(4)
    double = np.array([1.0, 1.0, 1.0, 2.0])  # contraction counts 12 twice
    slope = {k: (lambda x, k=k: (curve(k, x + 1e-6) - curve(k, x - 1e-6)) / 2e-6) for k in LAWS}

    def flow(y):
        s, back, ep = y[:4], y[4:8], y[8]
        eta = s - np.array([1, 1, 1, 0]) * s[:3].sum() / 3.0 - back
        size = FIRST + (1 - share) * (curve(law, max(ep, 0.0)) - FIRST)
        return eta, np.sqrt(1.5 * (double * eta * eta).sum()), size

    def rate(_, y, direction, plastic):
        eta, q, _ = flow(y)
        D, ratio = C, np.zeros(4)
        if plastic:
            n = 1.5 * eta / q
            hard = slope[law](max(y[8], 1e-6))
            below = (double * n * (C @ n)).sum() + hard
            ratio = double * (C @ n) / below
            D = C - np.outer(C @ n, ratio)
        e = np.array([direction[0], direction[1], 0.0, 0.5 * direction[2]])
        e[2] = -(D[2, [0, 1, 3]] @ e[[0, 1, 3]]) / D[2, 2]
        dep = float(ratio @ e) if plastic else 0.0
        back = share * slope[law](max(y[8], 1e-6)) * dep * eta / q if plastic else np.zeros(4)
        return np.concatenate((D @ e, back, [dep]))

    def reaches(_, y, direction, plastic):
        _, q, size = flow(y)
        return q - size

    reaches.terminal, reaches.direction = True, 1.0
    y, at = np.zeros(9), np.zeros(3)
    options = {"rtol": 1e-10, "atol": 1e-10, "method": "DOP853"}
    for leg in LEGS:
        way = leg - at
        found = solve_ivp(rate, (0.0, 1.0), y, args=(way, False), events=reaches, **options)
        assert found.status == 1
        found = solve_ivp(rate, (found.t[-1], 1.0), found.y[:, -1], args=(way, True), **options)
        y, at = found.y[:, -1], leg
    return y[[0, 1, 3]], y[8]


@pytest.mark.parametrize("share", SHARES)
@pytest.mark.parametrize("law", ["perfect", "linear", "voce", "swift"])
def test_short_steps_tend_to_the_rate_equations(law: str, share: float) -> None:
    expected, expected_ep = by_rates(law, share)
    material, errors = metal(law, share), []
    counts = [25, 50, 100, 200, 400]
    for count in counts:
        old, at = np.zeros(STATE), np.zeros(3)
        for leg in LEGS:
            for i in range(1, count + 1):
                stress, _, old = step(material, at + (leg - at) * i / count, old)
            at = leg
        errors.append(np.abs(stress - expected).max() / FIRST)
    rate = -np.polyfit(np.log(counts), np.log(errors), 1)[0]
    assert rate == pytest.approx(1.0, abs=0.15)  # the return map is of first order
    assert errors[-1] < 1e-3
    assert old[EP] == pytest.approx(expected_ep, rel=1e-3)


small = st.floats(-0.03, 0.03)
strains = st.tuples(small, small, st.floats(-0.01, 0.01))


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.sampled_from(sorted(LAWS)), st.sampled_from(SHARES), strains, strains)
def test_tangent_against_differences(law, share, first, second) -> None:
    material, h = metal(law, share), 1e-7
    old = step(material, first)[2]
    _, tangent, new = step(material, second, old)
    numeric = np.empty((3, 3))
    for i in range(3):
        ends = []
        for sign in (1.0, -1.0):
            moved = np.array(second)
            moved[i] += sign * h
            ends.append(step(material, moved, old))
        # not across the yield point, nor across a corner of the table
        for _, _, state in ends:
            assume((state[EP] > old[EP]) == (new[EP] > old[EP]))
            for corner in LAWS["table"].plastic_strain[1:] if law == "table" else ():
                assume((state[EP] > corner) == (new[EP] > corner))
        numeric[:, i] = (ends[0][0] - ends[1][0]) / (2.0 * h)
    assert tangent == pytest.approx(numeric, abs=2e-5 * E)
    assert tangent == pytest.approx(tangent.T)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.sampled_from(sorted(LAWS)), st.sampled_from(SHARES), strains, strains)
def test_stress_stays_on_or_inside_the_yield_surface(law, share, first, second) -> None:
    material = metal(law, share)
    old = step(material, first)[2]
    stress, _, new = step(material, second, old)
    found = yield_ratio(encode(material), np.ones(1), new[:, None], stress[:, None])[0]
    assert found <= 1.0 + 1e-9
    assert new[EP] >= old[EP]
    if new[EP] > old[EP]:
        assert found == pytest.approx(1.0, abs=1e-9)
    if share == 0.0:
        assert not new[B1:].any()
