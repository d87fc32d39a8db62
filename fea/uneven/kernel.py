"""Compiled assembly of the uneven shell: stations, points, elements, harmonics.

Unknowns are harmonics; metal is integrated at stations spread evenly round the can
(pseudo-spectral), so a product of harmonics is exact as far as the stations resolve it.  A node's
turn within a step has three parts along hoop, radius and the node's mean tangent,

    w = -B e_hoop + (dB/dt) e_radius - T tangent,

those of the second variation in waves/kernel.py, so that the tangent about an even state is that
of the waves, and a rigid turn is represented exactly.  All is per radian, as in the even shell.
"""

from __future__ import annotations

import numpy as np

from domemargin.fea.compiled import kernel
from domemargin.fea.metal.layers import LANES
from domemargin.fea.uneven.given import (
    UNKNOWNS,
    Fields,
    UnevenBody,
    UnevenFound,
    UnevenStart,
)
from domemargin.fea.uneven.layers import MEASURES, OWN_LANES, SUMS, layer_sums
from domemargin.fea.uneven.point import LOCAL, measure, point_tangent, turn_director
from domemargin.profiles.arrays import Floats, Ints

# fields of a node at a station: u, v, w, turn and tilt with derivatives round the can
FIELDS = 11
_U, _UT, _V, _VT, _W, _WT, _B, _BT, _BTT, _T, _TT = range(FIELDS)
_ALL = 3 * FIELDS
# of the volume under the mid-surface: position, its derivatives round the can and along
_PARTS = np.array([_U, _V, _UT, _VT, _WT, _U, _V, _W])


@kernel
def fields_at(
    x: Floats, before: Floats, even: Floats, odd: Floats, station: int, out: Floats
) -> None:
    """(n_nodes, FIELDS) at a station; turn and tilt as changes from `before`.

    x, before : (n_nodes, 5, H).
    """
    for node in range(x.shape[0]):
        for k in range(FIELDS):
            out[node, k] = 0.0
        for h in range(x.shape[2]):
            e0, e1, e2 = even[0, station, h], even[1, station, h], even[2, station, h]
            o0, o1 = odd[0, station, h], odd[1, station, h]
            out[node, _U] += e0 * x[node, 0, h]
            out[node, _UT] += e1 * x[node, 0, h]
            out[node, _W] += e0 * x[node, 1, h]
            out[node, _WT] += e1 * x[node, 1, h]
            turn = x[node, 2, h] - before[node, 2, h]
            out[node, _B] += e0 * turn
            out[node, _BT] += e1 * turn
            out[node, _BTT] += e2 * turn
            out[node, _V] += o0 * x[node, 3, h]
            out[node, _VT] += o1 * x[node, 3, h]
            tilt = x[node, 4, h] - before[node, 4, h]
            out[node, _T] += o0 * tilt
            out[node, _TT] += o1 * tilt


@kernel
def local_at(
    fields: Floats, turn: Floats, shapes: Floats, slopes: Floats, e: int, q: int, out: Floats
) -> None:
    """x,S, x,t, w, w,S and w,t (15,) at a point of an element."""
    out[:] = 0.0
    for i in range(3):
        node = 2 * e + i
        n, s = shapes[q, i], slopes[e, q, i]
        f, c, z = fields[node], turn[node, 0], turn[node, 1]
        out[0] += s * f[_U]
        out[1] += s * f[_V]
        out[2] += s * f[_W]
        out[3] += n * (f[_UT] - f[_V])
        out[4] += n * (f[_VT] + f[_U])
        out[5] += n * f[_WT]
        radial, axial = f[_BT] - c * f[_T], -z * f[_T]
        out[6] += n * radial
        out[7] -= n * f[_B]
        out[8] += n * axial
        out[9] += s * radial
        out[10] -= s * f[_B]
        out[11] += s * axial
        out[12] += n * (f[_BTT] - c * f[_TT] + f[_B])
        out[13] -= n * c * f[_T]
        out[14] -= n * z * f[_TT]


@kernel
def directors_and_measures(
    fields: Floats,
    turn: Floats,
    shapes: Floats,
    slopes: Floats,
    start: Floats,
    room: Floats,
    cs: Floats,
    local: Floats,
    director: Floats,
    measures: Floats,
) -> None:
    """Local vectors, directors and measures of all points of a station, out."""
    for p in range(local.shape[0]):
        e, q = p // shapes.shape[0], p % shapes.shape[0]
        local_at(fields, turn, shapes, slopes, e, q, local[p])
        turn_director(local[p], start[p], room, cs, director[p])
        measure(local[p], director[p], measures[p])


