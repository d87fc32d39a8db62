"""Compiled tangent of the axisymmetric solid for a perturbation in n circumferential waves.

About an axisymmetric state the perturbation is u_r = U cos n t, u_z = W cos n t, u_t = V sin n t.
Its spatial gradient has, besides the in-plane components of U and W times cos n t,

    hoop (n V + U)/r cos    rt -(n U + V)/r sin    tr V,r sin    zt -n W/r sin    tz V,z sin

so that the second variation of the energy is a polynomial of second degree in n.  The modulus
that goes with a shear between two principal axes of the Kirchhoff stress is, for a coaxial
isotropic law with shear modulus G between stress and logarithmic strain (Ogden, Non-linear Elastic
Deformations, 1984, sec. 6.1.4; value from memory),

    (t_i b_j - t_j b_i) / (b_i - b_j) = G x coth x - (t_i + t_j) / 2,    x = (t_i - t_j) / 2 G.

Waves are counted as unstable where the tangent has a negative eigenvalue; all integrals are per
radian with cos^2 for 1, so that n = 0 is the tangent of solid_kernel.py.
"""

from __future__ import annotations

import math

import numpy as np

from domemargin.fea.compiled import kernel
from domemargin.fea.metal.materials import ELASTIC, LAW, NU, E, yield_curve
from domemargin.fea.shell.given import Fields
from domemargin.fea.solid.given import Body, Edge
from domemargin.fea.solid.kernel import STATE, deformation, point, turned
from domemargin.profiles.arrays import Floats

FLOW, DEFORMATION = 0, 1
DEGREE = 2


@kernel
def _between(shear: float, ti: float, tj: float) -> float:
    """Modulus of the shear between two principal axes."""
    x = 0.5 * (ti - tj) / shear
    # x coth x, by its series where tanh would cancel
    spread = 1.0 + x * x / 3.0 if abs(x) < 1e-3 else x / math.tanh(x)
    return shear * spread - 0.5 * (ti + tj)


@kernel
def wave_moduli(
    material: Floats,
    factor: float,
    f: Floats,
    old: Floats,
    prior: float,
    theory: int,
    a: Floats,
    b: Floats,
) -> None:
    """Moduli of one point for any perturbation, with its initial stress, MPa.

    f, old : as solid_kernel.point, of the step that led to the state.  prior : equivalent plastic
    strain before loading.
    theory : FLOW takes the step's own tangent and elastic moduli for shears out of the section;
        DEFORMATION secant moduli where metal yields: 1/(2 Gs) = 1/(2 G) + 1.5 ep/q, and along the
        stress deviator the tangent 1/(2 Gt) = 1/(2 G) + 1.5/h (Hutchinson, Adv. Appl. Mech. 14,
        1974, 67-144, sec. II; value from memory).
    a : (5, 5) written, of rr, rz, zr, zz, hoop.  b : (4, 4) written, of rt, tr, zt, tz.
    """
    new, tau = np.empty(STATE), np.empty(4)
    point(material, factor, f, old, new, tau, a)
    shear = 0.5 * material[E] / (1.0 + material[NU])
    half = 0.5 * (tau[0] - tau[1])
    centre, radius = 0.5 * (tau[0] + tau[1]), math.sqrt(half * half + tau[2] * tau[2])
    angle = 0.5 * math.atan2(tau[2], half)
    c, s = math.cos(angle), math.sin(angle)
    t1, t2, t3 = centre + radius, centre - radius, tau[3]
    if theory == DEFORMATION and material[LAW] != ELASTIC and new[4] > old[4]:
        mean = (t1 + t2 + t3) / 3.0
        deviator = np.array([t1 - mean, t2 - mean, t3 - mean])
        q = math.sqrt(1.5 * (deviator[0] ** 2 + deviator[1] ** 2 + deviator[2] ** 2))
        _, slope = yield_curve(material, new[4])
        bulk = material[E] / (3.0 * (1.0 - 2.0 * material[NU]))
        # perfect plasticity: a slope that is small but not zero keeps the compliance finite
        tangent = 1.0 / (1.0 / shear + 3.0 / max(factor * slope, 1e-9 * shear))
        shear = 1.0 / (1.0 / shear + 3.0 * (new[4] - prior) / q)
        pull = 3.0 * (shear - tangent) / (q * q)
        normal = np.empty((3, 3))
        for i in range(3):
            for j in range(3):
                normal[i, j] = bulk - 2.0 * shear / 3.0 - pull * deviator[i] * deviator[j]
            normal[i, i] += 2.0 * shear
        turned(c, s, normal, _between(shear, t1, t2), t1, t2, t3, a)
    mu1, mu2 = _between(shear, t1, t3), _between(shear, t2, t3)
    b[:] = 0.0
    for axis, mu, t in ((0, mu1, t1), (1, mu2, t2)):
        # of this axis with the hoop: its part along r and z
        along = (c, s) if axis == 0 else (-s, c)
        for i in range(2):
            for j in range(2):
                w = along[i] * along[j]
                b[2 * i, 2 * j] += w * (mu + t3)
                b[2 * i, 2 * j + 1] += w * mu
                b[2 * i + 1, 2 * j] += w * mu
                b[2 * i + 1, 2 * j + 1] += w * (mu + t)


