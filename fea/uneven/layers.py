"""Strain, stress and sums of the layers at one station, a block of layers at a time.

A layer's lengths C (in-plane metric, a square of second degree in its distance y) over the
undeformed ones give C~ and the logarithmic strain E = ln(C~) / 2.  With m, d the half sum and half
difference of C~11 and C~22, k = C~12 and r = d^2 + k^2 it is

    E11, E22 = p +- q d,   2 E12 = 2 q k,   p = ln(m^2 - r) / 4,   q = artanh(sqrt(r)/m) / 2 sqrt(r)

so the stress conjugate to E adds T : dE; E and its plastic part are added and taken apart as small
strains are (Miehe, Apel and Lambrecht, Comput. Methods Appl. Mech. Eng. 191:5383-5425, 2002; value
from memory).

Return map with shear.  Of J2 plasticity under plane stress all three shears - in the plane, and
through the gauge along meridian and hoop - shrink by one factor, and the yield condition sees only
their root of squares.  So the map of metal/layers.py, which knows one shear, is given the length of
the trial vector of the three and its result is put back along that vector's direction; across it
the tangent is that of the factor alone.  Without in-plane shear it is the even shell's map.
"""

from __future__ import annotations

import math

import numpy as np

from domemargin.fea.compiled import POSITIVE, kernel
from domemargin.fea.metal.lanes import (
    BLOCK,
    C11,
    C12,
    C13,
    C22,
    C23,
    C33,
    E1,
    E2,
    E3,
    FACTOR,
    STATES,
    T1,
    T2,
    T3,
    rows,
)
from domemargin.fea.metal.layers import stresses
from domemargin.fea.metal.materials import B1, B2, B3, EP, NU, P1, P2, P3, E
from domemargin.fea.shell.blocks import SHEAR
from domemargin.fea.uneven.given import B12, B23, P12, P23
from domemargin.profiles.arrays import Floats, Ints

# at a point: in-plane metric 11, 22, 12 for powers 0, 1, 2 of y, and shears along meridian, hoop
MEASURES = 11
# sums over the layers of a point: forces of the measures, their tangent by pairs 11, 12, 13, 22,
# 23, 33 of components for powers 0..4, of components with both shears for powers 0..2, shears
FORCE, TANGENT, COUPLED, SHEARS, SHEARED = 0, 9, 39, 57, 59
SUMS = 62

# rows of lanes of their own
(
    _M, _D, _K, _P, _A, _A1, _A2, _G12, _G23, _E13, _DIR12, _DIR13, _DIR23, _SIZE, _OLD12, _OLD13,
    _OLD23, _I1, _I2, _I12, _WEIGHT, _N1, _N2, _N3, _K11, _K12, _K13, _K22, _K23, _K33,
    _S13, _S23, _S33, _S15, _S25, _S35, _F13, _F23, _Q33, _Q35, _Q55,
) = rows(41)  # fmt: skip
OWN_LANES = 41 * BLOCK
_NEAR = 0.08  # of r / m^2, up to which the series is exact to rounding


