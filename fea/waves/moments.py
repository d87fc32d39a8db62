"""Sums over the layers of a shell that make up its tangent for circumferential waves.

They hold for any number of waves; wave_kernel.py puts them together.
"""

from __future__ import annotations

import math

import numpy as np

from domemargin.fea.compiled import kernel
from domemargin.fea.metal.lanes import (
    BEYOND,
    BLOCK,
    C11,
    C12,
    C13,
    C22,
    C23,
    C33,
    E1,
    E2,
    FACTOR,
    LANES,
    LENGTH1,
    LENGTH2,
    OWN,
    PER1,
    PER2,
    STATES,
    T1,
    T2,
    T3,
    WEIGHT,
    Y,
    rows,
)
from domemargin.fea.metal.materials import (
    B1,
    B2,
    B3,
    BACK,
    ELASTIC,
    EP,
    LAW,
    NU,
    R_VALUE,
    E,
    yield_curve,
)
from domemargin.fea.metal.surfaces import equivalent, normal
from domemargin.fea.shell.blocks import SHEAR, locate_points, stress_block
from domemargin.fea.shell.given import Body, Fields, Start
from domemargin.profiles.arrays import Floats

# sums over layers at a point, see `moments`
A, B, D, PP, QQ, PQ, F1, F2, M13, M23, M33, F3, CS = 0, 3, 6, 9, 12, 15, 18, 20, 22, 24, 26, 27, 28
SUMS = 29
FLOW, DEFORMATION, GEOMETRY = 0, 1, 2
# rows of layers.py: what a layer adds to these sums, per unit of y^0, and its own shear modulus
(_A, _B, _D, _PP, _QQ, _PQ, _F1, _F2, _C13, _C23, _C33, _CS, _SHEAR) = rows(13, OWN)


@kernel
def _invert(
    lanes: Floats, i: int, m11: float, m12: float, m22: float, m13: float, m23: float, m33: float
) -> None:
    """Moduli of lane i from its compliance."""
    i11, i12, i13 = m22 * m33 - m23 * m23, m13 * m23 - m12 * m33, m12 * m23 - m13 * m22
    det = m11 * i11 + m12 * i12 + m13 * i13
    lanes[C11 + i], lanes[C12 + i], lanes[C13 + i] = i11 / det, i12 / det, i13 / det
    lanes[C22 + i] = (m11 * m33 - m13 * m13) / det
    lanes[C23 + i] = (m12 * m13 - m11 * m23) / det
    lanes[C33 + i] = (m11 * m22 - m12 * m12) / det


@kernel
def secant_moduli(material: Floats, lanes: Floats, i: int, ep: float) -> None:
    """Moduli of lane i, 11, 12, 22, 13, 23, 33 and in-plane shear, of J2 deformation theory.

    ep : plastic strain since loading.  The lane's moduli become these.
    Compliance = elastic + (ep/q) P + (1/h - ep/q) n n^T, n = P t / q, P the form of q^2 and h the
    slope of the yield curve (Hutchinson, Adv. Appl. Mech. 14, 1974, 67-144, sec. II; value from
    memory).
    """
    modulus, nu = material[E], material[NU]
    s1 = lanes[T1 + i] - lanes[STATES + B1 * BLOCK + i]
    s2 = lanes[T2 + i] - lanes[STATES + B2 * BLOCK + i]
    s3 = lanes[T3 + i] - lanes[STATES + B3 * BLOCK + i]
    q = math.sqrt(s1 * s1 - s1 * s2 + s2 * s2 + 3.0 * s3 * s3)
    _, slope = yield_curve(material, lanes[STATES + EP * BLOCK + i])
    secant = ep / q
    # perfect plasticity: a slope that is small but not zero keeps the compliance finite
    rest = 1.0 / max(lanes[FACTOR + i] * slope, 1e-9 * modulus) - secant
    n1, n2, n3 = (s1 - 0.5 * s2) / q, (s2 - 0.5 * s1) / q, 3.0 * s3 / q
    shear = 2.0 * (1.0 + nu) / modulus + 3.0 * secant
    m11 = 1.0 / modulus + secant + rest * n1 * n1
    m22 = 1.0 / modulus + secant + rest * n2 * n2
    m12 = -nu / modulus - 0.5 * secant + rest * n1 * n2
    m13, m23, m33 = rest * n1 * n3, rest * n2 * n3, shear + rest * n3 * n3
    _invert(lanes, i, m11, m12, m22, m13, m23, m33)
    lanes[_SHEAR + i] = 1.0 / shear