@kernel
def add_wave_metal(u: Floats, solid: Fields, old: Floats, theory: int, bands: Floats) -> None:
    """Add the metal's part of the tangent for waves as a polynomial in their number.

    u, solid : as kernel.add_metal.  old : (m, q, 5) states one step before u.
    theory : see wave_moduli.
    bands : (3, 3 n_nodes, w + 1) lower bands of the powers of n, unknowns U, W, V of each node.
    """
    body = Body(*solid)
    nodes, shapes, slopes, radii = body.nodes, body.shapes, body.slopes, body.radii
    weights, material, factors, prior = body.weights, body.material, body.factors, body.prior
    k = nodes.shape[1]
    f, a, b = np.empty(5), np.empty((5, 5)), np.empty((4, 4))
    g = np.empty((k, 3))
    w_band = bands.shape[2] - 1
    # rows of the gradient: rr, rz, zr, zz, hoop, rt, tr, zt, tz; by power of n; of U, W, V
    grad = np.zeros((k, 2, 9, 3))
    force = np.empty((2, 9, 3))
    for e in range(nodes.shape[0]):
        for q in range(shapes.shape[0]):
            deformation(u, nodes[e], shapes[q], slopes[e, q], radii[e, q], f)
            wave_moduli(material, factors[e, q], f, old[e, q], prior[e, q], theory, a, b)
            r = f[4] * radii[e, q]
            det = f[0] * f[3] - f[1] * f[2]
            for i in range(k):
                dr, dz = slopes[e, q, i, 0], slopes[e, q, i, 1]
                g[i, 0] = (dr * f[3] - dz * f[2]) / det
                g[i, 1] = (dz * f[0] - dr * f[1]) / det
                g[i, 2] = shapes[q, i] / r
                one, many = grad[i, 0], grad[i, 1]
                one[0, 0], one[1, 0], one[4, 0] = g[i, 0], g[i, 1], g[i, 2]
                one[2, 1], one[3, 1] = g[i, 0], g[i, 1]
                one[5, 2], one[6, 2], one[8, 2] = -g[i, 2], g[i, 0], g[i, 1]
                many[4, 2], many[5, 0], many[7, 1] = g[i, 2], -g[i, 2], -g[i, 2]
            for j in range(k):
                for power in range(2):
                    for column in range(3):
                        for row in range(5):
                            value = 0.0
                            for m in range(5):
                                value += a[row, m] * grad[j, power, m, column]
                            force[power, row, column] = weights[e, q] * value
                        for row in range(4):
                            value = 0.0
                            for m in range(4):
                                value += b[row, m] * grad[j, power, 5 + m, column]
                            force[power, 5 + row, column] = weights[e, q] * value
                for i in range(k):
                    if nodes[e, i] < nodes[e, j]:
                        continue
                    for row in range(3):
                        line = 3 * nodes[e, i] + row
                        for column in range(3):
                            at = 3 * nodes[e, j] + column - line + w_band
                            if at > w_band:
                                continue
                            for p in range(2):
                                for power in range(2):
                                    value = 0.0
                                    for m in range(9):
                                        value += grad[i, p, m, row] * force[power, m, column]
                                    bands[p + power, line, at] += value


@kernel
def add_wave_pressure(x: Floats, edge: Fields, pressure: float, bands: Floats) -> None:
    """Take pressure times the second variation of the enclosed volume off the bands.

    x : (n, 2) positions, mm.  edge : of Edge.  bands : as in add_wave_metal.
    Its quadratic form is the integral along the loaded edge of U^2 z' + V^2 z' + 2 n U V z'
    + 2 r U W' + n r (V W' + V' W) - n r' V W.  The edge rule must integrate it exactly, since only
    then does a rigid rotation leave it unchanged.
    """
    edges, shapes, slopes, weights = Edge(*edge)
    w_band = bands.shape[2] - 1
    block = np.zeros((2, 3, 3))
    for e in range(edges.shape[0]):
        for q in range(weights.shape[0]):
            r = dr = dz = 0.0
            for i in range(3):
                r += x[edges[e, i], 0] * shapes[q, i]
                dr += x[edges[e, i], 0] * slopes[q, i]
                dz += x[edges[e, i], 1] * slopes[q, i]
            w = -pressure * weights[q]
            for i in range(3):
                for j in range(3):
                    if edges[e, i] < edges[e, j]:
                        continue
                    both = shapes[q, i] * shapes[q, j]
                    left, right = slopes[q, i] * shapes[q, j], shapes[q, i] * slopes[q, j]
                    block[0, 0, 0] = block[0, 2, 2] = w * dz * both
                    block[0, 0, 1], block[0, 1, 0] = w * r * right, w * r * left
                    block[1, 0, 2] = block[1, 2, 0] = w * dz * both
                    mixed = 0.5 * w * (r * (left + right) - dr * both)
                    block[1, 1, 2] = block[1, 2, 1] = mixed
                    for row in range(3):
                        line = 3 * edges[e, i] + row
                        for column in range(3):
                            at = 3 * edges[e, j] + column - line + w_band
                            if at <= w_band:
                                for power in range(2):
                                    bands[power, line, at] += block[power, row, column]