@kernel
def _fill(
    place: Floats,
    measures: Floats,
    shear: Floats,
    y: Floats,
    inverse: Floats,
    weight: Floats,
    first_layer: Ints,
    first_point: int,
    last_point: int,
    own: Floats,
) -> None:
    """Metric and shears of a block's layers."""
    first = first_layer[first_point]
    for i in range(first_layer[last_point] - first, BLOCK):
        own[_M + i], own[_D + i], own[_K + i] = 1.0, 0.0, 0.0
        own[_I1 + i] = own[_I2 + i] = 1.0
        own[_I12 + i] = own[_WEIGHT + i] = 0.0
        own[_G12 + i] = own[_E13 + i] = own[_G23 + i] = 0.0
        place[i] = 0.0
    for p in range(first_point, last_point):
        g1, g2 = measures[p, 9], measures[p, 10]
        e13 = SHEAR * (g1 - shear[p, 0])
        e23 = SHEAR * ((g2 - shear[p, 2] * g1) * shear[p, 3] - shear[p, 1])
        for layer in range(first_layer[p], first_layer[p + 1]):
            i = (layer - first) & (BLOCK - 1)
            ym = y[layer]
            c11 = measures[p, 0] + ym * (measures[p, 3] + ym * measures[p, 6])
            c22 = measures[p, 1] + ym * (measures[p, 4] + ym * measures[p, 7])
            c12 = measures[p, 2] + ym * (measures[p, 5] + ym * measures[p, 8])
            i1, i2, i12 = inverse[0, layer], inverse[1, layer], inverse[2, layer]
            n11 = i1 * i1 * c11
            n22 = i12 * i12 * c11 + 2.0 * i12 * i2 * c12 + i2 * i2 * c22
            own[_M + i], own[_D + i] = 0.5 * (n11 + n22), 0.5 * (n11 - n22)
            own[_K + i] = i1 * (i12 * c11 + i2 * c12)
            own[_I1 + i], own[_I2 + i], own[_I12 + i] = i1, i2, i12
            own[_WEIGHT + i] = weight[layer]
            own[_E13 + i], own[_G23 + i] = e13, e23
            place[i] = ym


@kernel
def _logarithms(lanes: Floats, own: Floats) -> None:
    """p, artanh(x)/x and its two derivatives in x^2; logarithmic strains from them."""
    far = 0.0
    for i in range(BLOCK):
        m, d, k = own[_M + i], own[_D + i], own[_K + i]
        r = d * d + k * k
        z = r / (m * m)
        far += 0.0 if z <= _NEAR else 1.0
        a = 1.0 / 29.0
        a1 = 14.0 / 29.0
        a2 = 182.0 / 29.0
        a = a * z + 1.0 / 27.0
        a = a * z + 1.0 / 25.0
        a = a * z + 1.0 / 23.0
        a = a * z + 1.0 / 21.0
        a = a * z + 1.0 / 19.0
        a = a * z + 1.0 / 17.0
        a = a * z + 1.0 / 15.0
        a = a * z + 1.0 / 13.0
        a = a * z + 1.0 / 11.0
        a = a * z + 1.0 / 9.0
        a = a * z + 1.0 / 7.0
        a = a * z + 1.0 / 5.0
        a = a * z + 1.0 / 3.0
        a = a * z + 1.0
        a1 = a1 * z + 13.0 / 27.0
        a1 = a1 * z + 12.0 / 25.0
        a1 = a1 * z + 11.0 / 23.0
        a1 = a1 * z + 10.0 / 21.0
        a1 = a1 * z + 9.0 / 19.0
        a1 = a1 * z + 8.0 / 17.0
        a1 = a1 * z + 7.0 / 15.0
        a1 = a1 * z + 6.0 / 13.0
        a1 = a1 * z + 5.0 / 11.0
        a1 = a1 * z + 4.0 / 9.0
        a1 = a1 * z + 3.0 / 7.0
        a1 = a1 * z + 2.0 / 5.0
        a1 = a1 * z + 1.0 / 3.0
        a2 = a2 * z + 156.0 / 27.0
        a2 = a2 * z + 132.0 / 25.0
        a2 = a2 * z + 110.0 / 23.0
        a2 = a2 * z + 90.0 / 21.0
        a2 = a2 * z + 72.0 / 19.0
        a2 = a2 * z + 56.0 / 17.0
        a2 = a2 * z + 42.0 / 15.0
        a2 = a2 * z + 30.0 / 13.0
        a2 = a2 * z + 20.0 / 11.0
        a2 = a2 * z + 12.0 / 9.0
        a2 = a2 * z + 6.0 / 7.0
        a2 = a2 * z + 2.0 / 5.0
        own[_A + i], own[_A1 + i], own[_A2 + i] = a, a1, a2
        own[_P + i] = m * m - r
    if far > 0.0:
        for i in range(BLOCK):
            m, d, k = own[_M + i], own[_D + i], own[_K + i]
            z = (d * d + k * k) / (m * m)
            if not z <= _NEAR:
                x, rest = math.sqrt(z), 1.0 / (1.0 - z)
                a = 0.5 * math.log((1.0 + x) / (1.0 - x)) / x
                a1 = 0.5 * (rest - a) / z
                own[_A + i], own[_A1 + i] = a, a1
                own[_A2 + i] = 0.5 * (rest * rest - 3.0 * a1) / z
    for i in range(BLOCK):
        p, q = 0.25 * math.log(own[_P + i]), 0.5 * own[_A + i] / own[_M + i]
        lanes[E1 + i], lanes[E2 + i] = p + q * own[_D + i], p - q * own[_D + i]
        own[_G12 + i] = 2.0 * q * own[_K + i]


