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

from domemargin.fea.compiled import POSITIVE, kernel
from domemargin.fea.core.banded import eliminate_14
from domemargin.fea.shell.given import Body, Fields
from domemargin.fea.waves.moments import CS, F1, F2, F3, M13, M23, M33, PP, PQ, QQ, A, B, D
from domemargin.profiles.arrays import Floats, Ints

WAVE_WIDTH = 14  # half bandwidth: three nodes of five unknowns


# strain measures and other linear forms of an element's 15 unknowns: stretch and shear of a layer
# are powers of y of these
(
    _AL, _AY, _B, _BY, _P, _PY, _Q, _QY, _G1, _S0, _CS, _PSI, _BETA, _TURN, _VP, _DRILL, _DRILLP,
) = range(17)  # fmt: skip
_FORMS, _UNKNOWNS = 17, 15
# squares and products of them that make up the tangent: forms, and what of a point goes with them
(
    _AL_AL, _AL_AY, _AY_AY, _B_B, _B_BY, _BY_BY, _AL_B, _AL_BY, _AY_B, _AY_BY, _P_P, _P_PY, _PY_PY,
    _Q_Q, _Q_QY, _QY_QY, _P_Q, _P_QY, _PY_Q, _PY_QY, _AL_G1, _AY_G1, _B_G1, _BY_G1, _G1_G1,
    _BETA_TURN, _BETA_BETA, _BETA_AL, _PSI_PSI, _PSI_S0, _PSI_VP, _PSI_DRILL, _QY_DRILL,
    _PSI_DRILLP, _CS_CS,
) = range(35)  # fmt: skip
_PAIRS = np.array([
    (_AL, _AL), (_AL, _AY), (_AY, _AY), (_B, _B), (_B, _BY), (_BY, _BY), (_AL, _B), (_AL, _BY),
    (_AY, _B), (_AY, _BY), (_P, _P), (_P, _PY), (_PY, _PY), (_Q, _Q), (_Q, _QY), (_QY, _QY),
    (_P, _Q), (_P, _QY), (_PY, _Q), (_PY, _QY), (_AL, _G1), (_AY, _G1), (_B, _G1), (_BY, _G1),
    (_G1, _G1), (_BETA, _TURN), (_BETA, _BETA), (_BETA, _AL), (_PSI, _PSI), (_PSI, _S0),
    (_PSI, _VP), (_PSI, _DRILL), (_QY, _DRILL), (_PSI, _DRILLP), (_CS, _CS),
])  # fmt: skip
_U, _W, _TURNED, _V, _TILT = range(5)
# which fields a form has to do with
_FIELDS = np.zeros((_FORMS, 5), dtype=np.bool_)
for _form, _fields in (
    (_AL, (_U, _W, _TURNED)),
    (_AY, (_TURNED,)),
    (_B, (_U, _V)),
    (_BY, (_TURNED, _TILT)),
    (_P, (_U, _W, _V)),
    (_PY, (_TURNED, _TILT)),
    (_Q, (_TURNED, _V, _TILT)),
    (_QY, (_TURNED, _TILT)),
    (_G1, (_U, _W, _TURNED)),
    (_S0, (_U, _W, _V)),
    (_CS, (_U, _W, _TURNED, _V, _TILT)),
    (_PSI, (_TURNED, _TILT)),
    (_BETA, (_TURNED,)),
    (_TURN, (_U, _W)),
    (_VP, (_V,)),
    (_DRILL, (_TURNED, _TILT)),
    (_DRILLP, (_TURNED, _TILT)),
):
    _FIELDS[_form, _fields] = True
# and which its product with the quadratic form has to do with
_REACHED = np.zeros_like(_FIELDS)
for _one, _other in _PAIRS:
    _REACHED[_one] |= _FIELDS[_other]
    _REACHED[_other] |= _FIELDS[_one]
_CHUNK = 32  # points that go through together


