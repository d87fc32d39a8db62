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

from typing import NamedTuple

import numpy as np

from domemargin.fea.compiled import kernel, part
from domemargin.fea.metal.lanes import (
    BLOCK,
    C11,
    C12,
    C13,
    C22,
    C23,
    C33,
    LANES,
    LENGTH1,
    LENGTH2,
    OWN,
    STATES,
    T1,
    T2,
    T3,
    WEIGHT,
    Y,
    exponential,
    rows,
    store,
)
from domemargin.fea.metal.materials import NU, P1, P2, E
from domemargin.fea.shell.blocks import (
    COS,
    CURVE,
    PLACE,
    SHEAR,
    SHEARED,
    SIN,
    STRETCH,
    R,
    locate_points,
    stress_block,
)
from domemargin.fea.shell.given import Body, Fields, Found, Start, Through
from domemargin.profiles.arrays import Floats, Ints

WIDTH = 8  # half bandwidth: three nodes of three unknowns couple to each other

_LANE = BLOCK - 1
# rows of what a layer adds to the forces and their tangent, per unit of y^0
(_F1, _F2, _F3, _A11, _A12, _A22, _A13, _A23, _A33) = rows(9, OWN)


class _Place(NamedTuple):
    """r, sin phi, cos phi, phi', stretch a and shear g of a point."""

    r: float
    s: float
    c: float
    k: float
    a: float
    g: float


class _Sums(NamedTuple):
    """Forces and tangent of a point's layers in terms of a, phi', r, sin phi and g."""

    fa: float
    fk: float
    fr: float
    fs: float
    fg: float
    aa: float
    ak: float
    kk: float
    rr: float
    rs: float
    ss: float
    ar: float
    ax: float
    kx: float
    ag: float
    kg: float
    rg: float
    sg: float
    gg: float


class _Local(NamedTuple):
    """A point's forces f, gradient v of its volume and tangent h in r, r', z', phi, phi'."""

    f: tuple[float, float, float, float, float]
    v: tuple[float, float, float, float, float]
    h: tuple[float, ...]  # upper half, row by row
    volume: float


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


@part
def _place(places: Floats, p: int) -> _Place:
    """One row of `locate_points`."""
    return _Place(
        places[p, R],
        places[p, SIN],
        places[p, COS],
        places[p, CURVE],
        places[p, STRETCH],
        places[p, SHEARED],
    )


@part
def _sums(lanes: Floats, lane: int, count: int) -> _Sums:
    """Sums over the `count` layers of a point from `lane` on."""
    fa = fk = fr = fs = fg = 0.0
    aa = ak = kk = rr = rs = ss = ar = ax = kx = ag = kg = rg = sg = gg = 0.0
    for m in range(count):
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
    return _Sums(fa, fk, fr, fs, fg, aa, ak, kk, rr, rs, ss, ar, ax, kx, ag, kg, rg, sg, gg)


@part
def _local(sums: _Sums, place: _Place, h: float, w: float, pressure: float) -> _Local:
    """A point's share of forces, volume and tangent, the slab under the loaded face included.

    h : distance of the loaded face.  w : weight of the point.
    """
    fa, fk, fr, fs, fg, aa, ak, kk, rr, rs, ss, ar, ax, kx, ag, kg, rg, sg, gg = sums
    r, s, c, k, a, g = place
    h2, h3 = 0.5 * h * h, h * h * h / 3.0
    # volume under the loaded face: mid-surface part less the slab between the two
    volume = w * (-r * a * h + h2 * (r * k + a * s) - h3 * s * k)
    va, vk = -r * h + h2 * s, h2 * r - h3 * s
    vr, vs = -a * h + h2 * k, h2 * a - h3 * k

    # all of it less pressure times its share of V, in terms of a, phi', r, sin phi
    ar += pressure * h
    as_, kr, ks = ax - pressure * h2, ax - pressure * h2, kx + pressure * h3
    na, ns = fa - pressure * va, fs - pressure * vs
    # gradients and second derivatives in the local variables r, r', z', phi, phi'
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
    return _Local(
        (f0, f1, f2, f3, f4),
        (v0, v1, v2, v3, v4),
        (h00, h01, h02, h03, h04, h11, h12, h13, h14, h22, h23, h24, h33, h34, h44),
        volume,
    )