@kernel
def _spread_vector(local: Floats, turn: Floats, e: int, n: Floats, s: Floats, out: Floats) -> None:
    """Add what acts on local vectors (15,) to the fields of an element's nodes (33,)."""
    for i in range(3):
        c, z = turn[2 * e + i, 0], turn[2 * e + i, 1]
        ni, si, at = n[i], s[i], FIELDS * i
        out[at + _U] += si * local[0] + ni * local[4]
        out[at + _UT] += ni * local[3]
        out[at + _V] += si * local[1] - ni * local[3]
        out[at + _VT] += ni * local[4]
        out[at + _W] += si * local[2]
        out[at + _WT] += ni * local[5]
        out[at + _B] += ni * (local[12] - local[7]) - si * local[10]
        out[at + _BT] += ni * local[6] + si * local[9]
        out[at + _BTT] += ni * local[12]
        out[at + _T] -= ni * (c * (local[6] + local[13]) + z * local[8])
        out[at + _T] -= si * (c * local[9] + z * local[11])
        out[at + _TT] -= ni * (c * local[12] + z * local[14])


@kernel
def _spread_tangent(
    H: Floats, turn: Floats, e: int, n: Floats, s: Floats, half: Floats, out: Floats
) -> None:
    """The same for a tangent (15, 15), added to (33, 33)."""
    half[:] = 0.0
    for i in range(3):
        c, z = turn[2 * e + i, 0], turn[2 * e + i, 1]
        ni, si, at = n[i], s[i], FIELDS * i
        nc, nz, sc, sz = ni * c, ni * z, si * c, si * z
        for a in range(LOCAL):
            half[at + _U, a] = si * H[0, a] + ni * H[4, a]
            half[at + _UT, a] = ni * H[3, a]
            half[at + _V, a] = si * H[1, a] - ni * H[3, a]
            half[at + _VT, a] = ni * H[4, a]
            half[at + _W, a] = si * H[2, a]
            half[at + _WT, a] = ni * H[5, a]
            half[at + _B, a] = ni * (H[12, a] - H[7, a]) - si * H[10, a]
            half[at + _BT, a] = ni * H[6, a] + si * H[9, a]
            half[at + _BTT, a] = ni * H[12, a]
            half[at + _T, a] = -nc * (H[6, a] + H[13, a]) - nz * H[8, a] - sc * H[9, a]
            half[at + _T, a] -= sz * H[11, a]
            half[at + _TT, a] = -nc * H[12, a] - nz * H[14, a]
    for row in range(_ALL):
        _spread_vector(half[row], turn, e, n, s, out[row])


@kernel
def _mid_volume(
    fields: Floats,
    body: UnevenBody,
    e: int,
    factor: float,
    pressure: float,
    room: Floats,
    force: Floats,
    gradient: Floats,
    tangent: Floats,
) -> float:
    """What the volume under the mid-surface adds at one station of an element.

    V = 1/2 integral of (r, v) . (x,t x x,S); a product of three, integrated exactly along S.
    """
    shapes, slopes, weights = body.full_shapes, body.full_slopes, body.full_weights
    H = room[0:64].reshape((8, 8))
    g, coefficient = room[64:72], room[72:80]
    volume = 0.0
    for point in range(weights.shape[1]):
        r = v = rt = vt = zt = rs = vs = zs = 0.0
        for i in range(3):
            f, n, s = fields[2 * e + i], shapes[point, i], slopes[e, point, i]
            r += n * f[_U]
            v += n * f[_V]
            rt += n * f[_UT]
            vt += n * f[_VT]
            zt += n * f[_WT]
            rs += s * f[_U]
            vs += s * f[_V]
            zs += s * f[_W]
        w = 0.5 * factor * weights[e, point]
        inner = r * vt + r * r - v * rt + v * v
        volume += w * (inner * zs - r * zt * vs + v * zt * rs)
        g[0] = vt * zs + 2.0 * r * zs - zt * vs
        g[1] = zt * rs - rt * zs + 2.0 * v * zs
        g[2], g[3], g[4] = -v * zs, r * zs, v * rs - r * vs
        g[5], g[6], g[7] = v * zt, -r * zt, inner
        H[:] = 0.0
        H[0, 0] = H[1, 1] = 2.0 * zs
        H[0, 3] = H[3, 0] = zs
        H[0, 7] = H[7, 0] = vt + 2.0 * r
        H[0, 4] = H[4, 0] = -vs
        H[0, 6] = H[6, 0] = -zt
        H[1, 4] = H[4, 1] = rs
        H[1, 5] = H[5, 1] = zt
        H[1, 2] = H[2, 1] = -zs
        H[1, 7] = H[7, 1] = 2.0 * v - rt
        H[2, 7] = H[7, 2] = -v
        H[3, 7] = H[7, 3] = r
        H[4, 6] = H[6, 4] = -r
        H[4, 5] = H[5, 4] = v
        for i in range(3):
            n, s = shapes[point, i], slopes[e, point, i]
            for a in range(8):
                coefficient[a] = w * (n if a < 5 else s)
            for a in range(8):
                row = FIELDS * i + _PARTS[a]
                gradient[row] += coefficient[a] * g[a]
                force[row] -= pressure * coefficient[a] * g[a]
                for j in range(3):
                    nj, sj = shapes[point, j], slopes[e, point, j]
                    for b in range(8):
                        value = H[a, b]
                        if value != 0.0:
                            other = nj if b < 5 else sj
                            column = FIELDS * j + _PARTS[b]
                            tangent[row, column] -= pressure * coefficient[a] * value * other
    return volume


