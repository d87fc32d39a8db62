"""The compiled residual of the shell against two independent writings of its virtual work.

1. A weak form in scikit-fem: linear forms in the test functions of r, z and phi on a mesh of arc
   length, with the strains and their variations as the docstring of fea/shell/kernel.py has them
   (E. Reissner 1969 for the strain measures of a shear-flexible meridian).
2. The energy of the same bottom in plain numpy, with its own shape functions and Gauss points,
   differentiated by complex steps (W. Squire & G. Trapp, SIAM Review 40, 1998).

Elastic (Hencky) on a small bottom with tight bends, displaced by up to a gauge at random; the
loaded face inside, mid and outside.  Measured: 1e-14 of the largest force.
"""

from __future__ import annotations

import numpy as np
import pytest
import skfem
from shells import revolve

from domemargin.fea.shell.shell import FACES, Shell
from domemargin.fea.shell.tables import tables
from domemargin.profiles.material import Material
from domemargin.profiles.shape.meridian import Meridian, Segment

E, NU, GAUGE, PRESSURE = 69_000.0, 0.33, 0.3, 3.0
LAYERS = 6
ENDS = np.array([0.0, 4.0, 6.5, 8.0, 8.7, 9.4, 10.0, 11.0, 12.0, 13.0, 14.5])
LAME = E / (1.0 - NU**2)
SHEAR = 5.0 / 6.0 * E / (2.0 * (1.0 + NU))
BAND = 1e-12  # of the largest force, which is 1e4 times that of the pressure


def bottom() -> Meridian:
    """Dome, shoulder, nose turning the other way, leg."""
    dome = Segment("dome", 0.0, 0.0, 0.0, 8.0, -1.0 / 16.0)
    shoulder = dome.next("shoulder", 2.0, -0.4)
    nose = shoulder.next("nose", 3.0, 0.7)
    return Meridian((dome, shoulder, nose, nose.next("outer_leg", 1.5, 0.0)))


def shell_on(face: str) -> Shell:
    # nothing held: every row is compared
    return revolve(
        bottom(), Material(E, NU), GAUGE, ENDS, end="", start="", layers=LAYERS, face=face
    )


def displaced(shell: Shell) -> np.ndarray:
    rng = np.random.default_rng(7)
    change = rng.uniform(-1.0, 1.0, shell.reference.shape) * [0.05, 0.05, 0.1]
    wave = np.sin(np.linspace(0.0, 5.0, len(shell.s)))[:, None] * [0.1, -0.3, 0.2]
    # nothing may cross the axis
    return shell.reference + np.where(np.arange(len(shell.s))[:, None] > 0, change + wave, 0.0)


