"""Finite rotation of a director by a rotation vector, with its first three derivatives.

f(w) = exp(w x) d = c d + s1 w x d + s2 (w . d) w,   c = cos |w|, s1 = sin |w| / |w|,
s2 = (1 - cos |w|) / |w|^2 as functions of v = w . w (Rodrigues; value from memory).  All three are
of one family, phi_k(v) = sum (-v)^j / (2 j + k)!, with phi_k' = -(phi_{k+1} - k phi_{k+2}) / 2, so
their derivatives have no singular place at v = 0.
"""

from __future__ import annotations

import math

import numpy as np

from domemargin.fea.compiled import kernel
from domemargin.profiles.arrays import Floats

_MOST, _TERMS = 9, 13  # exact to rounding for turns of up to 3 radians
_SERIES = np.array(
    [[(-1.0) ** j / math.factorial(2 * j + k) for j in range(_TERMS)] for k in range(_MOST)]
)
# columns of `coefficients`: c, s1 and s2
COEFFICIENTS = (4, 3)


@kernel
def coefficients(v: float, phi: Floats, out: Floats) -> None:
    """Value and three derivatives (rows) of c, s1 and s2 (columns) at v.

    phi : (_MOST + 20,) room to work.  out : (4, 3).
    """
    for k in range(_MOST):
        total = 0.0
        for j in range(_TERMS - 1, -1, -1):
            total = total * v + _SERIES[k, j]
        phi[k] = total
    for k in range(3):
        out[0, k] = phi[k]
    count = _MOST
    for order in range(1, 4):
        count -= 2
        for k in range(count):
            phi[k] = -0.5 * (phi[k + 1] - k * phi[k + 2])
        for k in range(3):
            out[order, k] = phi[k]


@kernel
def turned(w: Floats, d: Floats, cs: Floats, out: Floats) -> None:
    """f(w) of d (3,); out : (3,)."""
    p = w[0] * d[0] + w[1] * d[1] + w[2] * d[2]
    c, s1, s2 = cs[0, 0], cs[0, 1], cs[0, 2]
    out[0] = c * d[0] + s1 * (w[1] * d[2] - w[2] * d[1]) + s2 * p * w[0]
    out[1] = c * d[1] + s1 * (w[2] * d[0] - w[0] * d[2]) + s2 * p * w[1]
    out[2] = c * d[2] + s1 * (w[0] * d[1] - w[1] * d[0]) + s2 * p * w[2]


@kernel
def jacobian(w: Floats, d: Floats, cs: Floats, out: Floats) -> None:
    """df/dw of d; out : (3, 3)."""
    p = w[0] * d[0] + w[1] * d[1] + w[2] * d[2]
    s1, s2 = cs[0, 1], cs[0, 2]
    c_, s1_, s2_ = 2.0 * cs[1, 0], 2.0 * cs[1, 1], 2.0 * cs[1, 2]
    x0 = c_ * d[0] + s1_ * (w[1] * d[2] - w[2] * d[1]) + s2_ * p * w[0]
    x1 = c_ * d[1] + s1_ * (w[2] * d[0] - w[0] * d[2]) + s2_ * p * w[1]
    x2 = c_ * d[2] + s1_ * (w[0] * d[1] - w[1] * d[0]) + s2_ * p * w[2]
    for j in range(3):
        out[0, j] = x0 * w[j] + s2 * w[0] * d[j]
        out[1, j] = x1 * w[j] + s2 * w[1] * d[j]
        out[2, j] = x2 * w[j] + s2 * w[2] * d[j]
        out[j, j] += s2 * p
    # w x d in w: -(d x)
    out[0, 1] += s1 * d[2]
    out[0, 2] -= s1 * d[1]
    out[1, 0] -= s1 * d[2]
    out[1, 2] += s1 * d[0]
    out[2, 0] += s1 * d[1]
    out[2, 1] -= s1 * d[0]


