"""Metal with a mean r-value (Hosford's surface, exponent 8) and with a back stress that fades.

Sources: W. F. Hosford 1979 (equivalent stress of plane stress with a mean r-value; value from
memory) in closed form for one- and two-way pull; a return map of its own here, by scipy's root
finders in stress space, computed independently; Armstrong and Frederick's rule in one direction
and back, in closed form (J. L. Chaboche, Int. J. Plasticity 2, 1986, 149-188: value from memory).
"""

from __future__ import annotations

import numpy as np
import pytest
from evidence_rows import COMPUTED, METAL, About
from scipy.optimize import brentq, root

from domemargin.fea.metal.layers import layer_stresses
from domemargin.fea.metal.materials import B1, EP, P1, P2, STATE, encode, yield_ratio
from domemargin.profiles.material import BackStress, Linear, Material, Swift, Table, Voce

ABOUT = About(METAL, "Hosford's surface and a fading back stress", COMPUTED)

E, NU, FIRST = 69_000.0, 0.33, 270.0
LAWS = [Voce(40.0, 20.0), Linear(500.0), Swift(0.004, 0.06),
        Table((0.0, 0.01, 0.03, 0.2), (270.0, 285.0, 300.0, 310.0))]  # fmt: skip
STIFF = np.array([
    [E / (1 - NU**2), NU * E / (1 - NU**2), 0.0],
    [NU * E / (1 - NU**2), E / (1 - NU**2), 0.0],
    [0.0, 0.0, E / (2 * (1 + NU))],
])  # fmt: skip


def steps(material: Material, strains, old=None, factor: float = 1.0):
    """Stress (3, n), tangent (6, n) and state (7, n) of one step to strains (3, n)."""
    strains = np.asarray(strains, dtype=float).reshape(3, -1)
    n = strains.shape[1]
    old = np.zeros((STATE, n)) if old is None else old.copy()
    new, stress, tangent = np.empty((STATE, n)), np.empty((3, n)), np.empty((6, n))
    layer_stresses(encode(material), np.full(n, factor), strains, old, new, stress, tangent)
    return stress, tangent, new


def curve(material: Material, ep: float) -> float:
    match material.hardening:
        case Voce(saturation, rate):
            return FIRST + saturation * (1.0 - np.exp(-rate * ep))
        case Linear(modulus):
            return FIRST + modulus * ep
        case Swift(reference, exponent):
            return FIRST * (1.0 + ep / reference) ** exponent
        case Table(strain, stress):
            return float(np.interp(ep, strain, stress))


def equivalent(material: Material, s: np.ndarray) -> float:
    r = material.r_value
    if r is None:
        plane = s[0] ** 2 - s[0] * s[1] + s[1] ** 2
    else:
        a, b, c = abs(s[0]) / 300.0, abs(s[1]) / 300.0, abs(s[0] - s[1]) / 300.0
        plane = (300.0 * ((a**8 + b**8 + r * c**8) / (1.0 + r)) ** 0.125) ** 2
    return float(np.sqrt(plane + 3.0 * s[2] ** 2))


def gradient(material: Material, s: np.ndarray) -> np.ndarray:
    """By differences, of fourth order: nothing here shares the code's derivatives."""
    h = 1e-3 * FIRST
    out = np.empty(3)
    for i in range(3):
        e = h * np.eye(3)[i]
        f = [equivalent(material, s + k * e) for k in (-3, -2, -1, 1, 2, 3)]
        out[i] = (-f[0] + 9 * f[1] - 45 * f[2] + 45 * f[3] - 9 * f[4] + f[5]) / (60 * h)
    return out