@kernel
def _forms(
    n: float, point: int, shapes: Floats, slopes: Floats, x: Floats, geometry: Floats, V: Floats
) -> None:
    """Coefficients of the linear forms at a point; V : (17, 15), out."""
    e, gp = point // shapes.shape[0], point % shapes.shape[0]
    r, s, c = geometry[point, 0], geometry[point, 1], geometry[point, 2]
    k, a, g = geometry[point, 3], geometry[point, 4], geometry[point, 5]
    phi = 0.0
    for i in range(3):
        phi += shapes[gp, i] * x[2 * e + i, 2]
    for i in range(3):
        N, S = shapes[gp, i], slopes[e, gp, i]
        cos, sin = math.cos(x[2 * e + i, 2] - phi), math.sin(x[2 * e + i, 2] - phi)
        # T of the node: its part in the meridian plane, out of it, and their derivatives
        t, tp = N * cos, S * cos + N * k * sin
        o, op = N * sin, S * sin - N * k * cos
        u, w, b, v, z = 5 * i, 5 * i + 1, 5 * i + 2, 5 * i + 3, 5 * i + 4
        V[_AL, u], V[_AL, w], V[_AL, b] = c * S, s * S, g * N
        V[_AY, b] = -S
        V[_B, u], V[_B, v] = N, n * N
        V[_BY, z], V[_BY, b] = n * t, (n * n * c - c) * N
        V[_P, u], V[_P, v], V[_P, w] = -n * c * N, -c * N, -n * s * N
        V[_PY, b], V[_PY, z] = (n - n * c * c) * N, -c * t
        V[_Q, v], V[_Q, z], V[_Q, b] = S, -g * t, -n * g * c * N
        V[_QY, z], V[_QY, b] = tp, n * c * S - n * s * k * N
        V[_G1, u], V[_G1, w], V[_G1, b] = -s * S, c * S, -a * N
        V[_S0, u], V[_S0, v], V[_S0, w] = n * s * N, s * N, -n * c * N
        V[_PSI, z], V[_PSI, b] = t, n * c * N
        V[_BETA, b] = N
        V[_TURN, u], V[_TURN, w] = -s * S, c * S
        V[_VP, v] = S
        V[_DRILL, b], V[_DRILL, z] = n * s * N, -o
        V[_DRILLP, b], V[_DRILLP, z] = n * s * S + n * c * k * N, -op
        # tilt against the hoop
        V[_CS, u], V[_CS, w] = n * s * N, -n * c * N
        V[_CS, b], V[_CS, v] = r * n * c * N, s * N
        V[_CS, z] = r * t


@kernel
def _weights(
    pressure: float,
    weight: float,
    point: int,
    face: Floats,
    geometry: Floats,
    sums: Floats,
    G: Floats,
) -> None:
    """What goes with each pair at a point; G : (35,), out."""
    r, s, c = geometry[point, 0], geometry[point, 1], geometry[point, 2]
    k, a, g = geometry[point, 3], geometry[point, 4], geometry[point, 5]
    m, h = sums[point], face[point]
    m0, m1, m2 = pressure * h, 0.5 * pressure * h * h, pressure * h * h * h / 3.0
    G[_AL_AL], G[_AL_AY], G[_AY_AY] = m[A], m[A + 1], m[A + 2]
    G[_B_B], G[_B_BY], G[_BY_BY] = m[B], m[B + 1], m[B + 2]
    G[_AL_B], G[_AY_BY] = m[D] + m0, m[D + 2] + m2
    G[_AL_BY] = G[_AY_B] = m[D + 1] + m1
    G[_P_P], G[_P_PY], G[_PY_PY] = m[PP], m[PP + 1], m[PP + 2]
    G[_Q_Q], G[_Q_QY], G[_QY_QY] = m[QQ], m[QQ + 1], m[QQ + 2]
    G[_P_Q], G[_PY_QY] = m[PQ] - m0, m[PQ + 2] - m2
    G[_P_QY] = G[_PY_Q] = m[PQ + 1] - m1
    G[_AL_G1], G[_AY_G1] = m[M13], m[M13 + 1]
    G[_B_G1], G[_BY_G1], G[_G1_G1] = m[M23], m[M23 + 1], m[M33]
    # second-order parts of the strain measures, times their stresses
    f1, f1y = m[F1] + m0 * r - m1 * s, m[F1 + 1] + m1 * r - m2 * s
    f2, f2y = m[F2] + m0 * a - m1 * k, m[F2 + 1] + m1 * a - m2 * k
    f3 = m[F3]
    G[_BETA_TURN], G[_BETA_AL] = f1, -f3
    G[_BETA_BETA] = -a * f1 + s * f2y + g * f3
    G[_PSI_PSI] = k * f1y - r * f2 - g * f3
    G[_PSI_S0], G[_PSI_VP] = -f2, f3
    # second-order turn of the director in the meridian plane: psi times half the drill
    G[_PSI_DRILL] = 0.5 * (g * f1 - c * f2y - a * f3)
    G[_QY_DRILL] = G[_PSI_DRILLP] = -0.5 * f1y
    G[_CS_CS] = m[CS]
    for pair in range(G.shape[0]):
        # a form with itself comes up twice
        G[pair] *= 0.5 * weight if _PAIRS[pair, 0] == _PAIRS[pair, 1] else weight


