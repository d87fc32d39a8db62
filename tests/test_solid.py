"""The axisymmetric solid against closed forms, an independent return map and finite differences."""

from __future__ import annotations

import numpy as np
import pytest
import skfem
from scipy.linalg import expm, logm
from scipy.optimize import brentq

from domemargin.fea.core.banded import factor, solve
from domemargin.fea.metal.materials import encode
from domemargin.fea.solid.kernel import point
from domemargin.fea.solid.solid import solid
from domemargin.profiles.errors import InputError
from domemargin.profiles.material import Linear, Material, Swift, Table, Voce

E, NU = 69_000.0, 0.33
G, K = E / (2 * (1 + NU)), E / (3 * (1 - 2 * NU))
METALS = {
    "elastic": Material(E, NU),
    "perfect": Material(E, NU, 270.0),
    "linear": Material(E, NU, 270.0, Linear(800.0)),
    "voce": Material(E, NU, 270.0, Voce(40.0, 20.0)),
    "swift": Material(E, NU, 270.0, Swift(0.01, 0.1)),
    "table": Material(E, NU, 270.0, Table((0.0, 0.02, 0.1), (270.0, 290.0, 310.0))),
}
CURVES = {
    "perfect": lambda ep: 270.0,
    "linear": lambda ep: 270.0 + 800.0 * ep,
    "voce": lambda ep: 310.0 - 40.0 * np.exp(-20.0 * ep),
    "swift": lambda ep: 270.0 * (1.0 + ep / 0.01) ** 0.1,
    "table": lambda ep: np.interp(ep, (0.0, 0.02, 0.1), (270.0, 290.0, 310.0)),
}
VIRGIN = np.array([1.0, 1.0, 0.0, 1.0, 0.0])


def run_point(metal: Material, f, old=VIRGIN, factor_=1.0):
    new, tau, a = np.empty(5), np.empty(4), np.empty((5, 5))
    point(encode(metal), factor_, np.asarray(f, float), np.asarray(old, float), new, tau, a)
    return tau, new, a


def full(five) -> np.ndarray:
    """3 x 3 matrix (r, z, hoop) of rr, rz, zr, zz, hoop."""
    rr, rz, zr, zz, hoop = five
    return np.array([[rr, rz, 0.0], [zr, zz, 0.0], [0.0, 0.0, hoop]])


def oracle(curve, f, cp_inverse, ep, factor_=1.0):
    """Kirchhoff stress, new Cp^-1 and ep by matrix logarithm and exponential.

    Box 14.3 of de Souza Neto, Peric & Owen, Computational Methods for Plasticity, 2008 (value
    from memory), written with tensors in place of principal values.
    """
    strain = 0.5 * logm(f @ cp_inverse @ f.T).real
    mean = np.trace(strain) / 3.0
    deviator = 2.0 * G * (strain - mean * np.eye(3))
    q = np.sqrt(1.5 * np.sum(deviator**2))
    d = 0.0
    if curve is not None and q > factor_ * curve(ep):
        d = brentq(lambda d: q - 3 * G * d - factor_ * curve(ep + d), 0.0, q / (3 * G), xtol=1e-15)
    flow = 1.5 * deviator / q
    elastic = expm(2.0 * (strain - d * flow))
    inverse = np.linalg.inv(f)
    stress = 3.0 * K * mean * np.eye(3) + deviator - 2.0 * G * d * flow
    return stress, inverse @ elastic @ inverse.T, ep + d


@pytest.mark.parametrize("name", METALS)
def test_point_against_matrix_logarithm(name):
    rng = np.random.default_rng(7)
    for _ in range(20):
        old_cp, old_ep, old = np.eye(3), 0.0, VIRGIN
        f = np.eye(3)
        for _ in range(3):  # a history of three steps, reversals among them
            f = (np.eye(3) + full(rng.uniform(-0.05, 0.05, 5))) @ f
            five = f[[0, 0, 1, 1, 2], [0, 1, 0, 1, 2]]
            tau, new, _ = run_point(METALS[name], five, old, 1.1)
            stress, old_cp, old_ep = oracle(CURVES.get(name), f, old_cp, old_ep, 1.1)
            expected = stress[[0, 1, 0, 2], [0, 1, 1, 2]]
            np.testing.assert_allclose(tau, expected, rtol=0, atol=1e-7 * np.abs(stress).max())
            np.testing.assert_allclose(
                new, [*old_cp[[0, 1, 0, 2], [0, 1, 1, 2]], old_ep], rtol=0, atol=1e-10
            )
            old = new
        if name != "elastic":
            assert old_ep > 0.01


