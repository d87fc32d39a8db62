"""Forces and tangent of one point at one station, in local vectors.

Local vectors are position derivatives x,S and x,t along the meridian and round the can, the
director d and its derivatives d,S and d,t, all in the directions of radius, hoop and axis at the
station.  Measures of a layer at distance y (the director's part taken off, so that they are those
normal to it):

    C_ab = x,a . x,b - g_a g_b + y (x,a . d,b + x,b . d,a) + y^2 d,a . d,b,    g_a = d . x,a

The director is that at the start of the step, turned by exp(w), so d, d,S and d,t rest on w and
its derivatives; a rigid turn, w constant in space, costs nothing.
"""

from __future__ import annotations

from domemargin.fea.compiled import kernel
from domemargin.fea.uneven.layers import COUPLED, FORCE, SHEARED, SHEARS, TANGENT
from domemargin.fea.uneven.rotation import (
    coefficients,
    hessian,
    hessian_along,
    jacobian,
    jacobian_along,
    turned,
)
from domemargin.profiles.arrays import Floats

LOCAL = 15  # x,S; x,t; then d, d,S, d,t or w, w,S, w,t


@kernel
def turn_director(local: Floats, start: Floats, room: Floats, cs: Floats, out: Floats) -> None:
    """Director and its derivatives after the turn.

    local : (15,) with w, w,S, w,t.  start, out : (9,) d, d,S, d,t.  room : (40,), cs : (4, 3).
    """
    w = local[6:9]
    coefficients(w[0] * w[0] + w[1] * w[1] + w[2] * w[2], room, cs)
    turned(w, start[0:3], cs, out[0:3])
    turned(w, start[3:6], cs, out[3:6])
    turned(w, start[6:9], cs, out[6:9])
    jac = room[30:39].reshape((3, 3))
    jacobian(w, start[0:3], cs, jac)
    for i in range(3):
        for j in range(3):
            out[3 + i] += jac[i, j] * local[9 + j]
            out[6 + i] += jac[i, j] * local[12 + j]


@kernel
def measure(local: Floats, director: Floats, out: Floats) -> None:
    """In-plane metric for powers of y, and shears; out : (MEASURES,)."""
    xs, xt = local[0:3], local[3:6]
    d, ds, dt = director[0:3], director[3:6], director[6:9]
    out[:] = 0.0
    for i in range(3):
        out[0] += xs[i] * xs[i]
        out[1] += xt[i] * xt[i]
        out[2] += xs[i] * xt[i]
        out[3] += 2.0 * xs[i] * ds[i]
        out[4] += 2.0 * xt[i] * dt[i]
        out[5] += xs[i] * dt[i] + xt[i] * ds[i]
        out[6] += ds[i] * ds[i]
        out[7] += dt[i] * dt[i]
        out[8] += ds[i] * dt[i]
        out[9] += d[i] * xs[i]
        out[10] += d[i] * xt[i]
    out[0] -= out[9] * out[9]
    out[1] -= out[10] * out[10]
    out[2] -= out[9] * out[10]


@kernel
def _moduli(sums: Floats, K: Floats) -> None:
    """(11, 11) tangent in the measures."""
    for i in range(3):
        for j in range(3):
            at = TANGENT + 6 * (i + j)
            K[3 * i, 3 * j], K[3 * i + 1, 3 * j + 1] = sums[at], sums[at + 3]
            K[3 * i + 2, 3 * j + 2] = sums[at + 5]
            K[3 * i, 3 * j + 1] = K[3 * i + 1, 3 * j] = sums[at + 1]
            K[3 * i, 3 * j + 2] = K[3 * i + 2, 3 * j] = sums[at + 2]
            K[3 * i + 1, 3 * j + 2] = K[3 * i + 2, 3 * j + 1] = sums[at + 4]
        for k in range(3):
            at = COUPLED + 6 * i + k
            K[3 * i + k, 9] = K[9, 3 * i + k] = sums[at]
            K[3 * i + k, 10] = K[10, 3 * i + k] = sums[at + 3]
    K[9, 9], K[10, 10] = sums[SHEARED], sums[SHEARED + 2]
    K[9, 10] = K[10, 9] = sums[SHEARED + 1]


