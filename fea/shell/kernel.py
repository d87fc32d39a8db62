"""Compiled inner loop of the shell of revolution: layers, integration points, elements.

Unknowns at a node: r, z (mm) and the tangent angle phi (radians).  Per point of the meridian,
with ' = d/dS along the undeformed line and (.)0 the undeformed value:

    a = r' cos phi + z' sin phi      stretch,        g = -r' sin phi + z' cos phi   shear
    layer at undeformed distance y0 from the mid-surface, now at y:
    stretch meridian  Ls = (a - y phi') / (a0 - y0 phi0')
    stretch hoop      Lt = (r - y sin phi) / (r0 - y0 sin phi0)
    shear in the layer  k (g - g0),  k = sqrt(5/6)
    internal energy per radian  d W = w (t_s dLs/Ls + t_t dLt/Lt + t_g k dg),  w = layer's area

so a layer sees two logarithmic strains and a shear and gives Kirchhoff stresses; thick curvature
is exact, as is the hoop stretch (Reissner 1969 for the strain measures of a shear-flexible
meridian).  k gives the usual shear correction to the stiffness and lets a layer yield by the
root mean square of the parabola that the shear stress forms: at the hinge in a nose the shear
takes 0.3 to 0.5 % off the reversal pressure.  The
distances y follow the thickness strain of the layers, lagged by one step: see `thicken`.
Enclosed volume per radian V = integral of r^2/2 dz along the loaded face; pressure does work
p dV, so its forces are p grad V and its tangent p Hess V (symmetric).
"""

from __future__ import annotations

import math

import numpy as np

from domemargin.fea.compiled import kernel
from domemargin.fea.metal.layers import (
    BLOCK,
    C11,
    C12,
    C13,
    C22,
    C23,
    C33,
    E3,
    FACTOR,
    LANES,
    LENGTH1,
    LENGTH2,
    OWN,
    PER1,
    STATES,
    T1,
    T2,
    T3,
    WEIGHT,
    Y,
    exponential,
    load,
    rows,
    store,
    strains,
    stresses,
)
from domemargin.fea.metal.materials import NU, P1, P2, E
from domemargin.profiles.arrays import Floats, Ints

WIDTH = 8  # half bandwidth: three nodes of three unknowns couple to each other
SHEAR = math.sqrt(5.0 / 6.0)


# of a point's place
R, SIN, COS, CURVE, STRETCH, SHEARED = range(6)
PLACE = 6
_LANE = BLOCK - 1
# rows of what a layer adds to the forces and their tangent, per unit of y^0
(_F1, _F2, _F3, _A11, _A12, _A22, _A13, _A23, _A33) = rows(9, OWN)


@kernel
def locate_points(x: Floats, shapes: Floats, slopes: Floats, place: Floats) -> None:
    """r, sin phi, cos phi, phi', stretch a and shear g of every point.

    x : (n_nodes, 3).  shapes : (nq, 3), slopes : (nel, nq, 3).  place : (nel * nq, 6), out.
    """
    n_elements, n_points = slopes.shape[0], slopes.shape[1]
    for e in range(n_elements):
        for q in range(n_points):
            r = rp = zp = phi = k = 0.0
            for i in range(3):
                node = 2 * e + i
                N, B = shapes[q, i], slopes[e, q, i]
                r += N * x[node, 0]
                rp += B * x[node, 0]
                zp += B * x[node, 1]
                phi += N * x[node, 2]
                k += B * x[node, 2]
            s, c = math.sin(phi), math.cos(phi)
            out = place[e * n_points + q]
            out[R], out[SIN], out[COS], out[CURVE] = r, s, c, k
            out[STRETCH], out[SHEARED] = rp * c + zp * s, -rp * s + zp * c