@pytest.mark.parametrize("name", METALS)
def test_point_tangent_against_finite_differences(name):
    rng = np.random.default_rng(3)
    f = np.array([1.0, 0.0, 0.0, 1.0, 1.0]) + rng.uniform(-0.03, 0.03, 5)
    old = np.array([1.002, 0.997, 0.001, 1.001, 0.004]) if name != "elastic" else VIRGIN
    _, new, a = run_point(METALS[name], f, old)
    assert (new[4] > old[4]) == (name != "elastic")

    def first_piola(f):
        t = run_point(METALS[name], f, old)[0]
        return full([t[0], t[2], t[2], t[1], t[3]]) @ np.linalg.inv(full(f)).T

    for k in range(5):
        step = np.zeros(5)
        step[k] = 1e-6
        difference = (first_piola(f + step) - first_piola(f - step)) / 2e-6
        # dP = (a : l) F^-T with l = dF F^-1
        spatial = full(step / 1e-6) @ np.linalg.inv(full(f))
        pushed = full(a @ spatial[[0, 0, 1, 1, 2], [0, 1, 0, 1, 2]]) @ np.linalg.inv(full(f)).T
        np.testing.assert_allclose(pushed, difference, rtol=0, atol=2e-7 * E)


def test_isochoric_stretch_closed_form():
    # F = diag(x^-1/2, x, x^-1/2): q = yield(ep), ep = ln x - q / 3G, in one step of any size
    for stretch in (1.05, 1.3, 0.8):
        side = stretch**-0.5
        tau, new, _ = run_point(METALS["linear"], [side, 0.0, 0.0, stretch, side])
        log = abs(np.log(stretch))
        q = 270.0 + 800.0 * (3 * G * log - 270.0) / (3 * G + 800.0)
        assert abs(tau[1] - tau[0]) == pytest.approx(q, rel=1e-12)
        assert new[4] == pytest.approx(log - q / (3 * G), rel=1e-12)
        assert tau[0] + tau[1] + tau[3] == pytest.approx(0.0, abs=1e-9)


def test_rigid_turn_turns_the_stress():
    f, angle = np.array([1.02, 0.01, -0.02, 0.97, 1.01]), 0.7
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    turned = (turn @ full(f))[[0, 0, 1, 1, 2], [0, 1, 0, 1, 2]]
    before, state, _ = run_point(METALS["voce"], f)
    after, same, _ = run_point(METALS["voce"], turned)
    expected = turn @ full([before[0], before[2], before[2], before[1], before[3]]) @ turn.T
    np.testing.assert_allclose(after, expected[[0, 1, 0, 2], [0, 1, 1, 2]], rtol=0, atol=1e-9)
    np.testing.assert_allclose(same, state, rtol=0, atol=1e-13)


def ring(metal: Material, distort: float = 0.0, fixed=None, **options):
    """A thick ring of 3 x 4 elements under pressure on its inner face."""
    mesh = skfem.MeshQuad1.init_tensor(np.linspace(2.0, 3.0, 4), np.linspace(0.0, 1.2, 5))
    inner = np.setdiff1d(np.arange(mesh.p.shape[1]), np.unique(mesh.facets[:, mesh.f2t[1] == -1]))
    moved = mesh.p.copy()
    moved[:, inner] += np.random.default_rng(5).uniform(-distort, distort, (2, inner.size))
    mesh = skfem.MeshQuad2.from_mesh(skfem.MeshQuad1(moved, mesh.t)).with_boundaries(
        {
            "inside": lambda x: np.isclose(x[0], 2.0),
            "foot": lambda x: np.isclose(x[1], 0.0),
            "ends": lambda x: np.isclose(x[1], 0.0) | np.isclose(x[1], 1.2),
        }
    )
    return solid(mesh, metal, {"foot": "z"} if fixed is None else fixed, **options)


def dense(band):
    n, w = band.shape[0], band.shape[1] - 1
    lower = np.zeros((n, n))
    for k in range(w + 1):
        i = np.arange(w - k, n)
        lower[i, i - w + k] = band[i, k]
    return lower + np.tril(lower, -1).T