@kernel
def secant_moduli_of_surface(material: Floats, lanes: Floats, i: int, ep: float) -> None:
    """The same for metal with an r-value or a back stress that fades.

    Compliance = elastic + ep H + n n / h, n and H first and second derivatives of the equivalent
    stress; the shear modulus from stress and plastic strain having the same axes.
    """
    modulus, nu, r_value = material[E], material[NU], material[R_VALUE]
    s1 = lanes[T1 + i] - lanes[STATES + B1 * BLOCK + i]
    s2 = lanes[T2 + i] - lanes[STATES + B2 * BLOCK + i]
    s3 = lanes[T3 + i] - lanes[STATES + B3 * BLOCK + i]
    f = equivalent(s1, s2, r_value)
    q = math.sqrt(f * f + 3.0 * s3 * s3)
    g1, g2, h11, h12, h22 = normal(s1 / f, s2 / f, r_value)
    n1, n2, n3 = g1 * f / q, g2 * f / q, 3.0 * s3 / q
    _, slope = yield_curve(material, lanes[STATES + EP * BLOCK + i])
    secant = ep / q
    rest = 1.0 / max(lanes[FACTOR + i] * slope, 1e-9 * modulus) - secant
    shear = 2.0 * (1.0 + nu) / modulus
    m11 = 1.0 / modulus + secant * (h11 + g1 * g1) + rest * n1 * n1
    m12 = -nu / modulus + secant * (h12 + g1 * g2) + rest * n1 * n2
    m22 = 1.0 / modulus + secant * (h22 + g2 * g2) + rest * n2 * n2
    m13, m23, m33 = rest * n1 * n3, rest * n2 * n3, shear + 3.0 * secant + rest * n3 * n3
    _invert(lanes, i, m11, m12, m22, m13, m23, m33)
    # (g1 - g2) / (s1 - s2) becomes a second derivative where the stresses meet
    apart = (s1 - s2) / f
    ratio = (g1 - g2) / apart if abs(apart) > 1e-6 else 0.5 * (h11 - 2.0 * h12 + h22)
    lanes[_SHEAR + i] = 1.0 / (shear + 2.0 * secant * ratio)


@kernel
def log_differences(c1: float, c2: float, difference: float) -> tuple[float, float, float]:
    """Divided differences [c1, c2], [c1, c1, c2], [c1, c2, c2] of half the logarithm.

    difference : of its values, at c1 less at c2.
    """
    apart, scale = c1 - c2, 0.5 / c2
    delta = 2.0 * scale * apart
    near = abs(delta) < 3e-3
    per = 0.0 if near else 1.0 / apart
    first = difference * per
    two, three = (0.5 / c1 - first) * per, (first - scale) * per
    # close to each other, by their series
    square = delta * delta
    first_near = 1.0 - delta / 2.0 + square / 3.0 - square * delta / 4.0 + square * square / 5.0
    two_near = -0.5 + 2.0 * delta / 3.0 - 0.75 * square + 0.8 * square * delta
    three_near = -0.5 + delta / 3.0 - 0.25 * square + 0.2 * square * delta
    return (
        scale * first_near if near else first,
        scale / c2 * two_near if near else two,
        scale / c2 * three_near if near else three,
    )


@kernel
def half_log_difference(stretch1: float, stretch2: float) -> float:
    """The first of them, of squared stretches."""
    c1, c2 = stretch1 * stretch1, stretch2 * stretch2
    return log_differences(c1, c2, math.log(stretch1 / stretch2))[0]


@kernel
def _moduli(body: Body, lanes: Floats, first: int, theory: int) -> None:
    """Moduli of a block's layers by a theory, in place of the step's own."""
    material, prior = body.material, body.prior
    elastic_shear = 0.5 * material[E] / (1.0 + material[NU])
    for i in range(BLOCK):
        lanes[_SHEAR + i] = elastic_shear
    if theory == GEOMETRY:
        for i in range(BLOCK):
            lanes[C11 + i] = lanes[C12 + i] = lanes[C22 + i] = 0.0
            lanes[C13 + i] = lanes[C23 + i] = lanes[C33 + i] = lanes[_SHEAR + i] = 0.0
    if theory == DEFORMATION and material[LAW] != ELASTIC:
        for i in range(BLOCK):
            if lanes[BEYOND + i] > 0.0:
                ep = lanes[STATES + EP * BLOCK + i] - prior[first + i]
                if material[R_VALUE] > 0.0 or material[BACK] > 0.0:
                    secant_moduli_of_surface(material, lanes, i, ep)
                else:
                    secant_moduli(material, lanes, i, ep)