@kernel
def _stress(
    material: Floats,
    factor: Floats,
    old: Floats,
    first: int,
    count: int,
    lanes: Floats,
    own: Floats,
    new: Floats,
    stress: Floats,
) -> None:
    """The return map with the three shears as one; new state and stress are stored."""
    first = first & POSITIVE
    k3 = 0.5 * material[E] / (1.0 + material[NU])
    for i in range(BLOCK):
        inside = i < count
        layer = first + i if inside else first
        lanes[STATES + i] = old[EP, layer] if inside else 0.0
        lanes[STATES + P1 * BLOCK + i] = old[P1, layer] if inside else 0.0
        lanes[STATES + P2 * BLOCK + i] = old[P2, layer] if inside else 0.0
        lanes[STATES + B1 * BLOCK + i] = old[B1, layer] if inside else 0.0
        lanes[STATES + B2 * BLOCK + i] = old[B2, layer] if inside else 0.0
        lanes[STATES + P3 * BLOCK + i] = lanes[STATES + B3 * BLOCK + i] = 0.0
        lanes[FACTOR + i] = factor[layer] if inside else 1.0
        t12 = k3 * (own[_G12 + i] - old[P12, layer])
        t13 = k3 * (own[_E13 + i] - old[P3, layer])
        t23 = k3 * (own[_G23 + i] - old[P23, layer])
        own[_OLD12 + i], own[_OLD13 + i], own[_OLD23 + i] = t12, t13, t23
        n12, n13, n23 = t12 - old[B12, layer], t13 - old[B3, layer], t23 - old[B23, layer]
        size = math.sqrt(n12 * n12 + n13 * n13 + n23 * n23) if inside else 0.0
        per = 1.0 / size if size > 1e-200 else 0.0
        own[_DIR12 + i], own[_DIR23 + i] = n12 * per, n23 * per
        own[_DIR13 + i] = n13 * per if size > 1e-200 else 1.0
        own[_SIZE + i] = size
        lanes[E3 + i] = size / k3
    stresses(material, lanes)
    for i in range(count):
        layer = first + i
        less = own[_SIZE + i] - lanes[T3 + i]
        p, b = lanes[STATES + P3 * BLOCK + i], lanes[STATES + B3 * BLOCK + i]
        e12, e13, e23 = own[_DIR12 + i], own[_DIR13 + i], own[_DIR23 + i]
        own[_OLD12 + i] -= less * e12
        own[_OLD13 + i] -= less * e13
        own[_OLD23 + i] -= less * e23
        new[EP, layer] = lanes[STATES + i]
        new[P1, layer] = lanes[STATES + P1 * BLOCK + i]
        new[P2, layer] = lanes[STATES + P2 * BLOCK + i]
        new[B1, layer] = lanes[STATES + B1 * BLOCK + i]
        new[B2, layer] = lanes[STATES + B2 * BLOCK + i]
        new[P3, layer] = old[P3, layer] + p * e13
        new[B3, layer] = old[B3, layer] + b * e13
        new[P12, layer], new[P23, layer] = old[P12, layer] + p * e12, old[P23, layer] + p * e23
        new[B12, layer], new[B23, layer] = old[B12, layer] + b * e12, old[B23, layer] + b * e23
        stress[0, layer], stress[1, layer] = lanes[T1 + i], lanes[T2 + i]
        stress[2, layer], stress[3, layer] = own[_OLD13 + i], own[_OLD12 + i]
        stress[4, layer] = own[_OLD23 + i]