@kernel
def _to_harmonics(
    tangent: Floats, even: Floats, odd: Floats, station: int, half: Floats, out: Floats
) -> None:
    """Carry (33, 33) at a station to the harmonics of an element's nodes, added to out.

    half : (33, 15 H), room.  out : (15 H, 15 H), of which rows of a node reach to its own columns.
    """
    count = even.shape[2]
    e0, e1, e2 = even[0, station], even[1, station], even[2, station]
    o0, o1 = odd[0, station], odd[1, station]
    for row in range(_ALL):
        to = half[row]
        for i in range(3):
            k = tangent[row, FIELDS * i : FIELDS * (i + 1)]
            at = UNKNOWNS * count * i
            u0, u1, v0, v1, w0, w1 = k[_U], k[_UT], k[_V], k[_VT], k[_W], k[_WT]
            b0, b1, b2, t0, t1 = k[_B], k[_BT], k[_BTT], k[_T], k[_TT]
            for h in range(count):
                to[at + h] = u0 * e0[h] + u1 * e1[h]
                to[at + count + h] = w0 * e0[h] + w1 * e1[h]
                to[at + 2 * count + h] = b0 * e0[h] + b1 * e1[h] + b2 * e2[h]
                to[at + 3 * count + h] = v0 * o0[h] + v1 * o1[h]
                to[at + 4 * count + h] = t0 * o0[h] + t1 * o1[h]
    for i in range(3):
        reach = UNKNOWNS * count * (i + 1)
        f = FIELDS * i
        for h in range(count):
            at = UNKNOWNS * count * i + h
            a0, a1, a2, c0, c1 = e0[h], e1[h], e2[h], o0[h], o1[h]
            ru, rw, rb = out[at], out[at + count], out[at + 2 * count]
            rv, rt = out[at + 3 * count], out[at + 4 * count]
            hu, hut, hv, hvt = half[f + _U], half[f + _UT], half[f + _V], half[f + _VT]
            hw, hwt, hb, hbt = half[f + _W], half[f + _WT], half[f + _B], half[f + _BT]
            hbtt, ht, htt = half[f + _BTT], half[f + _T], half[f + _TT]
            for b in range(reach):
                ru[b] += a0 * hu[b] + a1 * hut[b]
                rw[b] += a0 * hw[b] + a1 * hwt[b]
                rb[b] += a0 * hb[b] + a1 * hbt[b] + a2 * hbtt[b]
                rv[b] += c0 * hv[b] + c1 * hvt[b]
                rt[b] += c0 * ht[b] + c1 * htt[b]


@kernel
def _vector_to_harmonics(
    vector: Floats, even: Floats, odd: Floats, station: int, out: Floats
) -> None:
    """The same for (33,), added to (15 H,)."""
    count = even.shape[2]
    for i in range(3):
        k = vector[FIELDS * i : FIELDS * (i + 1)]
        for h in range(count):
            e0, e1, e2 = even[0, station, h], even[1, station, h], even[2, station, h]
            o0, o1 = odd[0, station, h], odd[1, station, h]
            at = UNKNOWNS * count * i + h
            out[at] += k[_U] * e0 + k[_UT] * e1
            out[at + count] += k[_W] * e0 + k[_WT] * e1
            out[at + 2 * count] += k[_B] * e0 + k[_BT] * e1 + k[_BTT] * e2
            out[at + 3 * count] += k[_V] * o0 + k[_VT] * o1
            out[at + 4 * count] += k[_T] * o0 + k[_TT] * o1


@kernel
def _hold(fixed: Ints, residual: Floats, gradient: Floats, band: Floats) -> None:
    """Take the unknowns that stay put out of the system: 0 in both, 1 on the diagonal."""
    width = band.shape[1] - 1
    for i in fixed:
        residual[i] = gradient[i] = 0.0
        band[i] = 0.0
        for j in range(i + 1, min(i + width, residual.size - 1) + 1):
            band[j, i - j + width] = 0.0
        band[i, width] = 1.0