def thickness_points() -> tuple[np.ndarray, np.ndarray]:
    """Gauss points and weights, half of them in each half of the gauge."""
    g, w = np.polynomial.legendre.leggauss(LAYERS // 2)
    half = 0.25 * GAUGE
    return np.concatenate((half * (g - 1.0), half * (g + 1.0))), half * np.concatenate((w, w))


def weak_form(shell: Shell, x: np.ndarray, face: str) -> np.ndarray:
    """Residual (n_nodes, 3) in the numbering of the shell."""
    basis = skfem.Basis(skfem.MeshLine(ENDS), skfem.ElementLineP2(), intorder=3)
    finer = skfem.Basis(skfem.MeshLine(ENDS), skfem.ElementLineP2(), intorder=5)
    order = np.argsort(basis.doflocs[0])

    def fields(on: skfem.Basis, nodal: np.ndarray) -> list:
        """Value and slope of each column at the integration points."""
        out = []
        for column in nodal.T:
            values = np.empty(on.N)
            values[order] = column
            found = on.interpolate(values)
            out.append((np.asarray(found), found.grad[0]))
        return out

    (r0, rp0), (_, zp0), (f0, kappa0) = fields(basis, shell.reference)
    (r, rp), (_, zp), (f, kappa) = fields(basis, x)
    s, c, s0, c0 = np.sin(f), np.cos(f), np.sin(f0), np.cos(f0)
    a, g = rp * c + zp * s, -rp * s + zp * c
    a0, g0 = rp0 * c0 + zp0 * s0, -rp0 * s0 + zp0 * c0

    # forces conjugate to a, phi', r, sin phi and g
    N = M = H = X = Q = 0.0
    for y, weight in zip(*thickness_points(), strict=True):
        along, around = a0 - y * kappa0, r0 - y * s0
        now_along, now_around = a - y * kappa, r - y * s
        e1, e2 = np.log(now_along / along), np.log(now_around / around)
        area = weight * along * around
        t1, t2 = area * LAME * (e1 + NU * e2), area * LAME * (e2 + NU * e1)
        N, M = N + t1 / now_along, M - y * t1 / now_along
        H, X = H + t2 / now_around, X - y * t2 / now_around
        Q = Q + area * SHEAR * (g - g0)
    # slab between mid-surface and face: integral over y of (r - y sin phi)(a - y phi')
    h = 0.5 * FACES[face] * GAUGE
    N = N + PRESSURE * (r * h - s * h**2 / 2.0)
    M = M - PRESSURE * (r * h**2 / 2.0 - s * h**3 / 3.0)
    H = H + PRESSURE * (a * h - kappa * h**2 / 2.0)
    X = X - PRESSURE * (a * h**2 / 2.0 - kappa * h**3 / 3.0)

    @skfem.LinearForm
    def of_r(v, w):
        return (N * c - Q * s) * v.grad[0] + H * v

    @skfem.LinearForm
    def of_z(v, w):
        return (N * s + Q * c) * v.grad[0]

    @skfem.LinearForm
    def of_phi(v, w):
        return M * v.grad[0] + (N * g - Q * a + X * c) * v

    (fine_r, _), (_, fine_zp), _ = fields(finer, x)

    @skfem.LinearForm
    def volume_of_r(v, w):
        return -PRESSURE * fine_r * fine_zp * v

    @skfem.LinearForm
    def volume_of_z(v, w):
        return -PRESSURE * 0.5 * fine_r**2 * v.grad[0]

    forces = [
        of_r.assemble(basis) + volume_of_r.assemble(finer),
        of_z.assemble(basis) + volume_of_z.assemble(finer),
        of_phi.assemble(basis),
    ]
    return np.stack([force[order] for force in forces], axis=1)


def energy(shell: Shell, x: np.ndarray, face: str) -> tuple[complex, complex]:
    """Strain energy and enclosed volume per radian, for real or complex x (n_nodes, 3)."""

    def points(count: int):
        g, w = np.polynomial.legendre.leggauss(count)
        xi = 0.5 * (g + 1.0)
        shape = np.stack((2 * xi**2 - 3 * xi + 1, 4 * xi * (1 - xi), 2 * xi**2 - xi), axis=1)
        slope = np.stack((4 * xi - 3, 4 - 8 * xi, 4 * xi - 1), axis=1)
        return shape, slope, 0.5 * w

    length = np.diff(ENDS)
    nodes = 2 * np.arange(length.size)[:, None] + np.arange(3)

    def at(values: np.ndarray, count: int):
        shape, slope, weight = points(count)
        local = values[nodes]
        v = np.einsum("qi,eij->jeq", shape, local)
        d = np.einsum("qi,eij->jeq", slope, local) / length[:, None]
        return v, d, weight * length[:, None]

    (r, _, f), (rp, zp, k), w = at(x, 2)
    (r0, _, f0), (rp0, zp0, k0), _ = at(shell.reference, 2)
    a, g = rp * np.cos(f) + zp * np.sin(f), zp * np.cos(f) - rp * np.sin(f)
    a0, g0 = rp0 * np.cos(f0) + zp0 * np.sin(f0), zp0 * np.cos(f0) - rp0 * np.sin(f0)
    total = 0.0
    for y, thick in zip(*thickness_points(), strict=True):
        along, around = a0 - y * k0, r0 - y * np.sin(f0)
        e1 = np.log((a - y * k) / along)
        e2 = np.log((r - y * np.sin(f)) / around)
        density = 0.5 * LAME * (e1**2 + e2**2 + 2 * NU * e1 * e2) + 0.5 * SHEAR * (g - g0) ** 2
        total = total + np.sum(w * thick * along * around * density)
    (rf, _, _), (_, zf, _), wf = at(x, 3)
    h = 0.5 * FACES[face] * GAUGE
    ys, wy = np.polynomial.legendre.leggauss(2)
    slab = sum(
        0.5 * h * weight * (r - y * np.sin(f)) * (a - y * k)
        for y, weight in zip(0.5 * h * (ys + 1.0), wy, strict=True)
    )
    return total, np.sum(wf * 0.5 * rf**2 * zf) - np.sum(w * slab)


@pytest.mark.parametrize("face", FACES)
def test_residual_against_the_weak_form(face: str) -> None:
    shell = shell_on(face)
    x = displaced(shell)
    found = shell.evaluate(x.ravel(), PRESSURE, shell.start()).residual.reshape(-1, 3)
    expected = weak_form(shell, x, face)
    assert np.abs(found - expected).max() < BAND * np.abs(expected).max()


@pytest.mark.parametrize("face", FACES)
def test_residual_and_volume_against_the_energy(face: str) -> None:
    shell = shell_on(face)
    x = displaced(shell)
    found = shell.evaluate(x.ravel(), PRESSURE, shell.start())
    force, gradient = np.empty(shell.n), np.empty(shell.n)
    for i in range(shell.n):
        moved = x.astype(complex).ravel()
        moved[i] += 1e-30j
        work, volume = energy(shell, moved.reshape(-1, 3), face)
        force[i], gradient[i] = work.imag / 1e-30, volume.imag / 1e-30
    expected = force - PRESSURE * gradient
    assert np.abs(found.residual - expected).max() < BAND * np.abs(expected).max()
    assert np.abs(found.gradient - gradient).max() < BAND * np.abs(gradient).max()
    assert found.volume == pytest.approx(energy(shell, x, face)[1], rel=BAND)


@pytest.mark.parametrize(("points", "degree"), [(2, 3), (3, 5)])
def test_tables_are_those_of_scikit_fem(points: int, degree: int) -> None:
    basis = skfem.Basis(skfem.MeshLine(ENDS), skfem.ElementLineP2(), intorder=degree)
    own = tables(ENDS, points)
    for i, other in enumerate((0, 2, 1)):  # ends before middles there, along the line here
        value = basis.basis[other][0]
        assert np.allclose(own.shapes[:, i], np.asarray(value)[0], rtol=0.0, atol=1e-14)
        assert np.allclose(own.slopes[:, :, i], value.grad[0], rtol=1e-13, atol=1e-13)
    assert np.allclose(own.weights, basis.dx, rtol=1e-14)
    assert np.allclose(own.s, np.asarray(basis.global_coordinates())[0], rtol=1e-14)
    assert np.array_equal(np.sort(basis.doflocs[0]), shell_on("mid").s)


def test_volume_under_the_inside_face() -> None:
    """A half sphere of inside radius R - t/2 holds 2/3 pi of its cube: per radian a third."""
    radius = 20.0
    bowl = Segment("dome", 0.0, -radius, 0.0, 0.5 * np.pi * radius, 1.0 / radius)
    shell = revolve(bowl, Material(E, NU), 2.0, 60, face="inside")
    # from the pole up to z = 0: integral of r^2/2 dz
    assert shell.start().volume == pytest.approx((radius - 1.0) ** 3 / 3.0, rel=1e-6)


def test_rigid_shift_along_the_axis_costs_nothing() -> None:
    shell = shell_on("inside")
    x = shell.reference + np.array([0.0, 3.0, 0.0])
    found = shell.evaluate(x.ravel(), 0.0, shell.start())
    assert np.abs(found.residual).max() < 1e-8


def test_more_layers_than_a_block_holds_are_rejected() -> None:
    with pytest.raises(ValueError, match="layers is 66; it must be at most 64"):
        revolve(bottom(), Material(E, NU), GAUGE, ENDS, layers=66)