@kernel
def _rows(local: Floats, director: Floats, g1: float, g2: float, J: Floats) -> None:
    """(11, 15) derivatives of the measures."""
    J[:] = 0.0
    for i in range(3):
        xs, xt = local[i], local[3 + i]
        d, ds, dt = director[i], director[3 + i], director[6 + i]
        J[9, i], J[9, 6 + i] = d, xs
        J[10, 3 + i], J[10, 6 + i] = d, xt
        J[0, i], J[0, 6 + i] = 2.0 * (xs - g1 * d), -2.0 * g1 * xs
        J[1, 3 + i], J[1, 6 + i] = 2.0 * (xt - g2 * d), -2.0 * g2 * xt
        J[2, i], J[2, 3 + i] = xt - g2 * d, xs - g1 * d
        J[2, 6 + i] = -g1 * xt - g2 * xs
        J[3, i], J[3, 9 + i] = 2.0 * ds, 2.0 * xs
        J[4, 3 + i], J[4, 12 + i] = 2.0 * dt, 2.0 * xt
        J[5, i], J[5, 3 + i], J[5, 9 + i], J[5, 12 + i] = dt, ds, xt, xs
        J[6, 9 + i], J[7, 12 + i] = 2.0 * ds, 2.0 * dt
        J[8, 9 + i], J[8, 12 + i] = dt, ds


@kernel
def _cross(a: Floats, b: Floats, out: Floats) -> None:
    out[0] = a[1] * b[2] - a[2] * b[1]
    out[1] = a[2] * b[0] - a[0] * b[2]
    out[2] = a[0] * b[1] - a[1] * b[0]


@kernel
def _skew(H: Floats, row: int, column: int, f: float, a: Floats) -> None:
    """Add f times (a x) to the block, and its transpose opposite: of a . (row x column)."""
    # r . (c x a) f = f (r, [skew] c): r0 (c1 a2 - c2 a1) ...
    H[row, column + 1] += f * a[2]
    H[row, column + 2] -= f * a[1]
    H[row + 1, column] -= f * a[2]
    H[row + 1, column + 2] += f * a[0]
    H[row + 2, column] += f * a[1]
    H[row + 2, column + 1] -= f * a[0]
    H[column + 1, row] += f * a[2]
    H[column + 2, row] -= f * a[1]
    H[column, row + 1] -= f * a[2]
    H[column + 2, row + 1] += f * a[0]
    H[column, row + 2] += f * a[1]
    H[column + 1, row + 2] -= f * a[0]