def plastic_trial(model, size: float = 0.02):
    """Displacements with uneven strains of about that size."""
    rng = np.random.default_rng(1)
    r, z = model.reference.T
    u = size * np.stack((r - 2.0 + 0.3 * z**2, -0.7 * z + 0.2 * r * z), axis=1)
    return (u + 0.01 * size * rng.standard_normal(u.shape)).ravel() * model.free


@pytest.mark.parametrize("name", ["elastic", "voce", "table"])
@pytest.mark.parametrize("serendipity", [True, False])
def test_tangent_against_finite_differences(name, serendipity):
    model = ring(
        METALS[name], 0.05, serendipity=serendipity, quadrature=(2, 2) if serendipity else (3, 3)
    )
    state, u, pressure = model.start(), plastic_trial(model), 7.0
    found = model.evaluate(u, pressure, state)
    assert (found.trial[..., 4].max() > 0.005) == (name != "elastic")
    tangent, step = dense(found.band), 1e-6
    scale = np.abs(tangent).max()
    for k in np.flatnonzero(model.free)[::7]:
        du = np.zeros(model.n)
        du[k] = step
        high, low = (model.evaluate(u + s * du, pressure, state) for s in (1, -1))
        difference = (high.residual - low.residual) / (2 * step)
        np.testing.assert_allclose(tangent[:, k], difference, rtol=0, atol=1e-6 * scale)
        gradient = (high.volume - low.volume) / (2 * step)
        assert found.gradient[k] == pytest.approx(gradient, rel=1e-6, abs=1e-8)


def test_volume_is_that_of_the_bore():
    assert ring(METALS["elastic"]).start().volume == pytest.approx(0.5 * 2.0**2 * 1.2, rel=1e-13)


def test_moving_along_the_axis_costs_nothing():
    model = ring(METALS["voce"], 0.05, fixed={})
    u = np.tile([0.0, 0.37], len(model.reference))
    found = model.evaluate(u, 0.0, model.start())
    assert np.abs(found.residual).max() < 1e-9 * E
    mode = np.tile([0.0, 1.0], len(model.reference))
    assert np.abs(dense(found.band) @ mode).max() < 1e-9 * E


def test_patch_of_uniform_stretch():
    # r and z stretched evenly: uniform stress, known in closed form, and no force inside
    model = ring(METALS["elastic"], 0.05, fixed={})
    a, b = 1.1, 0.85
    u = model.reference * (np.array([a, b]) - 1.0)
    found = model.evaluate(u.ravel(), 0.0, model.start())
    r, z = model.reference.T
    inner = (r > 2.001) & (r < 2.999) & (z > 0.001) & (z < 1.199)
    forces = found.residual.reshape(-1, 2)
    assert np.abs(forces[inner]).max() < 1e-10 * np.abs(forces).max()
    volume = K * (2 * np.log(a) + np.log(b))
    axial = volume + 2 * G * 2.0 / 3.0 * (np.log(b) - np.log(a))
    # per radian: first Piola stress times the area of the top
    top = forces[np.isclose(z, 1.2), 1].sum()
    assert top == pytest.approx(axial / b * 0.5 * (3.0**2 - 2.0**2), rel=1e-10)


def test_newton_converges_quadratically():
    model = ring(METALS["voce"], fixed={"ends": "z"})
    state, pressure = model.start(), 118.0
    u = np.zeros(model.n)
    norms = []
    for _ in range(12):
        found = model.evaluate(u, pressure, state)
        norms.append(np.linalg.norm(found.residual) / np.linalg.norm(pressure * found.gradient))
        if norms[-1] < 1e-12:
            break
        assert factor(found.band) == 0
        u = u - solve(found.band, found.residual)
    assert 0.25 < np.mean(found.trial[..., 4] > 0.0) < 0.75
    # each of the last steps at least squares the error, to a factor
    last = [x for x in norms if 1e-13 < x < 1e-1][-3:]
    orders = np.log(np.array(last[1:])) / np.log(np.array(last[:-1]))
    assert orders.max() > 1.8, norms
    assert norms[-1] < 1e-11


def test_an_r_value_is_rejected():
    with pytest.raises(InputError, match=r"r_value is given"):
        ring(Material(E, NU, 270.0, Voce(40.0, 20.0), r_value=0.8))


def test_evaluating_leaves_the_state_untouched():
    model = ring(METALS["voce"])
    state = model.start()
    before = state.points.copy()
    model.evaluate(plastic_trial(model), 3.0, state)
    assert np.array_equal(state.points, before)
