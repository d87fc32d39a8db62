"""Compiled loops of the axisymmetric solid: return map of a point, forces, tangent, pressure.

Finite-strain J2 plasticity with the multiplicative split F = Fe Fp and Hencky's elastic law
between Kirchhoff stress and logarithmic strain: the return map is the radial return of small
strains in the principal axes of the trial be = F Cp^-1 F^T, with the exponential map (Simo,
Comput. Methods Appl. Mech. Eng. 99, 1992, 61-112; de Souza Neto, Peric & Owen, Computational
Methods for Plasticity, 2008, ch. 14, also for the tangent).

Components of gradients are ordered rr, rz, zr, zz, and the hoop.  All integrals are per radian.
"""

from __future__ import annotations

import math

import numpy as np

from domemargin.fea.compiled import kernel
from domemargin.fea.metal.materials import ELASTIC, KINEMATIC, LAW, NU, E, yield_curve
from domemargin.fea.shell.given import Fields
from domemargin.fea.solid.given import Body, Edge, Found
from domemargin.fea.solid.kinematic import kinematic_point, kinematic_ratio
from domemargin.profiles.arrays import Bools, Floats, Ints

STATE = 5  # Cp^-1 (rr, zz, rz, hoop) and equivalent plastic strain


@kernel
def _radial_return(material: Floats, factor: float, q: float, ep: float, shear: float) -> tuple[
    float, float
]:  # fmt: skip
    """Increment of equivalent plastic strain and slope of the yield curve at its end.

    Solves q - 3 G d = factor * yield(ep + d); the residual falls with d, so a bracket holds.
    """
    d, low, high = 0.0, 0.0, q / (3.0 * shear)
    slope = 0.0
    for _ in range(60):
        stress, slope = yield_curve(material, ep + d)
        stress, slope = factor * stress, factor * slope
        residual = q - 3.0 * shear * d - stress
        if abs(residual) <= 1e-13 * q:
            break
        if residual > 0.0:
            low = d
        else:
            high = d
        trial = d + residual / (3.0 * shear + slope)
        if not (low <= trial <= high):
            trial = 0.5 * (low + high)
        if trial == d:
            break
        d = trial
    return d, slope


@kernel
def turned(
    c: float, s: float, normal: Floats, mu: float, t1: float, t2: float, t3: float, a: Floats
) -> None:
    """Moduli with the initial stress in r and z from those in principal axes.

    c, s : of the angle of the first axis.  normal : (3, 3) d t_i / d e_j of principal stress and
    logarithmic strain, upper half.  mu : shear modulus between the first two axes.
    t1, t2, t3 : Kirchhoff stress.  a : (5, 5) written, of rr, rz, zr, zz, hoop.
    """
    # component (i, j) of a gradient is Q_ki Q_lj g_kl
    turn = np.empty((4, 4))
    cc, ss, cs = c * c, s * s, c * s
    turn[0, 0], turn[0, 1], turn[0, 2], turn[0, 3] = cc, cs, cs, ss
    turn[1, 0], turn[1, 1], turn[1, 2], turn[1, 3] = -cs, cc, -ss, cs
    turn[2, 0], turn[2, 1], turn[2, 2], turn[2, 3] = -cs, -ss, cc, cs
    turn[3, 0], turn[3, 1], turn[3, 2], turn[3, 3] = ss, -cs, -cs, cc
    for j in range(4):
        w0 = (normal[0, 0] - t1) * turn[0, j] + normal[0, 1] * turn[3, j]
        w1 = (mu + t2) * turn[1, j] + mu * turn[2, j]
        w2 = mu * turn[1, j] + (mu + t1) * turn[2, j]
        w3 = normal[0, 1] * turn[0, j] + (normal[1, 1] - t2) * turn[3, j]
        for i in range(4):
            a[i, j] = turn[0, i] * w0 + turn[1, i] * w1 + turn[2, i] * w2 + turn[3, i] * w3
        a[4, j] = normal[0, 2] * turn[0, j] + normal[1, 2] * turn[3, j]
        a[j, 4] = a[4, j]
    a[4, 4] = normal[2, 2] - t3