@kernel
def stress_block(
    point: int,
    place: Floats,
    shear_strain: Floats,
    first_layer: Ints,
    per_length: Floats,
    layer_weight: Floats,
    factor: Floats,
    material: Floats,
    y: Floats,
    old: Floats,
    lanes: Floats,
) -> int:
    """Stress and tangent of the layers of `point` and as many points after it as fit.

    The arrays are those of `assemble`; place : of `locate_points`; lanes : (LANES,), out, see
    layers.py.  Returns the first point left over.
    """
    first, last = first_layer[point], point
    while last < place.shape[0] and first_layer[last + 1] - first <= BLOCK:
        last += 1
    count = first_layer[last] - first
    load(lanes, Y, y.reshape((1, -1)), first, count, 0.0)
    load(lanes, PER1, per_length, first, count, 1.0)
    load(lanes, WEIGHT, layer_weight.reshape((1, -1)), first, count, 0.0)
    load(lanes, FACTOR, factor.reshape((1, -1)), first, count, 1.0)
    load(lanes, STATES, old, first, count, 0.0)
    for p in range(point, last):
        lane = (first_layer[p] - first) & _LANE
        r, s = place[p, R], place[p, SIN]
        a, k = place[p, STRETCH], place[p, CURVE]
        strain = SHEAR * (place[p, SHEARED] - shear_strain[p])
        for m in range(first_layer[p + 1] - first_layer[p]):
            lanes[LENGTH1 + lane + m] = a - lanes[Y + lane + m] * k
            lanes[LENGTH2 + lane + m] = r - lanes[Y + lane + m] * s
            lanes[E3 + lane + m] = strain
    for i in range(count, BLOCK):
        lanes[LENGTH1 + i] = lanes[LENGTH2 + i] = 1.0
        lanes[E3 + i] = 0.0
    strains(lanes)
    stresses(material, lanes)
    return last


@kernel
def _weigh(lanes: Floats) -> None:
    """Forces and tangent of the layers, as far as each layer's own."""
    for i in range(BLOCK):
        w, t1, t2 = lanes[WEIGHT + i], lanes[T1 + i], lanes[T2 + i]
        both = 1.0 / (lanes[LENGTH1 + i] * lanes[LENGTH2 + i])
        u1, u2 = lanes[LENGTH2 + i] * both, lanes[LENGTH1 + i] * both
        ws = w * SHEAR
        lanes[_F1 + i], lanes[_F2 + i] = w * t1 * u1, w * t2 * u2
        lanes[_F3 + i] = ws * lanes[T3 + i]
        lanes[_A11 + i] = w * (lanes[C11 + i] - t1) * u1 * u1
        lanes[_A12 + i] = w * lanes[C12 + i] * both
        lanes[_A22 + i] = w * (lanes[C22 + i] - t2) * u2 * u2
        lanes[_A13 + i], lanes[_A23 + i] = ws * lanes[C13 + i] * u1, ws * lanes[C23 + i] * u2
        lanes[_A33 + i] = ws * SHEAR * lanes[C33 + i]