@kernel
def _slab(
    local: Floats, director: Floats, h: float, pressure: float, room: Floats, v: Floats, H: Floats
) -> float:
    """Volume between the mid-surface and the loaded face at distance h, its gradient v (15,), out;
    pressure times its second derivative is taken off H (15, 15)."""
    xs, xt = local[0:3], local[3:6]
    d, ds, dt = director[0:3], director[3:6], director[6:9]
    h1, h2, h3 = -h, -0.5 * h * h, -h * h * h / 3.0
    volume = 0.0
    c, one = room[0:3], room[3:6]
    # d . (h1 xs x xt + h2 (ds x xt + xs x dt) + h3 ds x dt) = d . (p x xt) + d . (q x dt)
    p, q = room[6:9], room[9:12]
    for i in range(3):
        p[i] = h1 * xs[i] + h2 * ds[i]
        q[i] = h2 * xs[i] + h3 * ds[i]
    _cross(p, xt, c)
    _cross(q, dt, one)
    for i in range(3):
        v[6 + i] = c[i] + one[i]
        volume += d[i] * v[6 + i]
    _cross(xt, d, c)
    _cross(dt, d, one)
    for i in range(3):
        v[i] = h1 * c[i] + h2 * one[i]
        v[9 + i] = h2 * c[i] + h3 * one[i]
    _cross(d, p, c)
    _cross(d, q, one)
    for i in range(3):
        v[3 + i], v[12 + i] = c[i], one[i]
    if pressure != 0.0:
        f = -pressure
        # a . (r x c) of each pair (r, c) with what stands third
        _skew(H, 0, 3, h1 * f, d)
        _skew(H, 9, 3, h2 * f, d)
        _skew(H, 0, 12, h2 * f, d)
        _skew(H, 9, 12, h3 * f, d)
        # (xt, d) with p and so on: d . (p x xt) = p . (xt x d)
        _skew(H, 3, 6, f, p)
        _skew(H, 12, 6, f, q)
        for i in range(3):
            c[i], one[i] = h1 * xt[i] + h2 * dt[i], h2 * xt[i] + h3 * dt[i]
        # d . (xs x c) + d . (ds x one) = c . (d x xs) + one . (d x ds)
        _skew(H, 6, 0, f, c)
        _skew(H, 6, 9, f, one)
    return volume


@kernel
def point_tangent(
    local: Floats,
    start: Floats,
    director: Floats,
    sums: Floats,
    h: float,
    pressure: float,
    room: Floats,
    g: Floats,
    v: Floats,
    H: Floats,
) -> float:
    """Forces, gradient of volume and tangent in x,S, x,t, w, w,S and w,t.

    local : (15,).  start, director : (9,) before and after the step's turn.  sums : (SUMS,).
    h : distance of the loaded face.  room : (1000,) to work.
    g : (15,) forces less pressure's, v : (15,), H : (15, 15), out.  Returns the slab's volume.
    """
    K, J = room[0:121].reshape((11, 11)), room[121:286].reshape((11, 15))
    KJ, f = room[286:451].reshape((11, 15)), room[451:462]
    _moduli(sums, K)
    g1 = g2 = 0.0
    for i in range(3):
        g1 += director[i] * local[i]
        g2 += director[i] * local[3 + i]
    _rows(local, director, g1, g2, J)
    for i in range(9):
        f[i] = sums[FORCE + i]
    f[9], f[10] = sums[SHEARS], sums[SHEARS + 1]
    for a in range(LOCAL):
        total = 0.0
        for m in range(11):
            total += J[m, a] * f[m]
        g[a] = total
    K[9, 9] -= 2.0 * f[0]
    K[10, 10] -= 2.0 * f[1]
    K[9, 10] -= f[2]
    K[10, 9] -= f[2]
    for m in range(11):
        for a in range(LOCAL):
            KJ[m, a] = 0.0
        for k in range(11):
            value = K[m, k]
            for a in range(LOCAL):
                KJ[m, a] += value * J[k, a]
    for a in range(LOCAL):
        for b in range(LOCAL):
            H[a, b] = 0.0
        for m in range(11):
            value = J[m, a]
            if value != 0.0:
                for b in range(LOCAL):
                    H[a, b] += value * KJ[m, b]
    f9, f10 = f[9] - 2.0 * g1 * f[0] - g2 * f[2], f[10] - 2.0 * g2 * f[1] - g1 * f[2]
    for i in range(3):
        s, t, d, ds, dt = i, 3 + i, 6 + i, 9 + i, 12 + i
        H[s, s] += 2.0 * f[0]
        H[t, t] += 2.0 * f[1]
        H[s, t] += f[2]
        H[t, s] += f[2]
        H[s, d] += f9
        H[d, s] += f9
        H[t, d] += f10
        H[d, t] += f10
        H[s, ds] += 2.0 * f[3]
        H[ds, s] += 2.0 * f[3]
        H[t, dt] += 2.0 * f[4]
        H[dt, t] += 2.0 * f[4]
        H[s, dt] += f[5]
        H[dt, s] += f[5]
        H[t, ds] += f[5]
        H[ds, t] += f[5]
        H[ds, ds] += 2.0 * f[6]
        H[dt, dt] += 2.0 * f[7]
        H[ds, dt] += f[8]
        H[dt, ds] += f[8]
    volume = _slab(local, director, h, pressure, room[462:474], v, H)
    for a in range(LOCAL):
        g[a] -= pressure * v[a]
    _to_turns(local, start, room[474:700], g, v, H)
    return volume