@kernel
def wave_band(
    n: float,
    pressure: float,
    shell: Fields,
    x: Floats,
    face: Floats,
    geometry: Floats,
    sums: Floats,
    band: Floats,
) -> None:
    """Lower band of the tangent in U, W, B, V, T at each node, for n waves; per half turn of
    cos^2, so that n = 0 is the axisymmetric tangent in its U, W and B.

    x : (n_nodes, 3) of the state.  face : (n_points,) distance of the loaded face.
    geometry, sums : of `moments`.
    band : (5 n_nodes, WAVE_WIDTH + 1), out.
    """
    band[:] = 0.0
    body = Body(*shell)
    shapes, slopes, weights = body.shapes, body.slopes, body.weights
    n_points = weights.shape[1]
    # tangent = sum over pairs of weight (u v^T + v u^T) = sum over forms u (times of u)^T
    forms = np.zeros((_FORMS, _UNKNOWNS, _CHUNK))
    times, tangent = np.empty_like(forms), np.empty((_UNKNOWNS, _UNKNOWNS, _CHUNK))
    pairs = np.empty((_PAIRS.shape[0], _CHUNK))
    V, T = forms.reshape(-1), times.reshape(-1)
    G, K = pairs.reshape(-1), tangent.reshape(-1)
    for first in range(0, face.size, _CHUNK):
        count = min(_CHUNK, face.size - first)
        for point in range(count):
            _forms(n, first + point, shapes, slopes, x, geometry, forms[:, :, point])
            weight = weights[(first + point) // n_points, (first + point) % n_points]
            _weights(pressure, weight, first + point, face, geometry, sums, pairs[:, point])
        T[:] = 0.0
        K[:] = 0.0
        # the innermost loops are written out: a call would take longer than they do
        for pair in range(_PAIRS.shape[0]):
            for turn in range(2):
                u, v = _PAIRS[pair, turn], _PAIRS[pair, 1 - turn]
                for i in range(_UNKNOWNS):
                    if _FIELDS[v, i % 5]:
                        to = ((u * _UNKNOWNS + i) * _CHUNK) & POSITIVE
                        by = ((v * _UNKNOWNS + i) * _CHUNK) & POSITIVE
                        for point in range(count):
                            T[to + point] += V[by + point] * G[pair * _CHUNK + point]
        for form in range(_FORMS):
            for i in range(_UNKNOWNS):
                if _FIELDS[form, i % 5]:
                    by = ((form * _UNKNOWNS + i) * _CHUNK) & POSITIVE
                    for j in range(i + 1):
                        if _REACHED[form, j % 5]:
                            to = ((i * _UNKNOWNS + j) * _CHUNK) & POSITIVE
                            far = ((form * _UNKNOWNS + j) * _CHUNK) & POSITIVE
                            for point in range(count):
                                K[to + point] += V[by + point] * T[far + point]
        for point in range(count):
            line = 10 * ((first + point) // n_points)
            for i in range(_UNKNOWNS):
                for j in range(i + 1):
                    band[line + i, WAVE_WIDTH - i + j] += tangent[i, j, point]
    _volume(n, pressure, x, body, band)


@kernel
def _volume(n: float, pressure: float, x: Floats, body: Body, band: Floats) -> None:
    """Take pressure times the second variation of the volume under the mid-surface off the band.

    It is half the integral of U^2 z' + V^2 z' + 2 n U V z' + 2 r U W' + n r (V W' + V' W)
    - n r' V W, integrated exactly, since only then does a rigid rotation leave it unchanged.
    """
    shapes, slopes, weights = body.full_shapes, body.full_slopes, body.full_weights
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
def in_powers(zero: Floats, one: Floats, two: Floats) -> Floats:
    """(5, n_unknowns, WAVE_WIDTH + 1) coefficients of the powers of n, from the bands at 0, 1, 2.

    A turn by half a wave changes the sign of n with that of V and T: what couples these two to U,
    W and B is odd in n, all else is even.
    """
    size, width = zero.shape
    out = np.zeros((5, size, width))
    for row in range(size):
        for k in range(width):
            column = row + k + 1 - width
            first, second = one[row, k] - zero[row, k], two[row, k] - zero[row, k]
            if column >= 0 and (row % 5 >= 3) != (column % 5 >= 3):
                out[1, row, k], out[3, row, k] = (
                    (8.0 * first - second) / 6.0,
                    second / 6.0 - first / 3.0,
                )
            else:
                out[2, row, k] = (16.0 * first - second) / 12.0
                out[4, row, k] = second / 12.0 - first / 3.0
            out[0, row, k] = zero[row, k]
    return out


@kernel
def band_at(n: float, coefficients: Floats, held: Ints) -> Floats:
    """The polynomial in n, with the unknowns that are held taken out (1 on the diagonal)."""
    degree, size, width = coefficients.shape
    band: Floats = coefficients[degree - 1].copy()
    flat, of = band.reshape(-1), coefficients.reshape(-1)
    for power in range(degree - 2, -1, -1):
        start = (power * size * width) & POSITIVE
        for i in range(flat.size):
            flat[i] = flat[i] * n + of[start + i]
    for i in held:
        band[i] = 0.0
        for j in range(i + 1, min(i + width - 1, size - 1) + 1):
            band[j, i - j + width - 1] = 0.0
        band[i, width - 1] = 1.0
    return band


@kernel
def count_unstable(numbers: Floats, coefficients: Floats, held: Ints, out: Ints) -> None:
    """Negative pivots of `band_at` for each of the numbers; -1 if it is singular."""
    nothing = np.empty((0, coefficients.shape[1]))
    for i in range(numbers.size):
        out[i] = eliminate_14(band_at(numbers[i], coefficients, held), nothing)