def by_root(material: Material, strain, old) -> tuple[np.ndarray, float, np.ndarray]:
    """Stress, ep and back stress of one implicit step, in stress less back stress and d."""
    back0, ep0 = old[B1:], old[EP]
    m, law = material.kinematic_share, material.back_stress
    top, rate = (0.0, 0.0) if law is None else (law.saturation, law.rate)

    def split(d: float) -> tuple[float, float, float]:
        now, start, w = curve(material, ep0 + d), curve(material, ep0), np.exp(-rate * d)
        iso = FIRST + (1 - m) * (now - FIRST) - top * (1 - np.exp(-rate * (ep0 + d)))
        return iso, m * (now - start) + top * (1 - w), w

    trial = STIFF @ (np.asarray(strain) - old[P1 : P1 + 3])

    def residual(x: np.ndarray) -> np.ndarray:
        eta, d = FIRST * x[:3], abs(x[3]) * 0.01
        iso, kin, w = split(d)
        stress = eta + w * back0 + kin / iso * eta
        flow = STIFF @ gradient(material, eta) * d
        return np.append((trial - flow - stress) / FIRST, equivalent(material, eta) / iso - 1.0)

    eta0 = trial - back0
    if equivalent(material, eta0) <= split(0.0)[0]:
        return trial, ep0, back0
    for share in (1.0, 0.5, 0.2, 2.0, 0.05):
        size = equivalent(material, eta0)
        guess = np.append(eta0 / size, share * (size - FIRST) / E * 100.0)
        found = root(residual, guess, tol=1e-13)
        if np.abs(found.fun).max() < 1e-11:
            break
    else:
        found = root(residual, guess, method="lm", tol=1e-14)
    assert np.abs(found.fun).max() < 1e-10, found
    eta, d = FIRST * found.x[:3], abs(found.x[3]) * 0.01
    iso, kin, w = split(d)
    back = w * back0 + kin / iso * eta
    return eta + back, ep0 + d, back


METALS = {
    "r 0.6": {"r_value": 0.6},
    "r 1.4, share 0.4": {"r_value": 1.4, "kinematic_share": 0.4},
    "fading": {"back_stress": BackStress(60.0, 80.0)},
    "r 0.8, fading": {"r_value": 0.8, "back_stress": BackStress(50.0, 40.0)},
}


@pytest.mark.parametrize("law", LAWS, ids=lambda law: type(law).__name__.lower())
@pytest.mark.parametrize("kind", METALS)
def test_return_map_against_root_finder(evidence, kind: str, law) -> None:
    """Three random steps, each from the state the last one left: stress, strain, back stress."""
    material = Material(E, NU, FIRST, law, **METALS[kind])
    rng = np.random.default_rng(7)
    n = 12
    strain, state = np.zeros((3, n)), np.zeros((STATE, n))
    worst, yielded = 0.0, 0
    for size in (0.004, 0.01, 0.03):
        strain = strain + rng.normal(0.0, size, (3, n)) * np.array([[1.0], [1.0], [0.1]])
        stress, _, new = steps(material, strain, state)
        for i in range(n):
            expected, ep, back = by_root(material, strain[:, i], state[:, i])
            worst = max(
                worst,
                np.abs(stress[:, i] - expected).max() / FIRST,
                np.abs(new[B1:, i] - back).max() / FIRST,
                abs(new[EP, i] - ep) / max(ep, 1e-3),
            )
            yielded += new[EP, i] > state[EP, i]
        state = new
    assert yielded > 24
    evidence(
        f"{kind}, {type(law).__name__.lower()}: largest difference from scipy's root finders",
        expected=0.0, computed=worst, abs=1e-8, unit="of the yield stress",
    )  # fmt: skip


@pytest.mark.parametrize("kind", METALS)
def test_tangent_against_differences(kind: str) -> None:
    """The given tangent is the symmetric part of the true one, which it is where none fades."""
    material = Material(E, NU, FIRST, Voce(40.0, 20.0), **METALS[kind])
    rng = np.random.default_rng(3)
    first = rng.normal(0.0, 0.006, (3, 40)) * np.array([[1.0], [1.0], [0.2]])
    state = steps(material, first)[2]
    strain = first + rng.normal(0.0, 0.004, (3, 40)) * np.array([[1.0], [1.0], [0.2]])
    tangent = steps(material, strain, state)[1]
    whole = np.empty((3, 3, 40))
    for j in range(3):
        h = 1e-7 * np.eye(3)[:, j : j + 1]
        above, below = (steps(material, strain + way * h, state)[0] for way in (1, -1))
        whole[:, j] = (above - below) / 2e-7
    given = tangent[[0, 1, 3, 1, 2, 4, 3, 4, 5]].reshape(3, 3, 40)
    fading = material.back_stress is not None
    error = np.abs(given - 0.5 * (whole + whole.transpose(1, 0, 2))).max(axis=(0, 1)) / E
    # a lane that is at yield within the difference has two tangents
    assert np.median(error) < (2e-3 if fading else 1e-6)
    assert np.sort(error)[-3] < (0.08 if fading else 1e-5)
    if not fading:
        assert np.sort(np.abs(whole - whole.transpose(1, 0, 2)).max(axis=(0, 1)))[-3] < 1e-4 * E