@kernel
def _to_turns(local: Floats, start: Floats, room: Floats, g: Floats, v: Floats, H: Floats) -> None:
    """Carry forces and tangent from the director and its derivatives to w and its own."""
    cs, phi = room[0:12].reshape((4, 3)), room[12:42]
    jd, js, jt = (
        room[42:51].reshape((3, 3)),
        room[51:60].reshape((3, 3)),
        room[60:69].reshape((3, 3)),
    )
    hs, ht, hw = (
        room[69:78].reshape((3, 3)),
        room[78:87].reshape((3, 3)),
        room[87:96].reshape((3, 3)),
    )
    row = room[96:105]
    w, ws, wt = local[6:9], local[9:12], local[12:15]
    d, ds, dt = start[0:3], start[3:6], start[6:9]
    coefficients(w[0] * w[0] + w[1] * w[1] + w[2] * w[2], phi, cs)
    jacobian(w, d, cs, jd)
    jacobian(w, ds, cs, js)
    jacobian_along(w, ws, d, cs, js)
    jacobian(w, dt, cs, jt)
    jacobian_along(w, wt, d, cs, jt)
    hs[:] = 0.0
    ht[:] = 0.0
    hw[:] = 0.0
    hessian(w, d, g[9:12], cs, hs)
    hessian(w, d, g[12:15], cs, ht)
    hessian(w, d, g[6:9], cs, hw)
    hessian(w, ds, g[9:12], cs, hw)
    hessian(w, dt, g[12:15], cs, hw)
    hessian_along(w, ws, d, g[9:12], cs, hw)
    hessian_along(w, wt, d, g[12:15], cs, hw)
    for a in range(LOCAL):
        for j in range(3):
            one = two = three = 0.0
            for i in range(3):
                one += H[a, 6 + i] * jd[i, j] + H[a, 9 + i] * js[i, j] + H[a, 12 + i] * jt[i, j]
                two += H[a, 9 + i] * jd[i, j]
                three += H[a, 12 + i] * jd[i, j]
            row[j], row[3 + j], row[6 + j] = one, two, three
        for j in range(9):
            H[a, 6 + j] = row[j]
    for b in range(LOCAL):
        for j in range(3):
            one = two = three = 0.0
            for i in range(3):
                one += H[6 + i, b] * jd[i, j] + H[9 + i, b] * js[i, j] + H[12 + i, b] * jt[i, j]
                two += H[9 + i, b] * jd[i, j]
                three += H[12 + i, b] * jd[i, j]
            row[j], row[3 + j], row[6 + j] = one, two, three
        for j in range(9):
            H[6 + j, b] = row[j]
    for i in range(3):
        for j in range(3):
            H[6 + i, 6 + j] += hw[i, j]
            H[6 + i, 9 + j] += hs[i, j]
            H[9 + i, 6 + j] += hs[i, j]
            H[6 + i, 12 + j] += ht[i, j]
            H[12 + i, 6 + j] += ht[i, j]
    for vector in (g, v):
        for j in range(3):
            one = two = three = 0.0
            for i in range(3):
                a, b, c = vector[6 + i], vector[9 + i], vector[12 + i]
                one += a * jd[i, j] + b * js[i, j] + c * jt[i, j]
                two += b * jd[i, j]
                three += c * jd[i, j]
            row[j], row[3 + j], row[6 + j] = one, two, three
        for j in range(9):
            vector[6 + j] = row[j]