@kernel
def assemble(
    x: Floats,
    pressure: float,
    shapes: Floats,
    slopes: Floats,
    weights: Floats,
    full_shapes: Floats,
    full_slopes: Floats,
    full_weights: Floats,
    shear_strain: Floats,
    first_layer: Ints,
    per_length: Floats,
    layer_weight: Floats,
    factor: Floats,
    material: Floats,
    y: Floats,
    face: Floats,
    old: Floats,
    new: Floats,
    stress: Floats,
    residual: Floats,
    volume_gradient: Floats,
    band: Floats,
    fixed: Ints,
) -> float:
    """Residual f_int - p grad V, grad V, and their tangent; returns V (mm^3 per radian).

    x : (n_nodes, 3) current r, z, phi.  Element e joins nodes 2e, 2e+1, 2e+2.
    shapes : (nq, 3), slopes : (nel, nq, 3), weights : (nel, nq) of the quadrature in S; with
        full_ those of a rule that is exact for the volume under the mid-surface.
    shear_strain : (nel * nq,) undeformed g.
    first_layer : (nel * nq + 1,) first layer of each point.
    per_length : (2, n_layers) 1 / (a0 - y0 phi0'), 1 / (r0 - y0 sin phi0).
    layer_weight, factor, y : (n_layers,) area per radian and length, yield factor, distance now.
    face : (nel * nq,) distance of the loaded face from the mid-surface.
    old, new : (7, n_layers) material state; stress : (3, n_layers), MPa, out.
    residual, volume_gradient : (3 n_nodes,), out.  band : (3 n_nodes, WIDTH + 1), out.
    fixed : numbers of the unknowns held: zero residual and gradient, 1 on the diagonal.
    """
    n_elements, n_points = weights.shape
    residual[:] = 0.0
    volume_gradient[:] = 0.0
    band[:] = 0.0
    volume = 0.0
    place, lanes = np.empty((face.size, PLACE)), np.empty(LANES)
    locate_points(x, shapes, slopes, place)
    last = int(first_layer[0])
    while last < face.size:
        start = last
        last = stress_block(
            start,
            place,
            shear_strain,
            first_layer,
            per_length,
            layer_weight,
            factor,
            material,
            y,
            old,
            lanes,
        )
        first = first_layer[start]
        count = first_layer[last] - first
        store(lanes, STATES, new, first, count)
        store(lanes, T1, stress, first, count)
        _weigh(lanes)
        for point in range(start, last):
            e, q = point // n_points, point % n_points
            r, s, c = place[point, R], place[point, SIN], place[point, COS]
            k, a, g = place[point, CURVE], place[point, STRETCH], place[point, SHEARED]
            fa = fk = fr = fs = fg = 0.0
            aa = ak = kk = rr = rs = ss = ar = ax = kx = ag = kg = rg = sg = gg = 0.0
            lane = (first_layer[point] - first) & _LANE
            for m in range(first_layer[point + 1] - first_layer[point]):
                i = lane + m
                ym = lanes[Y + i]
                f1, f2 = lanes[_F1 + i], lanes[_F2 + i]
                c11, c22, c12 = lanes[_A11 + i], lanes[_A22 + i], lanes[_A12 + i]
                c13, c23 = lanes[_A13 + i], lanes[_A23 + i]
                fa += f1
                fk -= ym * f1
                fr += f2
                fs -= ym * f2
                aa += c11
                ak -= ym * c11
                kk += ym * ym * c11
                rr += c22
                rs -= ym * c22
                ss += ym * ym * c22
                ar += c12
                ax -= ym * c12
                kx += ym * ym * c12
                fg += lanes[_F3 + i]
                ag += c13
                kg -= ym * c13
                rg += c23
                sg -= ym * c23
                gg += lanes[_A33 + i]

            h = face[point]
            h2, h3 = 0.5 * h * h, h * h * h / 3.0
            # volume under the loaded face: mid-surface part less the slab between the two
            volume += weights[e, q] * (-r * a * h + h2 * (r * k + a * s) - h3 * s * k)
            va, vk = -r * h + h2 * s, h2 * r - h3 * s
            vr, vs = -a * h + h2 * k, h2 * a - h3 * k

            # all of it less pressure times its share of V, in terms of a, phi', r, sin phi
            ar += pressure * h
            as_, kr, ks = ax - pressure * h2, ax - pressure * h2, kx + pressure * h3
            na, ns = fa - pressure * va, fs - pressure * vs
            # gradients and second derivatives in the local variables r, r', z', phi, phi'
            w = weights[e, q]
            v0, v1, v2, v3, v4 = vr, va * c, va * s, va * g + vs * c, vk
            f0, f4 = fr - pressure * v0, fk - pressure * v4
            f1, f2 = fa * c - fg * s - pressure * v1, fa * s + fg * c - pressure * v2
            f3 = fa * g - fg * a + fs * c - pressure * v3
            # rows of a, sin phi and g of the tangent times d(.)/d phi
            ta, ts, tg = (
                aa * g + as_ * c - ag * a,
                as_ * g + ss * c - sg * a,
                ag * g + sg * c - gg * a,
            )
            h00, h01 = w * rr, w * (ar * c - rg * s)
            h02, h03 = w * (ar * s + rg * c), w * (ar * g + rs * c - rg * a)
            h04, h44 = w * kr, w * kk
            h11 = w * (aa * c * c - 2.0 * ag * c * s + gg * s * s)
            h12 = w * ((aa - gg) * c * s + ag * (c * c - s * s))
            h13, h14 = w * (c * ta - s * tg - na * s - fg * c), w * (ak * c - kg * s)
            h22 = w * (aa * s * s + 2.0 * ag * c * s + gg * c * c)
            h23, h24 = w * (s * ta + c * tg + na * c - fg * s), w * (ak * s + kg * c)
            h33 = w * (g * ta + c * ts - a * tg - na * a - fg * g - ns * s)
            h34 = w * (ak * g + ks * c - kg * a)

            base = 6 * e
            for i in range(3):
                Ni, Bi = shapes[q, i], slopes[e, q, i]
                row = base + 3 * i
                residual[row] += w * (Ni * f0 + Bi * f1)
                residual[row + 1] += w * Bi * f2
                residual[row + 2] += w * (Ni * f3 + Bi * f4)
                volume_gradient[row] += w * (Ni * v0 + Bi * v1)
                volume_gradient[row + 1] += w * Bi * v2
                volume_gradient[row + 2] += w * (Ni * v3 + Bi * v4)
                for j in range(i + 1):
                    Nj, Bj = shapes[q, j], slopes[e, q, j]
                    NN, NB, BN, BB = Ni * Nj, Ni * Bj, Bi * Nj, Bi * Bj
                    column = base + 3 * j - row + WIDTH
                    band[row, column] += NN * h00 + (NB + BN) * h01 + BB * h11
                    band[row + 1, column - 1] += BN * h02 + BB * h12
                    band[row + 1, column] += BB * h22
                    band[row + 2, column - 2] += NN * h03 + NB * h13 + BN * h04 + BB * h14
                    band[row + 2, column - 1] += NB * h23 + BB * h24
                    band[row + 2, column] += NN * h33 + (NB + BN) * h34 + BB * h44
                    if j < i:
                        band[row, column + 1] += NB * h02 + BB * h12
                        band[row, column + 2] += NN * h03 + NB * h04 + BN * h13 + BB * h14
                        band[row + 1, column + 1] += BN * h23 + BB * h24
    for e in range(n_elements):
        for q in range(full_weights.shape[1]):
            r = zp = 0.0
            for i in range(3):
                r += full_shapes[q, i] * x[2 * e + i, 0]
                zp += full_slopes[e, q, i] * x[2 * e + i, 1]
            w = full_weights[e, q]
            volume += 0.5 * w * r * r * zp
            for i in range(3):
                Ni, Bi = full_shapes[q, i], full_slopes[e, q, i]
                row = 6 * e + 3 * i
                volume_gradient[row] += w * Ni * r * zp
                volume_gradient[row + 1] += w * Bi * 0.5 * r * r
                residual[row] -= pressure * w * Ni * r * zp
                residual[row + 1] -= pressure * w * Bi * 0.5 * r * r
                for j in range(i + 1):
                    Nj, Bj = full_shapes[q, j], full_slopes[e, q, j]
                    column = 3 * (j - i) + WIDTH
                    band[row, column] -= pressure * w * Ni * Nj * zp
                    band[row + 1, column - 1] -= pressure * w * Bi * Nj * r
                    if j < i:
                        band[row, column + 1] -= pressure * w * Ni * Bj * r
    for i in fixed:
        residual[i] = volume_gradient[i] = 0.0
        band[i] = 0.0
        for j in range(i + 1, min(i + WIDTH, residual.size - 1) + 1):
            band[j, i - j + WIDTH] = 0.0
        band[i, WIDTH] = 1.0
    return volume


