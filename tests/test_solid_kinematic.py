"""A point of the solid with a kinematic share.

Sources: closed forms of a pull and its reverse (J. Bauschinger 1881, W. Prager 1956); objectivity;
the plain point of the multiplicative split, which a share that vanishes must meet; the layers'
return map under no stress through the gauge, which shares no line with it.
"""

from __future__ import annotations

import numpy as np
import pytest
from evidence_rows import COMPUTED, METAL, About
from scipy.optimize import brentq, fsolve

from domemargin.fea.metal.layers import layer_stresses
from domemargin.fea.metal.materials import STATE as LAYER_STATE
from domemargin.fea.metal.materials import encode
from domemargin.fea.solid.kernel import STATE, point
from domemargin.fea.solid.kinematic import KINEMATIC_STATE, kinematic_ratio
from domemargin.profiles.material import Linear, Material, Voce

ABOUT = About(METAL, "flow with a back stress at finite strain", COMPUTED)

E, NU, FIRST = 69_000.0, 0.33, 270.0


def metal(share: float, law=None) -> Material:
    return Material(E, NU, FIRST, law or Voce(40.0, 20.0), share)


def step(material: Material, f, old=None):
    """Kirchhoff stress rr, zz, rz, hoop, tangent and state after a step to f (5,)."""
    kinematic = material.kinematic_share > 0.0
    if old is None:
        old = np.zeros(KINEMATIC_STATE if kinematic else STATE)
        if not kinematic:
            old[[0, 1, 3]] = 1.0
    new, tau, a = np.empty_like(old), np.empty(4), np.empty((5, 5))
    point(encode(material), 1.0, np.asarray(f, dtype=float), old, new, tau, a)
    return tau, a, new


def gradient(matrix, hoop: float) -> np.ndarray:
    return np.append(np.asarray(matrix).ravel(), hoop)


def test_a_vanishing_share_is_the_plain_point() -> None:
    """Along a path whose axes turn with the metal."""
    plain, tiny = metal(0.0), metal(1e-12)
    one = two = None
    for angle, e1, e2, e3 in ((0.1, 0.01, -0.02, 0.004), (0.5, 0.05, -0.03, -0.01)):
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        f = gradient(turn @ np.diag(np.exp([e1, e2])), np.exp(e3))
        expected, tangent, one = step(plain, f, one)
        tau, a, two = step(tiny, f, two)
        assert tau == pytest.approx(expected, rel=1e-9, abs=1e-7)
        assert two[4] == pytest.approx(one[4], rel=1e-10)
        assert a == pytest.approx(tangent, abs=2e-3 * E * 1e-2)


@pytest.mark.parametrize("share", [0.3, 1.0])
def test_reverse_yield_in_closed_form(evidence, share: float) -> None:
    """After a pull to s, yield comes back at s - 2 [sy + (1 - m)(s - sy)]."""
    material = metal(share, Linear(900.0))

    def pulled(e: float, old=None):
        """Pull along z with nothing across: fsolve for the two stretches across."""

        def across(x):
            tau, _, _ = step(material, [np.exp(x[0]), 0, 0, np.exp(e), np.exp(x[1])], old)
            return tau[[0, 3]] / E

        x = fsolve(across, [-0.4 * e, -0.4 * e], xtol=1e-10)
        tau, _, new = step(material, [np.exp(x[0]), 0, 0, np.exp(e), np.exp(x[1])], old)
        return float(tau[1]), new

    s, state = pulled(0.04)
    plastic = brentq(lambda p: (FIRST + 900.0 * p) / E + p - 0.04, 0.0, 0.04)
    assert s == pytest.approx(FIRST + 900.0 * plastic, rel=1e-8)
    expected = s - 2.0 * (FIRST + (1.0 - share) * (s - FIRST))
    at = 0.04 - (s - expected) / E
    before, after = pulled(at + 1e-6, state), pulled(at - 1e-5, state)
    assert before[1][4] == state[4]
    assert after[1][4] > state[4]
    evidence(
        f"solid, kinematic share {share:g}: stress at reverse yield",
        expected=expected + 1e-6 * E, computed=before[0], rel=1e-5, unit="MPa",
        source="J. Bauschinger 1881, W. Prager 1956",
    )  # fmt: skip


def test_turning_the_metal_turns_the_stress() -> None:
    material = metal(0.5)
    first = gradient(np.array([[1.02, 0.01], [-0.005, 0.985]]), 1.004)
    state = step(material, first)[2]
    second = gradient(np.array([[0.99, -0.004], [0.01, 1.02]]), 0.995)
    tau = step(material, second, state)[0]
    angle = 0.7
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    f = gradient(turn @ second[:4].reshape(2, 2), second[4])
    found = step(material, f, state)[0]
    plane = turn @ np.array([[tau[0], tau[2]], [tau[2], tau[1]]]) @ turn.T
    assert found == pytest.approx([plane[0, 0], plane[1, 1], plane[0, 1], tau[3]], rel=1e-9)
    assert kinematic_ratio(encode(material), 1.0, f, step(material, f, state)[2]) == pytest.approx(
        1
    )


def test_against_the_layers_out_and_back(evidence) -> None:
    """Stretched along r and hoop, nothing along z, and back across: the plane stress of layers."""
    material = metal(0.4)
    solid, layer = None, np.zeros((LAYER_STATE, 1))
    for e1, e2 in ((0.03, 0.01), (-0.01, 0.02), (0.0, -0.03)):
        new, stress, tangent = np.empty_like(layer), np.empty((3, 1)), np.empty((6, 1))
        layer_stresses(
            encode(material), np.ones(1), np.array([[e1], [e2], [0.0]]), layer, new, stress, tangent
        )
        layer = new
        through = brentq(
            lambda e, e1=e1, e2=e2, old=solid: step(
                material, [np.exp(e1), 0, 0, np.exp(e), np.exp(e2)], old
            )[0][1],
            -0.2, 0.2, xtol=1e-15,
        )  # fmt: skip
        tau, _, solid = step(material, [np.exp(e1), 0, 0, np.exp(through), np.exp(e2)], solid)
        rows = (("meridian", tau[0], stress[0, 0]), ("hoop", tau[3], stress[1, 0]))
        for name, ours, theirs in rows:
            evidence(
                f"solid against layers, strain ({e1:g}, {e2:g}): {name} stress",
                expected=float(theirs), computed=float(ours), rel=1e-6, unit="MPa",
            )  # fmt: skip