@kernel
def point(
    material: Floats, factor: float, f: Floats, old: Floats, new: Floats, tau: Floats, a: Floats
) -> None:
    """Stress, state and tangent of one material point.

    factor : multiplies the yield curve.  f : (5,) deformation gradient.
    old, new : (5,) state before and after (layout at STATE).
    tau : (4,) Kirchhoff stress rr, zz, rz, hoop, MPa, written.
    a : (5, 5) written: d(tau F^-T)/dF pushed forward, c_ijkl + delta_ik tau_jl, MPa.
    """
    if material[KINEMATIC] > 0.0:
        kinematic_point(material, factor, f, old, new, tau, a)
        return
    shear = 0.5 * material[E] / (1.0 + material[NU])
    bulk = material[E] / (3.0 * (1.0 - 2.0 * material[NU]))
    frr, frz, fzr, fzz, fh = f[0], f[1], f[2], f[3], f[4]
    det = frr * fzz - frz * fzr
    crr, czz, crz, ch = old[0], old[1], old[2], old[3]
    hrr, hrz = frr * crr + frz * crz, frr * crz + frz * czz
    hzr, hzz = fzr * crr + fzz * crz, fzr * crz + fzz * czz
    brr, bzz, brz = hrr * frr + hrz * frz, hzr * fzr + hzz * fzz, hrr * fzr + hrz * fzz

    # principal axes; the smaller square stretch from the determinant, free of cancellation
    half = 0.5 * (brr - bzz)
    l1 = 0.5 * (brr + bzz) + math.sqrt(half * half + brz * brz)
    l2 = det * det * (crr * czz - crz * crz) / l1
    l3 = fh * fh * ch
    angle = 0.5 * math.atan2(brz, half)
    c, s = math.cos(angle), math.sin(angle)
    # a turned-over element must show as NaN, not as a plausible stretch
    e1 = 0.5 * math.log(l1) if det > 0.0 and fh > 0.0 else math.nan
    e2, e3 = 0.5 * math.log(l2), 0.5 * math.log(l3)

    mean = (e1 + e2 + e3) / 3.0
    s1, s2, s3 = 2.0 * shear * (e1 - mean), 2.0 * shear * (e2 - mean), 2.0 * shear * (e3 - mean)
    for i in range(STATE):
        new[i] = old[i]
    kept, pull = 1.0, 0.0  # share of the deviator kept; rank-one part of the tangent
    if material[LAW] != ELASTIC:
        q = math.sqrt(1.5 * (s1 * s1 + s2 * s2 + s3 * s3))
        stress, _ = yield_curve(material, old[4])
        if q > factor * stress:
            d, slope = _radial_return(material, factor, q, old[4], shear)
            kept = 1.0 - 3.0 * shear * d / q
            pull = 9.0 * shear * shear / (q * q) * (1.0 / (3.0 * shear + slope) - d / q)
            new[4] = old[4] + d
            back = 2.0 * 1.5 * d / q
            # Cp^-1 = F^-1 be F^-T
            m1, m2 = l1 * math.exp(-back * s1), l2 * math.exp(-back * s2)
            err, ezz, erz = c * c * m1 + s * s * m2, s * s * m1 + c * c * m2, c * s * (m1 - m2)
            grr, grz, gzr, gzz = fzz / det, -frz / det, -fzr / det, frr / det
            hrr, hrz = grr * err + grz * erz, grr * erz + grz * ezz
            hzr, hzz = gzr * err + gzz * erz, gzr * erz + gzz * ezz
            new[0], new[1] = hrr * grr + hrz * grz, hzr * gzr + hzz * gzz
            new[2] = hrr * gzr + hrz * gzz
            new[3] = ch * math.exp(-back * s3)

    p = 3.0 * bulk * mean
    t1, t2, t3 = p + kept * s1, p + kept * s2, p + kept * s3
    tau[0], tau[1] = c * c * t1 + s * s * t2, s * s * t1 + c * c * t2
    tau[2], tau[3] = c * s * (t1 - t2), t3

    two = 2.0 * shear * kept
    off = bulk - two / 3.0
    normal = np.empty((3, 3))
    normal[0, 0] = off + two - pull * s1 * s1
    normal[1, 1] = off + two - pull * s2 * s2
    normal[2, 2] = off + two - pull * s3 * s3
    normal[0, 1], normal[0, 2] = off - pull * s1 * s2, off - pull * s1 * s3
    normal[1, 2] = off - pull * s2 * s3
    # shear modulus between the two axes: (t1 l2 - t2 l1)/(l1 - l2), written without cancellation
    x = (l1 - l2) / l2
    ratio = math.log1p(x) / x if x > 1e-8 else 1.0 - 0.5 * x
    mu = 0.25 * two * (l1 + l2) / l2 * ratio - 0.5 * (t1 + t2)
    turned(c, s, normal, mu, t1, t2, t3, a)