@kernel
def _weigh(material: Floats, lanes: Floats, own: Floats) -> None:
    """Forces of a layer's metric and shears, and their tangent."""
    k3 = 0.5 * material[E] / (1.0 + material[NU])
    for i in range(BLOCK):
        m, d, k = own[_M + i], own[_D + i], own[_K + i]
        a, a1, a2 = own[_A + i], own[_A1 + i], own[_A2 + i]
        per_m, per = 1.0 / m, 1.0 / own[_P + i]
        q, cube = 0.5 * a * per_m, per_m * per_m * per_m
        qr, qrr = 0.5 * a1 * cube, 0.5 * a2 * cube * per_m * per_m
        qm, qmm, qmr = -0.5 * per, m * per * per, -0.5 * per * per
        pm, pr = 0.5 * m * per, -0.25 * per
        pmm, pmr, prr = 0.5 * per - m * m * per * per, 0.5 * m * per * per, -0.25 * per * per
        # rows E11, E22, 2 E12; columns m, d, k
        g11, g21, g31 = pm + qm * d, pm - qm * d, 2.0 * qm * k
        one, two = 2.0 * d * pr, q + 2.0 * d * d * qr
        g12, g22, g32 = one + two, one - two, 4.0 * qr * d * k
        one, two = 2.0 * k * pr, 2.0 * k * d * qr
        g13, g23, g33 = one + two, one - two, 2.0 * q + 4.0 * qr * k * k
        # stress, its tangent with shear directions put in
        t1, t2, t12 = lanes[T1 + i], lanes[T2 + i], own[_OLD12 + i]
        e12, e13, e23 = own[_DIR12 + i], own[_DIR13 + i], own[_DIR23 + i]
        size, plastic = own[_SIZE + i], lanes[STATES + P3 * BLOCK + i]
        c11, c12, c22 = lanes[C11 + i], lanes[C12 + i], lanes[C22 + i]
        cs1, cs2, c33 = lanes[C13 + i], lanes[C23 + i], lanes[C33 + i]
        across = k3 * (1.0 - k3 * plastic / size) if size > 1e-200 else c33
        more = c33 - across
        h13, h23, h33 = cs1 * e12, cs2 * e12, across + more * e12 * e12
        # second derivative of the strains times the stress
        both, apart = t1 + t2, t1 - t2
        f = apart * d + 2.0 * t12 * k
        z11 = both * pmm + f * qmm
        z12 = 2.0 * d * (both * pmr + f * qmr) + qm * apart
        z13 = 2.0 * k * (both * pmr + f * qmr) + qm * 2.0 * t12
        first, second = 2.0 * (both * pr + f * qr), 4.0 * (both * prr + f * qrr)
        z22 = first + second * d * d + 4.0 * d * qr * apart
        z33 = first + second * k * k + 8.0 * k * qr * t12
        z23 = second * d * k + 2.0 * qr * (k * apart + 2.0 * t12 * d)
        # tangent times strain rows: in m, d, k
        u11, u12, u13 = (
            c11 * g11 + c12 * g21 + h13 * g31,
            c11 * g12 + c12 * g22 + h13 * g32,
            c11 * g13 + c12 * g23 + h13 * g33,
        )
        u21, u22, u23 = (
            c12 * g11 + c22 * g21 + h23 * g31,
            c12 * g12 + c22 * g22 + h23 * g32,
            c12 * g13 + c22 * g23 + h23 * g33,
        )
        u31, u32, u33 = (
            h13 * g11 + h23 * g21 + h33 * g31,
            h13 * g12 + h23 * g22 + h33 * g32,
            h13 * g13 + h23 * g23 + h33 * g33,
        )
        z11 += g11 * u11 + g21 * u21 + g31 * u31
        z12 += g11 * u12 + g21 * u22 + g31 * u32
        z13 += g11 * u13 + g21 * u23 + g31 * u33
        z22 += g12 * u12 + g22 * u22 + g32 * u32
        z23 += g12 * u13 + g22 * u23 + g32 * u33
        z33 += g13 * u13 + g23 * u23 + g33 * u33
        n1, n2, n3 = (
            t1 * g11 + t2 * g21 + t12 * g31,
            t1 * g12 + t2 * g22 + t12 * g32,
            t1 * g13 + t2 * g23 + t12 * g33,
        )
        # of the two shears through the gauge
        v1, v2, v3 = (
            cs1 * g11 + cs2 * g21,
            cs1 * g12 + cs2 * g22,
            cs1 * g13 + cs2 * g23,
        )
        a13, a23 = more * e12 * e13, more * e12 * e23
        x1, x2, x3 = v1 * e13 + a13 * g31, v2 * e13 + a13 * g32, v3 * e13 + a13 * g33
        y1, y2, y3 = v1 * e23 + a23 * g31, v2 * e23 + a23 * g32, v3 * e23 + a23 * g33
        # m, d, k from the metric 11, 22, 12
        i1, i2, i12, w = own[_I1 + i], own[_I2 + i], own[_I12 + i], own[_WEIGHT + i]
        l1, l2, l3 = 0.5 * (i1 * i1 + i12 * i12), 0.5 * i2 * i2, i12 * i2
        j1, r1, r3 = 0.5 * (i1 * i1 - i12 * i12), i1 * i12, i1 * i2
        own[_N1 + i] = w * (l1 * n1 + j1 * n2 + r1 * n3)
        own[_N2 + i] = w * l2 * (n1 - n2)
        own[_N3 + i] = w * (l3 * (n1 - n2) + r3 * n3)
        s1, s2, s3 = l1 * z11 + j1 * z12 + r1 * z13, l1 * z12 + j1 * z22 + r1 * z23, 0.0
        s3 = l1 * z13 + j1 * z23 + r1 * z33
        own[_K11 + i] = w * (s1 * l1 + s2 * j1 + s3 * r1)
        own[_K12 + i] = w * (s1 - s2) * l2
        own[_K13 + i] = w * ((s1 - s2) * l3 + s3 * r3)
        flat = z11 - 2.0 * z12 + z22
        own[_K22 + i] = w * l2 * l2 * flat
        own[_K23 + i] = w * l2 * (l3 * flat + r3 * (z13 - z23))
        own[_K33 + i] = w * (l3 * l3 * flat + 2.0 * l3 * r3 * (z13 - z23) + r3 * r3 * z33)
        ws = w * SHEAR
        own[_S13 + i] = ws * (l1 * x1 + j1 * x2 + r1 * x3)
        own[_S23 + i] = ws * l2 * (x1 - x2)
        own[_S33 + i] = ws * (l3 * (x1 - x2) + r3 * x3)
        own[_S15 + i] = ws * (l1 * y1 + j1 * y2 + r1 * y3)
        own[_S25 + i] = ws * l2 * (y1 - y2)
        own[_S35 + i] = ws * (l3 * (y1 - y2) + r3 * y3)
        own[_F13 + i], own[_F23 + i] = ws * own[_OLD13 + i], ws * own[_OLD23 + i]
        wss = ws * SHEAR
        own[_Q33 + i] = wss * (across + more * e13 * e13)
        own[_Q35 + i] = wss * more * e13 * e23
        own[_Q55 + i] = wss * (across + more * e23 * e23)


