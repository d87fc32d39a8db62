"""Sums over the layers of a shell that make up its tangent for circumferential waves.

They hold for any number of waves; wave_kernel.py puts them together.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fea.compiled import kernel
from fea.materials import B1, B2, B3, ELASTIC, EP, LAW, NU, E, layer_stress, yield_curve
from fea.shell_kernel import SHEAR

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# sums over layers at a point, see `moments`
A, B, D, PP, QQ, PQ, F1, F2, C13, C23, C33, F3, CS = 0, 3, 6, 9, 12, 15, 18, 20, 22, 24, 26, 27, 28
SUMS = 29
FLOW, DEFORMATION, GEOMETRY = 0, 1, 2


@kernel
def secant_moduli(
    material: Floats,
    factor: float,
    ep: float,
    state: Floats,
    t1: float,
    t2: float,
    t3: float,
) -> tuple[float, float, float, float, float, float, float]:
    """Moduli 11, 12, 22, 13, 23, 33 and in-plane shear of J2 deformation theory.

    Compliance = elastic + (ep/q) P + (1/h - ep/q) n n^T, n = P t / q, P the form of q^2 and h the
    slope of the yield curve (Hutchinson, Adv. Appl. Mech. 14, 1974, 67-144, sec. II; value from
    memory).
    """
    modulus, nu = material[E], material[NU]
    s1, s2, s3 = t1 - state[B1], t2 - state[B2], t3 - state[B3]
    q = math.sqrt(s1 * s1 - s1 * s2 + s2 * s2 + 3.0 * s3 * s3)
    _, slope = yield_curve(material, state[EP])
    secant = ep / q
    # perfect plasticity: a slope that is small but not zero keeps the compliance finite
    rest = 1.0 / max(factor * slope, 1e-9 * modulus) - secant
    n1, n2, n3 = (s1 - 0.5 * s2) / q, (s2 - 0.5 * s1) / q, 3.0 * s3 / q
    shear = 2.0 * (1.0 + nu) / modulus + 3.0 * secant
    m11 = 1.0 / modulus + secant + rest * n1 * n1
    m22 = 1.0 / modulus + secant + rest * n2 * n2
    m12 = -nu / modulus - 0.5 * secant + rest * n1 * n2
    m13, m23, m33 = rest * n1 * n3, rest * n2 * n3, shear + rest * n3 * n3
    i11, i12, i13 = m22 * m33 - m23 * m23, m13 * m23 - m12 * m33, m12 * m23 - m13 * m22
    det = m11 * i11 + m12 * i12 + m13 * i13
    return (
        i11 / det,
        i12 / det,
        (m11 * m33 - m13 * m13) / det,
        i13 / det,
        (m12 * m13 - m11 * m23) / det,
        (m11 * m22 - m12 * m12) / det,
        1.0 / shear,
    )


@kernel
def log_differences(c1: float, c2: float) -> tuple[float, float, float]:
    """Divided differences [c1, c2], [c1, c1, c2], [c1, c2, c2] of half the logarithm."""
    delta = (c1 - c2) / c2
    if abs(delta) < 3e-3:
        scale = 0.5 / c2
        return (
            scale * (1.0 - delta / 2.0 + delta**2 / 3.0 - delta**3 / 4.0 + delta**4 / 5.0),
            scale / c2 * (-0.5 + 2.0 * delta / 3.0 - 0.75 * delta**2 + 0.8 * delta**3),
            scale / c2 * (-0.5 + delta / 3.0 - 0.25 * delta**2 + 0.2 * delta**3),
        )
    first = 0.5 * math.log(c1 / c2) / (c1 - c2)
    return first, (0.5 / c1 - first) / (c1 - c2), (0.5 / c2 - first) / (c2 - c1)


@kernel
def moments(
    x: Floats,
    shapes: Floats,
    slopes: Floats,
    shear_strain: Floats,
    first_layer: Ints,
    per_length: Floats,
    layer_weight: Floats,
    factor: Floats,
    prior: Floats,
    material: Floats,
    radius: Floats,
    y: Floats,
    old: Floats,
    theory: int,
    geometry: Floats,
    sums: Floats,
) -> None:
    """Sums over the layers that make up the second variation at each point, for any n.

    x, shapes, slopes, shear_strain, first_layer, per_length, layer_weight, factor, material, y,
    old : as in shell_kernel.assemble, of the step that led to the state.
    prior : (n_layers,) plastic strain before loading.  radius : (n_points,) undeformed r.
    theory : FLOW takes the step's own tangent, DEFORMATION secant moduli where metal yields,
        GEOMETRY leaves only the initial stress.
    geometry : (n_points, 6) r, sin phi, cos phi, phi', a, g, out.
    sums : (n_points, SUMS), out; A.. are the coefficients of the squares and products of the
    strain measures, each for powers of y.
    """
    n_points = shapes.shape[0]
    new = np.empty(old.shape[1])
    elastic_shear = 0.5 * material[E] / (1.0 + material[NU])
    sums[:] = 0.0
    for point in range(radius.size):
        e, gp = point // n_points, point % n_points
        r = rp = zp = phi = k = 0.0
        for i in range(3):
            node = 2 * e + i
            N, S = shapes[gp, i], slopes[e, gp, i]
            r += N * x[node, 0]
            rp += S * x[node, 0]
            zp += S * x[node, 1]
            phi += N * x[node, 2]
            k += S * x[node, 2]
        s, c = math.sin(phi), math.cos(phi)
        a, g = rp * c + zp * s, -rp * s + zp * c
        place = geometry[point]
        place[0], place[1], place[2], place[3], place[4], place[5] = r, s, c, k, a, g
        strain = SHEAR * (g - shear_strain[point])
        out = sums[point]
        for m in range(first_layer[point], first_layer[point + 1]):
            ym, w = y[m], layer_weight[m]
            l1, l2 = a - ym * k, r - ym * s
            stretch1, stretch2 = l1 * per_length[m, 0], l2 * per_length[m, 1]
            t1, t2, t3, d11, d12, d22, d13, d23, d33 = layer_stress(
                material, factor[m], math.log(stretch1), math.log(stretch2), strain, old[m], new
            )
            shear = elastic_shear
            if theory == DEFORMATION and material[LAW] != ELASTIC and new[EP] > old[m, EP]:
                d11, d12, d22, d13, d23, d33, shear = secant_moduli(
                    material, factor[m], new[EP] - prior[m], new, t1, t2, t3
                )
            if theory == GEOMETRY:
                d11 = d12 = d22 = d13 = d23 = d33 = shear = 0.0
            i1, i2 = 1.0 / l1, 1.0 / l2
            c1, c2 = stretch1 * stretch1, stretch2 * stretch2
            chi, kappa1, kappa2 = log_differences(c1, c2)
            twist = 2.0 * c1 * c2 * (2.0 * shear * chi * chi + t1 * kappa1 + t2 * kappa2)
            power = w
            for j in range(3):
                out[A + j] += power * (d11 - t1) * i1 * i1
                out[B + j] += power * (d22 - t2) * i2 * i2
                out[D + j] += power * d12 * i1 * i2
                out[PP + j] += power * (twist + t2) * i2 * i2
                out[QQ + j] += power * (twist + t1) * i1 * i1
                out[PQ + j] += power * twist * i1 * i2
                if j < 2:
                    out[F1 + j] += power * t1 * i1
                    out[F2 + j] += power * t2 * i2
                    out[C13 + j] += power * SHEAR * d13 * i1
                    out[C23 + j] += power * SHEAR * d23 * i2
                power *= ym
            out[C33] += w * SHEAR * SHEAR * d33
            out[F3] += w * SHEAR * t3
            out[CS] += w * SHEAR * SHEAR * shear / (radius[point] * radius[point])