@kernel
def thicken(
    material: Floats,
    first_layer: Ints,
    gauge: Floats,
    inner: Floats,
    reach: Floats,
    rule: Ints,
    state: Floats,
    stress: Floats,
    side: float,
) -> tuple[Floats, Floats]:
    """Distances (n_layers,) of the layers and (n_points,) of the loaded face, with the thickness.

    y(y0) = integral from the mid-surface of exp(e3), e3 = -(nu/E)(t1 + t2) - plastic part; the
    mid-surface fibre stays at y = 0.
    gauge : (n_points,) undeformed.  rule : (n_points,) which layer rule.
    inner : (n_rules, nl, nl) integrals of the rule's polynomial from 0 to each layer;
    reach : (n_rules, 2, nl) from 0 to the outside (-1) and inside (+1) faces.
    side : which face is loaded: +1 inside, 0 mid-surface, -1 outside.
    """
    n_layers = state.shape[1]
    y, face, stretch = np.empty(n_layers), np.empty(gauge.size), np.empty(n_layers)
    compliance = material[NU] / material[E]
    t1, t2, p1, p2 = stress[0], stress[1], state[P1], state[P2]
    for m in range(n_layers):
        stretch[m] = exponential(-compliance * (t1[m] + t2[m]) - p1[m] - p2[m])
    for point in range(gauge.size):
        half = 0.5 * gauge[point]
        first, last = first_layer[point], first_layer[point + 1]
        count = last - first
        use = rule[point]
        middle = count // 2
        for i in range(count):
            value = 0.0
            # from the mid-surface outward: a rule has half its points on each side
            start = 0 if i < middle else middle
            for j in range(start, start + middle):
                value += inner[use, i, j] * stretch[first + j]
            y[first + i] = half * value
        value = 0.0
        if side != 0.0:
            end = 1 if side > 0.0 else 0
            for j in range(count):
                value += reach[use, end, j] * stretch[first + j]
        face[point] = half * value
    return y, face