@kernel
def _sum(place: Floats, own: Floats, lane: int, count: int, shear: Floats, out: Floats) -> None:
    """Sums over the `count` layers of a point from `lane` on; out : (SUMS,)."""
    out[:] = 0.0
    for i in range(lane, lane + count):
        y = place[i]
        power = 1.0
        for j in range(5):
            if j < 3:
                out[FORCE + 3 * j] += power * own[_N1 + i]
                out[FORCE + 3 * j + 1] += power * own[_N2 + i]
                out[FORCE + 3 * j + 2] += power * own[_N3 + i]
                at = COUPLED + 6 * j
                out[at] += power * own[_S13 + i]
                out[at + 1] += power * own[_S23 + i]
                out[at + 2] += power * own[_S33 + i]
                out[at + 3] += power * own[_S15 + i]
                out[at + 4] += power * own[_S25 + i]
                out[at + 5] += power * own[_S35 + i]
            at = TANGENT + 6 * j
            out[at] += power * own[_K11 + i]
            out[at + 1] += power * own[_K12 + i]
            out[at + 2] += power * own[_K13 + i]
            out[at + 3] += power * own[_K22 + i]
            out[at + 4] += power * own[_K23 + i]
            out[at + 5] += power * own[_K33 + i]
            power *= y
        out[SHEARS] += own[_F13 + i]
        out[SHEARS + 1] += own[_F23 + i]
        out[SHEARED] += own[_Q33 + i]
        out[SHEARED + 1] += own[_Q35 + i]
        out[SHEARED + 2] += own[_Q55 + i]
    # from shears in orthogonal undeformed directions to those of the measures
    per = shear[3]
    skew = -shear[2] * per
    for j in range(3):
        for k in range(3):
            at = COUPLED + 6 * j + k
            out[at] += skew * out[at + 3]
            out[at + 3] *= per
    out[SHEARS] += skew * out[SHEARS + 1]
    out[SHEARS + 1] *= per
    q11, q12, q22 = out[SHEARED], out[SHEARED + 1], out[SHEARED + 2]
    out[SHEARED] = q11 + 2.0 * skew * q12 + skew * skew * q22
    out[SHEARED + 1] = per * (q12 + skew * q22)
    out[SHEARED + 2] = per * per * q22


