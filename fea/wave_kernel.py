"""Compiled second variation of the shell for a perturbation in n circumferential waves.

About an axisymmetric state the perturbation is, with amplitudes along the meridian,

    u_r = U cos n t, u_z = W cos n t, turn of the director in the meridian plane B cos n t,
    u_t = V sin n t, tilt of the director towards the hoop psi sin n t.

A layer at distance y has the in-plane gradient (rows: along the meridian tangent and the hoop,
both normal to the director; columns: derivatives along meridian and hoop)

    f11 = t . X,S      f12 = t . X,theta      f21 = h . X,S      f22 = h . X,theta

and the logarithmic strain ln sqrt(F^T F), which is the axisymmetric one at n = 0.  Expanded to
second order (matrix function by divided differences: Higham, Functions of Matrices, 2008, ch. 3)
it gives material and initial-stress parts; the pressure part is the second variation of the
enclosed volume.  All is a polynomial of fourth degree in n.

The director turns by a rotation vector, to second order by its exponential map.  The vector has a
hoop part -B cos n t, a radial part -n B sin n t and a part -T sin n t along the meridian tangent
of the node; so psi = T cos(phi_node - phi) + n B cos phi in between.  A rigid rotation (n = 1) then
is B = -1, T = 0, which the shape functions represent, and rigid motions cost nothing in any
discrete equilibrium, not only in the limit of fine meshes.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fea.compiled import kernel
from fea.wave_moments import C13, C23, C33, CS, F1, F2, F3, PP, PQ, QQ, A, B, D

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

WAVE_WIDTH = 14  # half bandwidth: three nodes of five unknowns


@kernel
def _square(H: Floats, v: Floats, weight: float) -> None:
    for i in range(12):
        if v[i] != 0.0:
            for j in range(i + 1):
                H[i, j] += weight * v[i] * v[j]


@kernel
def _product(H: Floats, u: Floats, v: Floats, weight: float) -> None:
    for i in range(12):
        if u[i] != 0.0 or v[i] != 0.0:
            for j in range(i + 1):
                H[i, j] += weight * (u[i] * v[j] + v[i] * u[j])


@kernel
def wave_band(
    n: float,
    pressure: float,
    shapes: Floats,
    slopes: Floats,
    weights: Floats,
    full_shapes: Floats,
    full_slopes: Floats,
    full_weights: Floats,
    x: Floats,
    face: Floats,
    geometry: Floats,
    sums: Floats,
    band: Floats,
) -> None:
    """Lower band of the tangent in U, W, B, V, T at each node, for n waves; per half turn of
    cos^2, so that n = 0 is the axisymmetric tangent in its U, W and B.

    shapes, slopes, weights : as in shell_kernel.assemble, and with full_ of its exact rule.
    x : (n_nodes, 3) of the state.  face : (n_points,) distance of the loaded face.
    geometry, sums : of `moments`.
    band : (5 n_nodes, WAVE_WIDTH + 1), out.
    """
    band[:] = 0.0
    n_points = shapes.shape[0]
    H = np.zeros((12, 12))
    al, ay, b, by = np.zeros(12), np.zeros(12), np.zeros(12), np.zeros(12)
    p, py, q, qy = np.zeros(12), np.zeros(12), np.zeros(12), np.zeros(12)
    g1, s0, psi, beta = np.zeros(12), np.zeros(12), np.zeros(12), np.zeros(12)
    turn, vp, drill, drillp = np.zeros(12), np.zeros(12), np.zeros(12), np.zeros(12)
    L = np.zeros((3, 4))  # T at nodes to its cosine and sine parts and their derivatives
    LH = np.zeros((15, 12))
    beta[4], vp[7] = 1.0, 1.0
    for point in range(face.size):
        e, gp = point // n_points, point % n_points
        r, s, c = geometry[point, 0], geometry[point, 1], geometry[point, 2]
        k, a, g = geometry[point, 3], geometry[point, 4], geometry[point, 5]
        m = sums[point]
        phi = 0.0
        for i in range(3):
            phi += shapes[gp, i] * x[2 * e + i, 2]
        for i in range(3):
            N, S = shapes[gp, i], slopes[e, gp, i]
            cos, sin = math.cos(x[2 * e + i, 2] - phi), math.sin(x[2 * e + i, 2] - phi)
            L[i, 0], L[i, 1] = N * cos, S * cos + N * k * sin
            L[i, 2], L[i, 3] = N * sin, S * sin - N * k * cos
        # amplitudes in the order U, U', W, W', B, B', V, V', then the rows of L
        psi[8], psi[4] = 1.0, n * c
        al[1], al[3], al[4] = c, s, g
        ay[5] = -1.0
        b[0], b[6] = 1.0, n
        by[8], by[4] = n, n * n * c - c
        p[0], p[6], p[2] = -n * c, -c, -n * s
        py[4], py[8] = n - n * c * c, -c
        q[7], q[8], q[4] = 1.0, -g, -n * g * c
        qy[9], qy[5], qy[4] = 1.0, n * c, -n * s * k
        g1[1], g1[3], g1[4] = -s, c, -a
        s0[0], s0[6], s0[2] = n * s, s, -n * c
        turn[1], turn[3] = -s, c
        drill[4], drill[10] = n * s, -1.0
        drillp[5], drillp[4], drillp[11] = n * s, n * c * k, -1.0
        h = face[point]
        m0, m1, m2 = pressure * h, 0.5 * pressure * h * h, pressure * h * h * h / 3.0

        H[:] = 0.0
        _square(H, al, m[A])
        _product(H, al, ay, m[A + 1])
        _square(H, ay, m[A + 2])
        _square(H, b, m[B])
        _product(H, b, by, m[B + 1])
        _square(H, by, m[B + 2])
        _product(H, al, b, m[D] + m0)
        _product(H, al, by, m[D + 1] + m1)
        _product(H, ay, b, m[D + 1] + m1)
        _product(H, ay, by, m[D + 2] + m2)
        _square(H, p, m[PP])
        _product(H, p, py, m[PP + 1])
        _square(H, py, m[PP + 2])
        _square(H, q, m[QQ])
        _product(H, q, qy, m[QQ + 1])
        _square(H, qy, m[QQ + 2])
        _product(H, p, q, m[PQ] - m0)
        _product(H, p, qy, m[PQ + 1] - m1)
        _product(H, py, q, m[PQ + 1] - m1)
        _product(H, py, qy, m[PQ + 2] - m2)
        _product(H, al, g1, m[C13])
        _product(H, ay, g1, m[C13 + 1])
        _product(H, b, g1, m[C23])
        _product(H, by, g1, m[C23 + 1])
        _square(H, g1, m[C33])
        # second-order parts of the strain measures, times their stresses
        f1, f1y = m[F1] + m0 * r - m1 * s, m[F1 + 1] + m1 * r - m2 * s
        f2, f2y = m[F2] + m0 * a - m1 * k, m[F2 + 1] + m1 * a - m2 * k
        f3 = m[F3]
        _product(H, beta, turn, f1)
        _square(H, beta, -a * f1 + s * f2y - g * f3)
        _square(H, psi, k * f1y - r * f2 - g * f3)
        _product(H, psi, s0, -f2)
        H[4, 1] -= f3 * c
        H[4, 3] -= f3 * s
        _product(H, psi, vp, f3)
        # second-order turn of the director in the meridian plane: psi times half the drill
        _product(H, psi, drill, 0.5 * (g * f1 - c * f2y - a * f3))
        _product(H, qy, drill, -0.5 * f1y)
        _product(H, psi, drillp, -0.5 * f1y)
        # tilt against the hoop
        for i in range(10):
            s0[i] += r * psi[i]
        _square(H, s0, m[CS])
        s0[8], s0[4] = 0.0, 0.0
        w = weights[e, gp]
        for i in range(12):
            for j in range(i):
                H[j, i] = H[i, j]
        for i in range(3):
            N, S = w * shapes[gp, i], w * slopes[e, gp, i]
            for j in range(12):
                for f in range(4):
                    LH[5 * i + f, j] = N * H[2 * f, j] + S * H[2 * f + 1, j]
                LH[5 * i + 4, j] = w * (
                    L[i, 0] * H[8, j] + L[i, 1] * H[9, j] + L[i, 2] * H[10, j] + L[i, 3] * H[11, j]
                )
        for row in range(15):
            line = 10 * e + row
            for j in range(3):
                N, S = shapes[gp, j], slopes[e, gp, j]
                for f in range(5):
                    column = 5 * j + f
                    if column > row:
                        continue
                    if f < 4:
                        value = LH[row, 2 * f] * N + LH[row, 2 * f + 1] * S
                    else:
                        value = (
                            LH[row, 8] * L[j, 0]
                            + LH[row, 9] * L[j, 1]
                            + LH[row, 10] * L[j, 2]
                            + LH[row, 11] * L[j, 3]
                        )
                    band[line, column - row + WAVE_WIDTH] += value
    _volume(n, pressure, x, full_shapes, full_slopes, full_weights, band)


@kernel
def _volume(
    n: float,
    pressure: float,
    x: Floats,
    shapes: Floats,
    slopes: Floats,
    weights: Floats,
    band: Floats,
) -> None:
    """Take pressure times the second variation of the volume under the mid-surface off the band.

    It is half the integral of U^2 z' + V^2 z' + 2 n U V z' + 2 r U W' + n r (V W' + V' W)
    - n r' V W, integrated exactly, since only then does a rigid rotation leave it unchanged.
    """
    for e in range(weights.shape[0]):
        for gp in range(weights.shape[1]):
            r = rp = zp = 0.0
            for i in range(3):
                N, S = shapes[gp, i], slopes[e, gp, i]
                r += N * x[2 * e + i, 0]
                rp += S * x[2 * e + i, 0]
                zp += S * x[2 * e + i, 1]
            w = pressure * weights[e, gp]
            for i in range(3):
                Ni, Si = shapes[gp, i], slopes[e, gp, i]
                line = 10 * e + 5 * i
                for j in range(i + 1):
                    Nj, Sj = shapes[gp, j], slopes[e, gp, j]
                    at = 5 * (j - i) + WAVE_WIDTH  # column of U_j in the row of U_i
                    band[line, at] -= w * Ni * Nj * zp
                    band[line + 3, at] -= w * Ni * Nj * zp
                    band[line + 1, at - 1] -= w * Si * Nj * r
                    band[line + 3, at - 3] -= w * n * Ni * Nj * zp
                    vw = 0.5 * w * n * (r * Ni * Sj + r * Si * Nj - rp * Ni * Nj)
                    band[line + 3, at - 2] -= vw
                    if j < i:
                        band[line, at + 1] -= w * Ni * Sj * r
                        band[line, at + 3] -= w * n * Ni * Nj * zp
                        band[line + 1, at + 2] -= vw


@kernel
def band_at(n: float, coefficients: Floats, held: Ints) -> Floats:
    """The polynomial in n, with the unknowns that are held taken out (1 on the diagonal)."""
    degree, size, width = coefficients.shape
    band = coefficients[degree - 1].copy()
    for power in range(degree - 2, -1, -1):
        for i in range(size):
            for k in range(width):
                band[i, k] = band[i, k] * n + coefficients[power, i, k]
    for i in held:
        band[i] = 0.0
        for j in range(i + 1, min(i + width - 1, size - 1) + 1):
            band[j, i - j + width - 1] = 0.0
        band[i, width - 1] = 1.0
    return band