@kernel
def assemble(x: Floats, pressure: float, shell: Fields, state: Fields, out: Fields) -> float:
    """Residual f_int - p grad V, grad V, and their tangent; returns V (mm^3 per radian).

    x : (n_nodes, 5, H) unknowns.  shell : of UnevenBody.  state : of UnevenStart.
    out : of UnevenFound; band is (n, 15 H).
    """
    body, start, found = UnevenBody(*shell), UnevenStart(*state), UnevenFound(*out)
    shapes, slopes, weights = body.shapes, body.slopes, body.weights
    even, odd, share = body.even, body.odd, body.share
    n_elements, n_q = weights.shape[0], weights.shape[1]
    n_points, stations, harmonics = n_elements * n_q, even.shape[1], even.shape[2]
    size = UNKNOWNS * harmonics
    fields = np.empty((stations, x.shape[0], FIELDS))
    local = np.empty((stations, n_points, LOCAL))
    sums = np.empty((stations, n_points, SUMS))
    measures = np.empty((n_points, MEASURES))
    lanes, own = np.empty(LANES), np.empty(OWN_LANES)
    room, cs = np.empty(1000), np.empty((4, 3))
    for j in range(stations):
        fields_at(x, start.x, even, odd, j, fields[j])
        directors_and_measures(
            fields[j], start.turn, shapes, slopes, start.director[j], room, cs,
            local[j], found.director[j], measures,
        )  # fmt: skip
        layer_sums(
            body.material, body.first_layer, measures, body.shear[j], start.y[j],
            body.inverse[j], body.layer_weight[j], start.factor[j], start.layers[j],
            lanes, own, found.new[j], found.stress[j], sums[j],
        )  # fmt: skip
    found.residual[:] = 0.0
    found.gradient[:] = 0.0
    found.band[:] = 0.0
    g, v, H = np.empty(LOCAL), np.empty(LOCAL), np.empty((LOCAL, LOCAL))
    force, pull = np.empty(_ALL), np.empty(_ALL)
    tangent, half = np.empty((_ALL, _ALL)), np.empty((_ALL, LOCAL))
    wide = np.empty((_ALL, 3 * size))
    element = np.empty((3 * size, 3 * size))
    element_force, element_pull = np.empty(3 * size), np.empty(3 * size)
    volume = 0.0
    for e in range(n_elements):
        element[:] = 0.0
        element_force[:] = 0.0
        element_pull[:] = 0.0
        for j in range(stations):
            force[:] = 0.0
            pull[:] = 0.0
            tangent[:] = 0.0
            for q in range(n_q):
                p, w = n_q * e + q, share * weights[e, q]
                volume += w * point_tangent(
                    local[j, p], start.director[j, p], found.director[j, p], sums[j, p],
                    start.face[j, p], pressure, room, g, v, H,
                )  # fmt: skip
                for a in range(LOCAL):
                    g[a] *= w
                    v[a] *= w
                    for b in range(LOCAL):
                        H[a, b] *= w
                n, s = shapes[q], slopes[e, q]
                _spread_vector(g, start.turn, e, n, s, force)
                _spread_vector(v, start.turn, e, n, s, pull)
                _spread_tangent(H, start.turn, e, n, s, half, tangent)
            volume += _mid_volume(fields[j], body, e, share, pressure, room, force, pull, tangent)
            _vector_to_harmonics(force, even, odd, j, element_force)
            _vector_to_harmonics(pull, even, odd, j, element_pull)
            _to_harmonics(tangent, even, odd, j, wide, element)
        first = 2 * size * e
        width = 3 * size - 1
        for a in range(3 * size):
            found.residual[first + a] += element_force[a]
            found.gradient[first + a] += element_pull[a]
            for b in range(a + 1):
                found.band[first + a, width - a + b] += element[a, b]
    _hold(body.fixed, found.residual, found.gradient, found.band)
    return volume


@kernel
def reference(
    x: Floats, turn: Floats, even: Floats, odd: Floats, shapes: Floats, slopes: Floats,
    start: Floats, director: Floats, measures: Floats,
) -> None:  # fmt: skip
    """Directors (M, n_points, DIRECTOR) and measures (M, n_points, MEASURES) of a shape, out.

    x : (n_nodes, 5, H), its turn and tilt counted from the even shape's directors `start`
    (n_points, DIRECTOR).
    """
    stations, n_points = even.shape[1], start.shape[0]
    fields, local = np.empty((x.shape[0], FIELDS)), np.empty((n_points, LOCAL))
    room, cs, none = np.empty(1000), np.empty((4, 3)), np.zeros_like(x)
    for j in range(stations):
        fields_at(x, none, even, odd, j, fields)
        directors_and_measures(
            fields, turn, shapes, slopes, start, room, cs, local, director[j], measures[j]
        )