@kernel
def layer_sums(
    material: Floats,
    first_layer: Ints,
    measures: Floats,
    shear: Floats,
    y: Floats,
    inverse: Floats,
    weight: Floats,
    factor: Floats,
    old: Floats,
    lanes: Floats,
    own: Floats,
    new: Floats,
    stress: Floats,
    sums: Floats,
) -> None:
    """New state, stress and the sums over layers at every point of one station.

    measures : (n_points, MEASURES).  shear : (n_points, 4), inverse : (3, n_layers),
    weight : (n_layers,) of UnevenBody.  y, factor : (n_layers,), old : (STATE, n_layers) of
    UnevenStart.  lanes : (LANES,) of metal/layers.py and own : (OWN_LANES,), room to work.
    new : (STATE, n_layers), stress : (STRESSES, n_layers), sums : (n_points, SUMS), out.
    """
    place = np.empty(BLOCK)
    n_points = measures.shape[0]
    last = 0
    while last < n_points:
        point = last
        first = first_layer[point]
        while last < n_points and first_layer[last + 1] - first <= BLOCK:
            last += 1
        _fill(place, measures, shear, y, inverse, weight, first_layer, point, last, own)
        _logarithms(lanes, own)
        count = first_layer[last] - first
        _stress(material, factor, old, first, count, lanes, own, new, stress)
        _weigh(material, lanes, own)
        for p in range(point, last):
            lane = (first_layer[p] - first) & (BLOCK - 1)
            _sum(place, own, lane, first_layer[p + 1] - first_layer[p], shear[p], sums[p])
