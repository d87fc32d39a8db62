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
from numpy.typing import NDArray

from fea.compiled import kernel
from fea.materials import NU, P1, P2, E, layer_stress

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

WIDTH = 8  # half bandwidth: three nodes of three unknowns couple to each other
SHEAR = math.sqrt(5.0 / 6.0)


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
    per_length : (n_layers, 2) 1 / (a0 - y0 phi0'), 1 / (r0 - y0 sin phi0).
    layer_weight, factor, y : (n_layers,) area per radian and length, yield factor, distance now.
    face : (nel * nq,) distance of the loaded face from the mid-surface.
    old, new : (n_layers, 7) material state; stress : (n_layers, 3), MPa, out.
    residual, volume_gradient : (3 n_nodes,), out.  band : (3 n_nodes, WIDTH + 1), out.
    fixed : numbers of the unknowns held: zero residual and gradient, 1 on the diagonal.
    """
    n_elements, n_points = weights.shape
    residual[:] = 0.0
    volume_gradient[:] = 0.0
    band[:] = 0.0
    volume = 0.0
    for e in range(n_elements):
        for q in range(n_points):
            point = e * n_points + q
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
            a, g = rp * c + zp * s, -rp * s + zp * c

            strain = SHEAR * (g - shear_strain[point])
            fa = fk = fr = fs = fg = 0.0
            aa = ak = kk = rr = rs = ss = ar = ax = kx = ag = kg = rg = sg = gg = 0.0
            for m in range(first_layer[point], first_layer[point + 1]):
                ym = y[m]
                l1, l2 = a - ym * k, r - ym * s
                t1, t2, t3, t11, t12, t22, t13, t23, t33 = layer_stress(
                    material,
                    factor[m],
                    math.log(l1 * per_length[m, 0]),
                    math.log(l2 * per_length[m, 1]),
                    strain,
                    old[m],
                    new[m],
                )
                stress[m, 0], stress[m, 1], stress[m, 2] = t1, t2, t3
                w = layer_weight[m]
                u1, u2 = 1.0 / l1, 1.0 / l2
                f1, f2 = w * t1 * u1, w * t2 * u2
                fa += f1
                fk -= ym * f1
                fr += f2
                fs -= ym * f2
                c11, c22 = w * (t11 - t1) * u1 * u1, w * (t22 - t2) * u2 * u2
                c12 = w * t12 * u1 * u2
                aa += c11
                ak -= ym * c11
                kk += ym * ym * c11
                rr += c22
                rs -= ym * c22
                ss += ym * ym * c22
                ar += c12
                ax -= ym * c12
                kx += ym * ym * c12
                c13, c23 = w * SHEAR * t13 * u1, w * SHEAR * t23 * u2
                fg += w * SHEAR * t3
                ag += c13
                kg -= ym * c13
                rg += c23
                sg -= ym * c23
                gg += w * SHEAR * SHEAR * t33

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
    half: Floats,
    inner: Floats,
    reach: Floats,
    rule: Ints,
    state: Floats,
    stress: Floats,
    y: Floats,
    face: Floats,
    side: float,
) -> None:
    """Move the layers and the loaded face by the thickness strain, in place.

    y(y0) = integral from the mid-surface of exp(e3), e3 = -(nu/E)(t1 + t2) - plastic part; the
    mid-surface fibre stays at y = 0.
    half : (n_points,) half the undeformed gauge.  rule : (n_points,) which layer rule.
    inner : (n_rules, nl, nl) integrals of the rule's polynomial from 0 to each layer;
    reach : (n_rules, 2, nl) from 0 to the outside (-1) and inside (+1) faces.
    side : which face is loaded: +1 inside, 0 mid-surface, -1 outside.
    """
    stretch = np.empty(inner.shape[1])
    compliance = material[NU] / material[E]
    for point in range(half.size):
        first, last = first_layer[point], first_layer[point + 1]
        for m in range(first, last):
            e3 = -compliance * (stress[m, 0] + stress[m, 1]) - state[m, P1] - state[m, P2]
            stretch[m - first] = math.exp(e3)
        count = last - first
        use = rule[point]
        for i in range(count):
            value = 0.0
            for j in range(count):
                value += inner[use, i, j] * stretch[j]
            y[first + i] = half[point] * value
        value = 0.0
        if side != 0.0:
            end = 1 if side > 0.0 else 0
            for j in range(count):
                value += reach[use, end, j] * stretch[j]
        face[point] = half[point] * value