@part
def _add_point(local: _Local, e: int, q: int, w: float, body: Body, found: Found) -> None:
    """Spread what a point adds over the unknowns of its element."""
    shapes, slopes = body.shapes, body.slopes
    residual, gradient, band = found.residual, found.gradient, found.band
    f0, f1, f2, f3, f4 = local.f
    v0, v1, v2, v3, v4 = local.v
    h00, h01, h02, h03, h04, h11, h12, h13, h14, h22, h23, h24, h33, h34, h44 = local.h
    base = 6 * e
    for i in range(3):
        Ni, Bi = shapes[q, i], slopes[e, q, i]
        row = base + 3 * i
        residual[row] += w * (Ni * f0 + Bi * f1)
        residual[row + 1] += w * Bi * f2
        residual[row + 2] += w * (Ni * f3 + Bi * f4)
        gradient[row] += w * (Ni * v0 + Bi * v1)
        gradient[row + 1] += w * Bi * v2
        gradient[row + 2] += w * (Ni * v3 + Bi * v4)
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


@part
def _add_volume(volume: float, x: Floats, pressure: float, body: Body, found: Found) -> float:
    """Add what the volume under the mid-surface does; returns `volume` with it."""
    shapes, slopes, weights = body.full_shapes, body.full_slopes, body.full_weights
    residual, gradient, band = found.residual, found.gradient, found.band
    for e in range(weights.shape[0]):
        for q in range(weights.shape[1]):
            r = zp = 0.0
            for i in range(3):
                r += shapes[q, i] * x[2 * e + i, 0]
                zp += slopes[e, q, i] * x[2 * e + i, 1]
            w = weights[e, q]
            volume += 0.5 * w * r * r * zp
            for i in range(3):
                Ni, Bi = shapes[q, i], slopes[e, q, i]
                row = 6 * e + 3 * i
                gradient[row] += w * Ni * r * zp
                gradient[row + 1] += w * Bi * 0.5 * r * r
                residual[row] -= pressure * w * Ni * r * zp
                residual[row + 1] -= pressure * w * Bi * 0.5 * r * r
                for j in range(i + 1):
                    Nj, Bj = shapes[q, j], slopes[e, q, j]
                    column = 3 * (j - i) + WIDTH
                    band[row, column] -= pressure * w * Ni * Nj * zp
                    band[row + 1, column - 1] -= pressure * w * Bi * Nj * r
                    if j < i:
                        band[row, column + 1] -= pressure * w * Ni * Bj * r
    return volume


@part
def hold(fixed: Ints, residual: Floats, gradient: Floats, band: Floats) -> None:
    """Take the unknowns that stay put out of the system: 0 in both, 1 on the diagonal."""
    for i in fixed:
        residual[i] = gradient[i] = 0.0
        band[i] = 0.0
        for j in range(i + 1, min(i + WIDTH, residual.size - 1) + 1):
            band[j, i - j + WIDTH] = 0.0
        band[i, WIDTH] = 1.0


@kernel
def assemble(x: Floats, pressure: float, shell: Fields, state: Fields, out: Fields) -> float:
    """Residual f_int - p grad V, grad V, and their tangent; returns V (mm^3 per radian).

    x : (n_nodes, 3) current r, z, phi.  shell : of Body.  state : of Start.  out : of Found.
    """
    body, start, found = Body(*shell), Start(*state), Found(*out)
    weights, first_layer, face = body.weights, body.first_layer, start.face
    n_points = weights.shape[1]
    found.residual[:] = 0.0
    found.gradient[:] = 0.0
    found.band[:] = 0.0
    volume = 0.0
    place, lanes = np.empty((face.size, PLACE)), np.empty(LANES)
    locate_points(x, body, place)
    last = 0
    while last < face.size:
        point = last
        last = stress_block(point, place, body, start, lanes)
        first = first_layer[point]
        count = first_layer[last] - first
        store(lanes, STATES, found.new, first, count)
        store(lanes, T1, found.stress, first, count)
        _weigh(lanes)
        for p in range(point, last):
            e, q = p // n_points, p % n_points
            at = _place(place, p)
            lane = (first_layer[p] - first) & _LANE
            sums = _sums(lanes, lane, first_layer[p + 1] - first_layer[p])
            local = _local(sums, at, face[p], weights[e, q], pressure)
            volume += local.volume
            _add_point(local, e, q, weights[e, q], body, found)
    volume = _add_volume(volume, x, pressure, body, found)
    hold(body.fixed, found.residual, found.gradient, found.band)
    return volume


@kernel
def thicken(
    material: Floats, through: Fields, state: Floats, stress: Floats, side: float
) -> tuple[Floats, Floats]:
    """Distances (n_layers,) of the layers and (n_points,) of the loaded face, with the thickness.

    y(y0) = integral from the mid-surface of exp(e3), e3 = -(nu/E)(t1 + t2) - plastic part; the
    mid-surface fibre stays at y = 0.
    through : of Through.  state : (7, n_layers) and stress : (3, n_layers) of the metal.
    side : which face is loaded: +1 inside, 0 mid-surface, -1 outside.
    """
    first_layer, gauge, rule, inner, reach = Through(*through)
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