@kernel
def jacobian_along(w: Floats, t: Floats, d: Floats, cs: Floats, out: Floats) -> None:
    """Derivative of df/dw of d along t; out : (3, 3), added to."""
    p = w[0] * d[0] + w[1] * d[1] + w[2] * d[2]
    pt = t[0] * d[0] + t[1] * d[1] + t[2] * d[2]
    wt = w[0] * t[0] + w[1] * t[1] + w[2] * t[2]
    s2 = cs[0, 2]
    c1, a1, b1 = 2.0 * cs[1, 0], 2.0 * cs[1, 1], 2.0 * cs[1, 2]
    c2, a2, b2 = 4.0 * cs[2, 0] * wt, 4.0 * cs[2, 1] * wt, 4.0 * cs[2, 2] * wt
    x0, y0 = w[1] * d[2] - w[2] * d[1], t[1] * d[2] - t[2] * d[1]
    x1, y1 = w[2] * d[0] - w[0] * d[2], t[2] * d[0] - t[0] * d[2]
    x2, y2 = w[0] * d[1] - w[1] * d[0], t[0] * d[1] - t[1] * d[0]
    wide = b2 * p + b1 * pt
    u0 = c2 * d[0] + a2 * x0 + a1 * y0 + wide * w[0] + b1 * p * t[0]
    u1 = c2 * d[1] + a2 * x1 + a1 * y1 + wide * w[1] + b1 * p * t[1]
    u2 = c2 * d[2] + a2 * x2 + a1 * y2 + wide * w[2] + b1 * p * t[2]
    v0 = c1 * d[0] + a1 * x0 + b1 * p * w[0]
    v1 = c1 * d[1] + a1 * x1 + b1 * p * w[1]
    v2 = c1 * d[2] + a1 * x2 + b1 * p * w[2]
    h0 = b1 * wt * w[0] + s2 * t[0]
    h1 = b1 * wt * w[1] + s2 * t[1]
    h2 = b1 * wt * w[2] + s2 * t[2]
    for j in range(3):
        out[0, j] += u0 * w[j] + v0 * t[j] + h0 * d[j]
        out[1, j] += u1 * w[j] + v1 * t[j] + h1 * d[j]
        out[2, j] += u2 * w[j] + v2 * t[j] + h2 * d[j]
        out[j, j] += b1 * wt * p + s2 * pt
    turn = a1 * wt
    out[0, 1] += turn * d[2]
    out[0, 2] -= turn * d[1]
    out[1, 0] -= turn * d[2]
    out[1, 2] += turn * d[0]
    out[2, 0] += turn * d[1]
    out[2, 1] -= turn * d[0]


@kernel
def hessian(w: Floats, d: Floats, g: Floats, cs: Floats, out: Floats) -> None:
    """Second derivative of g . f(w) of d; out : (3, 3), added to."""
    b0 = d[1] * g[2] - d[2] * g[1]
    b1 = d[2] * g[0] - d[0] * g[2]
    b2 = d[0] * g[1] - d[1] * g[0]
    alpha = d[0] * g[0] + d[1] * g[1] + d[2] * g[2]
    beta = w[0] * b0 + w[1] * b1 + w[2] * b2
    p = w[0] * d[0] + w[1] * d[1] + w[2] * d[2]
    q = w[0] * g[0] + w[1] * g[1] + w[2] * g[2]
    k1 = 2.0 * (cs[1, 0] * alpha + cs[1, 1] * beta + cs[1, 2] * p * q)
    k2 = 4.0 * (cs[2, 0] * alpha + cs[2, 1] * beta + cs[2, 2] * p * q)
    s1_, s2_, s2 = cs[1, 1], cs[1, 2], cs[0, 2]
    m0 = 2.0 * (s1_ * b0 + s2_ * (q * d[0] + p * g[0]))
    m1 = 2.0 * (s1_ * b1 + s2_ * (q * d[1] + p * g[1]))
    m2 = 2.0 * (s1_ * b2 + s2_ * (q * d[2] + p * g[2]))
    for j in range(3):
        row = k2 * w[j]
        mj = m0 if j == 0 else (m1 if j == 1 else m2)
        out[0, j] += row * w[0] + w[0] * mj + m0 * w[j] + s2 * (d[0] * g[j] + g[0] * d[j])
        out[1, j] += row * w[1] + w[1] * mj + m1 * w[j] + s2 * (d[1] * g[j] + g[1] * d[j])
        out[2, j] += row * w[2] + w[2] * mj + m2 * w[j] + s2 * (d[2] * g[j] + g[2] * d[j])
        out[j, j] += k1