@kernel
def _add_block(
    band: Floats, free: Bools, m: int, n: int, k00: float, k01: float, k10: float, k11: float
) -> None:
    """Add a node-pair block of a symmetric matrix to its lower band (rows m, columns n)."""
    if m < n:
        m, n, k01, k10 = n, m, k10, k01
    w = band.shape[1] - 1
    i, j = 2 * m, 2 * n
    if free[i] and free[j]:
        band[i, j - i + w] += k00
    if free[i + 1] and free[j]:
        band[i + 1, j - i - 1 + w] += k10
    if free[i + 1] and free[j + 1]:
        band[i + 1, j - i + w] += k11
    if m != n and free[i] and free[j + 1]:
        band[i, j + 1 - i + w] += k01


@kernel
def deformation(
    u: Floats, nodes: Ints, shapes: Floats, slopes: Floats, radius: float, f: Floats
) -> None:
    """Deformation gradient (5,) of one point, written to f.

    u : (n, 2) displacements, mm.  nodes : (k,) of the element; shapes (k,) and slopes (k, 2) at
    the point.  radius : its reference radius, mm.
    """
    f[0] = f[3] = 1.0
    f[1] = f[2] = 0.0
    ur = 0.0
    for i in range(nodes.size):
        node = nodes[i]
        f[0] += u[node, 0] * slopes[i, 0]
        f[1] += u[node, 0] * slopes[i, 1]
        f[2] += u[node, 1] * slopes[i, 0]
        f[3] += u[node, 1] * slopes[i, 1]
        ur += u[node, 0] * shapes[i]
    f[4] = 1.0 + ur / radius


@kernel
def yield_ratio(u: Floats, solid: Fields, points: Floats) -> Floats:
    """(m, q) equivalent Kirchhoff stress over yield stress at the points of an accepted state.

    u : (n, 2) displacements, mm.  solid : of Body.  points : (m, q, 5) states.  Zero for a linear
    elastic material.
    """
    body = Body(*solid)
    nodes, shapes, slopes, radii = body.nodes, body.shapes, body.slopes, body.radii
    material, factors = body.material, body.factors
    out = np.zeros(radii.shape)
    if material[LAW] == ELASTIC:
        return out
    f, tau, a, new = np.empty(5), np.empty(4), np.empty((5, 5)), np.empty(STATE)
    for e in range(nodes.shape[0]):
        for q in range(shapes.shape[0]):
            deformation(u, nodes[e], shapes[q], slopes[e, q], radii[e, q], f)
            if material[KINEMATIC] > 0.0:
                out[e, q] = kinematic_ratio(material, factors[e, q], f, points[e, q])
                continue
            point(material, factors[e, q], f, points[e, q], new, tau, a)
            mean = (tau[0] + tau[1] + tau[3]) / 3.0
            s1, s2, s3 = tau[0] - mean, tau[1] - mean, tau[3] - mean
            size = math.sqrt(1.5 * (s1 * s1 + s2 * s2 + s3 * s3) + 3.0 * tau[2] * tau[2])
            stress, _ = yield_curve(material, points[e, q, 4])
            out[e, q] = size / (factors[e, q] * stress)
    return out