def free(material: Material, e1: float, old=None):
    """Step to a meridian strain with the hoop stress zero."""
    e2 = brentq(lambda e: steps(material, (e1, e, 0.0), old)[0][1, 0], -1.0, 1.0, xtol=1e-15)
    return steps(material, (e1, e2, 0.0), old)


@pytest.mark.parametrize("r_value", [0.5, 1.0, 1.8])
def test_hosford_closed_forms(evidence, r_value: float) -> None:
    material = Material(E, NU, FIRST, Linear(0.0), r_value=r_value)
    stress, _, new = free(material, 0.05)
    assert stress[0, 0] == pytest.approx(FIRST, rel=1e-9)
    width, thickness = new[P2, 0], -(new[P1, 0] + new[P2, 0])
    evidence(
        f"r-value {r_value:g}: width over thickness strain of a pulled strip",
        expected=r_value, computed=float(width / thickness), rel=1e-8,
    )  # fmt: skip
    stress, _, _ = steps(material, (0.03, 0.03, 0.0))
    evidence(
        f"r-value {r_value:g}: yield stress in equal two-way pull over that in one-way pull",
        expected=((1.0 + r_value) / 2.0) ** 0.125, computed=float(stress[0, 0] / FIRST), rel=1e-9,
        source="W. F. Hosford 1979, value from memory",
    )  # fmt: skip


def test_yield_ratio_is_one_at_yield() -> None:
    for given in METALS.values():
        material = Material(E, NU, FIRST, Voce(40.0, 20.0), **given)
        stress, _, new = steps(material, (0.02, -0.013, 0.004))
        assert yield_ratio(encode(material), np.ones(1), new, stress)[0] == pytest.approx(1.0)


def test_fading_back_stress_in_closed_form(evidence) -> None:
    """Pull, then push: X (1 - exp(-g p)) out, and back from it towards -X; the pull alone follows
    the yield curve whatever the back stress."""
    top, rate = 60.0, 80.0
    material = Material(E, NU, FIRST, Voce(40.0, 20.0), back_stress=BackStress(top, rate))
    stress, _, pulled = free(material, 0.03)
    p = float(pulled[EP, 0])
    assert stress[0, 0] == pytest.approx(curve(material, p), rel=1e-9)
    back = top * (1 - np.exp(-rate * p))
    assert pulled[B1, 0] == pytest.approx(back, rel=1e-9)
    stress, _, pushed = free(material, 0.01, pulled)
    q = float(pushed[EP, 0])
    assert q > p + 0.01
    back = -top + (top + back) * np.exp(-rate * (q - p))
    iso = curve(material, q) - top * (1 - np.exp(-rate * q))
    evidence(
        "pulled by 3 %, pushed back to 1 %: stress", expected=back - iso,
        computed=float(stress[0, 0]), rel=1e-8, unit="MPa",
        source="J. L. Chaboche 1986, value from memory",
    )  # fmt: skip


def test_slow_fading_is_a_share() -> None:
    """A back stress that hardly fades grows as the linear share of the same slope does."""
    share = Material(E, NU, FIRST, Linear(500.0), 0.3)
    slow = Material(E, NU, FIRST, Linear(500.0), back_stress=BackStress(1.5e5, 1e-3))
    first, second = (0.02, 0.01, 0.004), (-0.01, 0.005, -0.002)
    one, two = steps(share, first)[2], steps(slow, first)[2]
    assert two == pytest.approx(one, rel=1e-3, abs=1e-7)
    assert steps(slow, second, two)[0] == pytest.approx(steps(share, second, one)[0], rel=2e-3)


def test_factor_scales_the_curve() -> None:
    material = Material(E, NU, FIRST, Voce(40.0, 20.0), r_value=0.7, back_stress=BackStress(40, 50))
    double = Material(
        E, NU, 2 * FIRST, Voce(80.0, 20.0), r_value=0.7, back_stress=BackStress(80.0, 50.0)
    )
    strain = (0.02, -0.01, 0.002)
    one, two = steps(material, strain, factor=2.0), steps(double, strain)
    # the tangent belongs to the place before the last update
    for a, b, rel in zip(one, two, (1e-9, 1e-6, 1e-9), strict=True):
        assert a == pytest.approx(b, rel=rel, abs=1e-9)