@kernel
def hessian_along(w: Floats, t: Floats, d: Floats, g: Floats, cs: Floats, out: Floats) -> None:
    """Derivative of the same along t; out : (3, 3), added to."""
    b0 = d[1] * g[2] - d[2] * g[1]
    b1 = d[2] * g[0] - d[0] * g[2]
    b2 = d[0] * g[1] - d[1] * g[0]
    alpha = d[0] * g[0] + d[1] * g[1] + d[2] * g[2]
    beta, bt = w[0] * b0 + w[1] * b1 + w[2] * b2, t[0] * b0 + t[1] * b1 + t[2] * b2
    p = w[0] * d[0] + w[1] * d[1] + w[2] * d[2]
    q = w[0] * g[0] + w[1] * g[1] + w[2] * g[2]
    pt = t[0] * d[0] + t[1] * d[1] + t[2] * d[2]
    qt = t[0] * g[0] + t[1] * g[1] + t[2] * g[2]
    wt = w[0] * t[0] + w[1] * t[1] + w[2] * t[2]
    k2 = 4.0 * (cs[2, 0] * alpha + cs[2, 1] * beta + cs[2, 2] * p * q)
    k3 = 8.0 * (cs[3, 0] * alpha + cs[3, 1] * beta + cs[3, 2] * p * q) * wt
    k3 += 4.0 * (cs[2, 1] * bt + cs[2, 2] * (q * pt + p * qt))
    s1_, s2_, s1__, s2__ = cs[1, 1], cs[1, 2], cs[2, 1], cs[2, 2]
    m0 = 2.0 * (s1_ * b0 + s2_ * (q * d[0] + p * g[0]))
    m1 = 2.0 * (s1_ * b1 + s2_ * (q * d[1] + p * g[1]))
    m2 = 2.0 * (s1_ * b2 + s2_ * (q * d[2] + p * g[2]))
    n0 = 4.0 * wt * (s1__ * b0 + s2__ * (q * d[0] + p * g[0])) + 2.0 * s2_ * (qt * d[0] + pt * g[0])
    n1 = 4.0 * wt * (s1__ * b1 + s2__ * (q * d[1] + p * g[1])) + 2.0 * s2_ * (qt * d[1] + pt * g[1])
    n2 = 4.0 * wt * (s1__ * b2 + s2__ * (q * d[2] + p * g[2])) + 2.0 * s2_ * (qt * d[2] + pt * g[2])
    k1 = k2 * wt + m0 * t[0] + m1 * t[1] + m2 * t[2]
    s2t = 2.0 * s2_ * wt
    for i in range(3):
        mi = m0 if i == 0 else (m1 if i == 1 else m2)
        ni = n0 if i == 0 else (n1 if i == 1 else n2)
        for j in range(3):
            mj = m0 if j == 0 else (m1 if j == 1 else m2)
            nj = n0 if j == 0 else (n1 if j == 1 else n2)
            out[i, j] += k3 * w[i] * w[j] + k2 * (t[i] * w[j] + w[i] * t[j])
            out[i, j] += t[i] * mj + mi * t[j] + w[i] * nj + ni * w[j]
            out[i, j] += s2t * (d[i] * g[j] + g[i] * d[j])
        out[i, i] += k1