@kernel
def add_metal(u: Floats, solid: Fields, old: Floats, out: Fields) -> None:
    """Add the internal forces and their tangent, and write the states of the points.

    u : (n, 2) displacements, mm (not positions, whose rounding would swamp the strains of thin
    elements).  solid : of Body.  old : (m, q, 5) states before.  out : of Found.
    """
    body, found = Body(*solid), Found(*out)
    nodes, shapes, slopes, radii = body.nodes, body.shapes, body.slopes, body.radii
    weights, material, factors, free = body.weights, body.material, body.factors, body.free
    new, residual, band = found.new, found.residual, found.band
    k = nodes.shape[1]
    f, tau, a = np.empty(5), np.empty(4), np.empty((5, 5))
    g = np.empty((k, 3))  # spatial gradient of a shape function, and its value over r
    t = np.empty((5, 2))
    force, blocks = np.empty((k, 2)), np.empty((k, k, 4))  # of one element
    for e in range(nodes.shape[0]):
        force[:], blocks[:] = 0.0, 0.0
        for q in range(shapes.shape[0]):
            deformation(u, nodes[e], shapes[q], slopes[e, q], radii[e, q], f)
            r = f[4] * radii[e, q]
            point(material, factors[e, q], f, old[e, q], new[e, q], tau, a)
            det = f[0] * f[3] - f[1] * f[2]
            for i in range(k):
                dr, dz = slopes[e, q, i, 0], slopes[e, q, i, 1]
                g[i, 0] = (dr * f[3] - dz * f[2]) / det
                g[i, 1] = (dz * f[0] - dr * f[1]) / det
                g[i, 2] = shapes[q, i] / r
            w = weights[e, q]
            for i in range(k):
                gr, gz = w * g[i, 0], w * g[i, 1]
                force[i, 0] += tau[0] * gr + tau[2] * gz + w * tau[3] * g[i, 2]
                force[i, 1] += tau[2] * gr + tau[1] * gz
            for j in range(k):
                gr, gz, gh = w * g[j, 0], w * g[j, 1], w * g[j, 2]
                for row in range(5):
                    t[row, 0] = a[row, 0] * gr + a[row, 1] * gz + a[row, 4] * gh
                    t[row, 1] = a[row, 2] * gr + a[row, 3] * gz
                for i in range(j, k):
                    block = blocks[j, i]
                    gr, gz, gh = g[i, 0], g[i, 1], g[i, 2]
                    block[0] += gr * t[0, 0] + gz * t[1, 0] + gh * t[4, 0]
                    block[1] += gr * t[0, 1] + gz * t[1, 1] + gh * t[4, 1]
                    block[2] += gr * t[2, 0] + gz * t[3, 0]
                    block[3] += gr * t[2, 1] + gz * t[3, 1]
        for j in range(k):
            for c in range(2):
                unknown = 2 * nodes[e, j] + c
                if free[unknown]:
                    residual[unknown] += force[j, c]
            for i in range(j, k):
                b = blocks[j, i]
                _add_block(band, free, nodes[e, i], nodes[e, j], b[0], b[1], b[2], b[3])


@kernel
def add_pressure(x: Floats, edge: Fields, pressure: float, free: Bools, out: Fields) -> float:
    """Volume V = integral of r^2/2 dz along the loaded edge, mm^3 per radian.

    x : (n, 2) positions, mm.  edge : of Edge.  free : (2 n,) unknowns that move.
    out : of Found; grad V is added to the gradient, less pressure times Hess V to the band.
    """
    edges, shapes, slopes, weights = Edge(*edge)
    gradient, band = Found(*out).gradient, Found(*out).band
    volume = 0.0
    for e in range(edges.shape[0]):
        for q in range(weights.shape[0]):
            r = dz = 0.0
            for i in range(3):
                r += x[edges[e, i], 0] * shapes[q, i]
                dz += x[edges[e, i], 1] * slopes[q, i]
            w = weights[q]
            volume += 0.5 * w * r * r * dz
            for i in range(3):
                node = edges[e, i]
                if free[2 * node]:
                    gradient[2 * node] += w * r * dz * shapes[q, i]
                if free[2 * node + 1]:
                    gradient[2 * node + 1] += 0.5 * w * r * r * slopes[q, i]
                for j in range(i + 1):
                    _add_block(
                        band, free, node, edges[e, j],
                        -pressure * w * dz * shapes[q, i] * shapes[q, j],
                        -pressure * w * r * shapes[q, i] * slopes[q, j],
                        -pressure * w * r * slopes[q, i] * shapes[q, j],
                        0.0,
                    )  # fmt: skip
    return volume