@kernel
def _weigh(lanes: Floats) -> None:
    """What each layer adds, as far as its own."""
    for i in range(BLOCK):
        w, t1, t2 = lanes[WEIGHT + i], lanes[T1 + i], lanes[T2 + i]
        stretch1 = lanes[LENGTH1 + i] * lanes[PER1 + i]
        stretch2 = lanes[LENGTH2 + i] * lanes[PER2 + i]
        c1, c2 = stretch1 * stretch1, stretch2 * stretch2
        u1, u2 = 1.0 / lanes[LENGTH1 + i], 1.0 / lanes[LENGTH2 + i]
        chi, kappa1, kappa2 = log_differences(c1, c2, lanes[E1 + i] - lanes[E2 + i])
        shear = lanes[_SHEAR + i]
        twist = 2.0 * c1 * c2 * (2.0 * shear * chi * chi + t1 * kappa1 + t2 * kappa2)
        lanes[_A + i] = w * (lanes[C11 + i] - t1) * u1 * u1
        lanes[_B + i] = w * (lanes[C22 + i] - t2) * u2 * u2
        lanes[_D + i] = w * lanes[C12 + i] * u1 * u2
        lanes[_PP + i] = w * (twist + t2) * u2 * u2
        lanes[_QQ + i] = w * (twist + t1) * u1 * u1
        lanes[_PQ + i] = w * twist * u1 * u2
        lanes[_F1 + i], lanes[_F2 + i] = w * t1 * u1, w * t2 * u2
        ws = w * SHEAR
        lanes[_C13 + i], lanes[_C23 + i] = ws * lanes[C13 + i] * u1, ws * lanes[C23 + i] * u2
        lanes[_C33 + i], lanes[_CS + i] = ws * SHEAR * lanes[C33 + i], ws * SHEAR * shear


@kernel
def moments(
    x: Floats, shell: Fields, state: Fields, theory: int, geometry: Floats, sums: Floats
) -> None:
    """Sums over the layers that make up the second variation at each point, for any n.

    x, shell, state : as in the shell's assemble, of the step that led to the state.
    theory : FLOW takes the step's own tangent, DEFORMATION secant moduli where metal yields,
        GEOMETRY leaves only the initial stress.
    geometry : (n_points, 6) r, sin phi, cos phi, phi', a, g, out.
    sums : (n_points, SUMS), out; A.. are the coefficients of the squares and products of the
    strain measures, each for powers of y.
    """
    body, start = Body(*shell), Start(*state)
    first_layer, radius = body.first_layer, body.radius
    locate_points(x, body, geometry)
    lanes = np.empty(LANES)
    sums[:] = 0.0
    last = 0
    while last < radius.size:
        point = last
        last = stress_block(point, geometry, body, start, lanes)
        first = first_layer[point]
        _moduli(body, lanes, first, theory)
        _weigh(lanes)
        for p in range(point, last):
            out = sums[p]
            for m in range(first_layer[p] - first, first_layer[p + 1] - first):
                ym = lanes[Y + m]
                power = 1.0
                for j in range(3):
                    out[A + j] += power * lanes[_A + m]
                    out[B + j] += power * lanes[_B + m]
                    out[D + j] += power * lanes[_D + m]
                    out[PP + j] += power * lanes[_PP + m]
                    out[QQ + j] += power * lanes[_QQ + m]
                    out[PQ + j] += power * lanes[_PQ + m]
                    if j < 2:
                        out[F1 + j] += power * lanes[_F1 + m]
                        out[F2 + j] += power * lanes[_F2 + m]
                        out[M13 + j] += power * lanes[_C13 + m]
                        out[M23 + j] += power * lanes[_C23 + m]
                    power *= ym
                out[M33] += lanes[_C33 + m]
                out[F3] += SHEAR * lanes[WEIGHT + m] * lanes[T3 + m]
                out[CS] += lanes[_CS + m] / (radius[p] * radius[p])
