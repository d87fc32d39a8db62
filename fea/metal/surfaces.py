"""Return map of layers with an r-value (Hosford's surface) or with a back stress that fades.

There is no shear in the plane of the sheet; transverse shear t joins the equivalent stress as for
von Mises, q^2 = f(s1, s2)^2 + 3 t^2.  With s the stress, b the back stress before the step, d the
increment of equivalent plastic strain, u a point of the unit yield locus f(u) = 1, g = grad f
there and w = exp(-recall d),

    trial s - w b = c ((iso + kin) u + d C g(u)),      y = (trial t - w b3) / (iso + kin + 3 G d),
    c^2 = 1 - 3 y^2,

iso the size of the yield surface, kin the growth of the back stress along u (that of a share:
Ziegler's rule, which for von Mises is Prager's; that of a fading one: Armstrong and Frederick's
rule, exact for a direction that stays), c and y shares of in-plane and shear stress in iso.
Unknown are d and the place on the locus, by the tangent of the angle of u to the trial stress.
Newton's update is halved until the residual falls.  f has degree one, so its gradient is one at
u / f(u), and f's second derivatives give the tangent.

Lanes beyond yield are packed first: they are half of all, and take most of the time.
"""

from __future__ import annotations

import math

from domemargin.fea.compiled import POSITIVE, kernel
from domemargin.fea.metal.lanes import (
    BACK1,
    BACK2,
    BACK3,
    BEYOND,
    BLOCK,
    C11,
    C12,
    C13,
    C22,
    C23,
    C33,
    FACTOR,
    LOW,
    N1,
    N2,
    N3,
    NOW,
    OPEN,
    OWN,
    PLASTIC1,
    PLASTIC2,
    PLASTIC3,
    SLOPE,
    START,
    STATES,
    STEP,
    T1,
    T2,
    T3,
    W1,
    W2,
    exponential,
    rows,
    yield_curves,
)
from domemargin.fea.metal.materials import (
    BACK,
    FIRST,
    KINEMATIC,
    LAW,
    LINEAR,
    NU,
    R_VALUE,
    RECALL,
    SECOND,
    VOCE,
    YIELD,
    E,
    power_sum,
    yield_curve,
)
from domemargin.profiles.arrays import Floats

# residual over the first yield stress after which two more updates, the last of them together
# with the tangent, are exact to 1e-10
_NEAR = 1e-3
_LIMIT = 0.6  # radians by which one update may turn
_LEAST = 1e-6  # of c^2
_WIDTH = 16  # lanes that a compiled loop takes at once
# packed: direction of the trial stress and the tangent; what has been reached, the update there
_TAN, _D0, _TAN0, _DD = N3, W1, W2, LOW
# (and more of these), the lane, and what a lane brings: trial stress, back stress, ep, factor
_LANE, _DTAN, _BEST, _W, _FADED, _S1, _S2, _S3, _B1, _B2, _B3, _EP, _F = rows(13, OWN)


@kernel
def equivalent(s1: float, s2: float, r_value: float) -> float:
    """Equivalent stress: Hosford's, or von Mises' where there is no r-value."""
    if r_value > 0.0:
        # the eighth root
        return math.sqrt(math.sqrt(math.sqrt(power_sum(s1, s2, r_value))))
    return math.sqrt(s1 * s1 - s1 * s2 + s2 * s2)


@kernel
def normal(u1: float, u2: float, r_value: float) -> tuple[float, float, float, float, float]:
    """Gradient g1, g2 and second derivatives 11, 12, 22 of the equivalent stress where it is 1."""
    if r_value > 0.0:
        per, x = 1.0 / (1.0 + r_value), u1 - u2
        a, b, c = u1 * u1, u2 * u2, x * x
        a, b, c = per * a * a * a, per * b * b * b, r_value * per * c * c * c
        g1, g2 = a * u1 + c * x, b * u2 - c * x
        h11, h12 = 7.0 * (a + c - g1 * g1), 7.0 * (-c - g1 * g2)
        return g1, g2, h11, h12, 7.0 * (b + c - g2 * g2)
    g1, g2 = u1 - 0.5 * u2, u2 - 0.5 * u1
    return g1, g2, 1.0 - g1 * g1, -0.5 - g1 * g2, 1.0 - g2 * g2


@kernel
def _curves(material: Floats, lanes: Floats, count: int) -> None:
    """Yield stress and slope of the packed lanes at the trial increment, and row of w."""
    law = material[LAW]
    first, second, start = material[FIRST], material[SECOND], material[YIELD]
    if law == VOCE:
        for i in range(count):
            rest = first * exponential(-second * (lanes[_EP + i] + lanes[STEP + i]))
            lanes[NOW + i] = lanes[_F + i] * (start + first - rest)
            lanes[SLOPE + i] = lanes[_F + i] * second * rest
    elif law == LINEAR:
        for i in range(count):
            stress = start + first * (lanes[_EP + i] + lanes[STEP + i])
            lanes[NOW + i], lanes[SLOPE + i] = lanes[_F + i] * stress, lanes[_F + i] * first
    else:
        for i in range(count):
            stress, slope = yield_curve(material, lanes[_EP + i] + lanes[STEP + i])
            lanes[NOW + i], lanes[SLOPE + i] = lanes[_F + i] * stress, lanes[_F + i] * slope
    if material[BACK] > 0.0:
        rate = material[RECALL]
        for i in range(count):
            lanes[_W + i] = exponential(-rate * lanes[STEP + i])


@kernel
def _pack(material: Floats, lanes: Floats) -> int:
    """Number of lanes beyond yield; what they bring, in rows from their start on."""
    r_value, m, first = material[R_VALUE], material[KINEMATIC], material[YIELD]
    back, rate = material[BACK], material[RECALL]
    for i in range(BLOCK):
        lanes[STEP + i], lanes[BEYOND + i] = 0.0, 1.0
    yield_curves(material, lanes)
    for i in range(BLOCK):
        lanes[_FADED + i] = 1.0
    if back > 0.0:
        for i in range(BLOCK):
            lanes[_FADED + i] = exponential(-rate * lanes[STATES + i])
    for i in range(BLOCK):
        s1, s2 = lanes[T1 + i] - lanes[BACK1 + i], lanes[T2 + i] - lanes[BACK2 + i]
        s3, factor = lanes[T3 + i] - lanes[BACK3 + i], lanes[FACTOR + i]
        iso = factor * (first - back * (1.0 - lanes[_FADED + i]))
        iso += (1.0 - m) * (lanes[NOW + i] - factor * first)
        f = equivalent(s1, s2, r_value)
        lanes[BEYOND + i] = 1.0 if f * f + 3.0 * s3 * s3 > iso * iso else 0.0
    count = 0
    for i in range(BLOCK):
        if lanes[BEYOND + i] > 0.0:
            at = count & POSITIVE
            lanes[_LANE + at] = i
            lanes[_S1 + at], lanes[_B1 + at] = lanes[T1 + i], lanes[BACK1 + i]
            lanes[_S2 + at], lanes[_B2 + at] = lanes[T2 + i], lanes[BACK2 + i]
            lanes[_S3 + at], lanes[_B3 + at] = lanes[T3 + i], lanes[BACK3 + i]
            lanes[_EP + at], lanes[_F + at] = lanes[STATES + i], lanes[FACTOR + i]
            lanes[START + at], lanes[_FADED + at] = lanes[NOW + i], lanes[_FADED + i]
            count += 1
    return count


@kernel
def _fill_up(lanes: Floats, count: int) -> int:
    """Number of lanes to work on, filled up with the first: full vectors take a quarter of the
    time of single lanes."""
    full = min((count + _WIDTH - 1) // _WIDTH * _WIDTH, BLOCK)
    for row in (_S1, _S2, _S3, _B1, _B2, _B3, _EP, _F, START, _FADED):
        for i in range(count, full):
            lanes[row + (i & POSITIVE)] = lanes[row]
    return full


@kernel
def _sizes(lanes: Floats, i: int, metal: tuple[float, ...]) -> tuple[float, float, float, float]:
    """iso, kin, iso + kin and the slope of the last, of packed lane i at the trial increment."""
    _, _, _, _, m, first, most, rate = metal
    factor, w, faded = lanes[_F + i], lanes[_W + i], lanes[_FADED + i]
    first, most, now = factor * first, factor * most, lanes[NOW + i]
    iso = first + (1.0 - m) * (now - first) - most * (1.0 - faded * w)
    kin = m * (now - lanes[START + i]) + most * (1.0 - w)
    return iso, kin, iso + kin, lanes[SLOPE + i] + rate * w * most * (1.0 - faded)


@kernel
def _guess(lanes: Floats, count: int, metal: tuple[float, ...]) -> None:
    """A first guess of the increments, along the trial stress."""
    mean, apart, shear, r_value, _, _, _, _ = metal
    for i in range(count):
        lanes[_W + i] = 1.0
        s1, s2 = lanes[_S1 + i] - lanes[_B1 + i], lanes[_S2 + i] - lanes[_B2 + i]
        s3 = lanes[_S3 + i] - lanes[_B3 + i]
        iso, _, _, slope = _sizes(lanes, i, metal)
        # without stress in the plane any direction will do
        s1 = s1 if s1 * s1 + s2 * s2 > 1e-12 else 1e-6
        f = equivalent(s1, s2, r_value)
        per = 1.0 / f
        g1, g2, _, _, _ = normal(s1 * per, s2 * per, r_value)
        stiff = mean * (g1 * g1 + g2 * g2) + 2.0 * apart * g1 * g2
        square = f * f + 3.0 * s3 * s3
        stiff = (stiff * f * f + 9.0 * shear * s3 * s3) / square
        # of another length than 1, which does not matter to the tangent of an angle
        lanes[N1 + i], lanes[N2 + i] = s1 * per, s2 * per
        lanes[_TAN + i] = lanes[_D0 + i] = lanes[_TAN0 + i] = 0.0
        lanes[_DD + i] = lanes[_DTAN + i] = 0.0
        lanes[_BEST + i] = 1e300
        lanes[STEP + i] = (math.sqrt(square) - iso) / (stiff + slope)
        lanes[OPEN + i] = 1.0


@kernel
def _reached(lanes: Floats, i: int, metal: tuple[float, ...]) -> tuple[float, ...]:
    """What the trial d and tangent of packed lane i make of its stress.

    Returns u (2), g (2), C times second derivatives times du/dtangent (2), C g (2), iso + kin,
    c and c', y and y' (by d), 1 / (iso + kin + 3 G d), and the residual (2).
    """
    mean, apart, shear, r_value, _, _, _, rate = metal
    d, tangent, w = lanes[STEP + i], lanes[_TAN + i], lanes[_W + i]
    n1, n2 = lanes[N1 + i], lanes[N2 + i]
    v1, v2 = n1 - tangent * n2, n2 + tangent * n1
    per = 1.0 / equivalent(v1, v2, r_value)
    u1, u2 = v1 * per, v2 * per
    g1, g2, h11, h12, h22 = normal(u1, u2, r_value)
    along = g2 * n1 - g1 * n2
    t1, t2 = (-n2 - u1 * along) * per, (n1 - u2 * along) * per
    k1, k2 = h11 * t1 + h12 * t2, h12 * t1 + h22 * t2
    e1, e2 = mean * k1 + apart * k2, apart * k1 + mean * k2
    c1, c2 = mean * g1 + apart * g2, apart * g1 + mean * g2
    _, _, both, slope = _sizes(lanes, i, metal)
    b3 = w * lanes[_B3 + i]
    per_all = 1.0 / (both + 3.0 * shear * d)
    y = (lanes[_S3 + i] - b3) * per_all
    dy = (rate * b3 - y * (slope + 3.0 * shear)) * per_all
    c = math.sqrt(max(1.0 - 3.0 * y * y, _LEAST))
    dc = -3.0 * y * dy / c
    p1, p2 = both * u1 + d * c1, both * u2 + d * c2
    b1, b2 = w * lanes[_B1 + i], w * lanes[_B2 + i]
    r1, r2 = lanes[_S1 + i] - b1 - c * p1, lanes[_S2 + i] - b2 - c * p2
    # derivatives of the residual with the sign turned
    d1 = c * (slope * u1 + c1) + dc * p1 - rate * b1
    d2 = c * (slope * u2 + c2) + dc * p2 - rate * b2
    a1, a2 = c * (both * t1 + d * e1), c * (both * t2 + d * e2)
    return u1, u2, g1, g2, e1, e2, c1, c2, p1, p2, c, dc, y, dy, per_all, r1, r2, d1, d2, a1, a2


@kernel
def _search(material: Floats, lanes: Floats, count: int, metal: tuple[float, ...]) -> None:
    """The increment and the place on the locus of the packed lanes."""
    enough = (_NEAR * material[YIELD]) ** 2
    for _ in range(80):
        _curves(material, lanes, count)
        for i in range(count):
            _, _, _, _, _, _, _, _, _, _, _, _, _, _, _, r1, r2, d1, d2, a1, a2 = _reached(
                lanes, i, metal
            )
            d, tangent = lanes[STEP + i], lanes[_TAN + i]
            merit = r1 * r1 + r2 * r2
            going = lanes[OPEN + i] > 0.0
            better = merit < lanes[_BEST + i]
            per = 1.0 / (d1 * a2 - d2 * a1)
            dd, dt = (r1 * a2 - r2 * a1) * per, (d1 * r2 - d2 * r1) * per
            most = _LIMIT * (1.0 + tangent * tangent)
            dt = min(max(dt, -most), most)
            dd = max(dd, -0.9 * d)
            # where the residual has not fallen, half the way from the last place
            base_d = d if better else lanes[_D0 + i]
            base_t = tangent if better else lanes[_TAN0 + i]
            dd = dd if better else 0.5 * lanes[_DD + i]
            dt = dt if better else 0.5 * lanes[_DTAN + i]
            far = not (better and merit < enough)
            moving = abs(dd) > 1e-15 * base_d or abs(dt) > 1e-15
            lanes[_D0 + i], lanes[_TAN0 + i] = base_d, base_t
            lanes[_DD + i], lanes[_DTAN + i] = dd, dt
            lanes[_BEST + i] = merit if better else lanes[_BEST + i]
            lanes[STEP + i] = base_d + dd if going else d
            lanes[_TAN + i] = base_t + dt if going else tangent
            lanes[OPEN + i] = 1.0 if far and moving and going else 0.0
        left = 0.0
        for i in range(count):
            left += lanes[OPEN + i]
        if left == 0.0:
            break


@kernel
def _settle(lanes: Floats, count: int, metal: tuple[float, ...]) -> None:
    """Stress, tangent and changes of state of the packed lanes, in rows that the search leaves:
    stress in the trial stress's rows, back stress and ep in their own, the rest as `carry_back`
    takes it."""
    mean, apart, shear, _, m, _, most, rate = metal
    nu = apart / mean
    per_modulus = 1.0 / (mean * (1.0 - nu * nu))
    for i in range(count):
        _, _, _, _, e1, e2, c1, c2, p1, p2, c, dc, y, dy, per_all, r1, r2, d1, d2, a1, a2 = (
            _reached(lanes, i, metal)
        )
        _, kin, both, slope = _sizes(lanes, i, metal)
        d, w = lanes[STEP + i], lanes[_W + i]
        # d stress from the increments dd and dtangent, these from the residual's derivatives
        per = 1.0 / (d1 * a2 - d2 * a1)
        dd, dt = (r1 * a2 - r2 * a1) * per, (d1 * r2 - d2 * r1) * per
        x1, x2, x3 = (c + d * dc) * c1, (c + d * dc) * c2, 3.0 * shear * (y + d * dy)
        z1, z2 = d * c * e1, d * c * e2
        m11, m12 = 1.0 - per * (x1 * a2 - z1 * d2), -per * (z1 * d1 - x1 * a1)
        m21, m22 = -per * (x2 * a2 - z2 * d2), 1.0 - per * (z2 * d1 - x2 * a1)
        # shear: the increment that a change of it brings, for what it takes from c
        d3 = 3.0 * y / c * per_all * (p1 * a2 - p2 * a1) * per
        lanes[_D0 + i] = m11 * mean + m12 * apart
        lanes[_TAN0 + i] = 0.5 * (m11 * apart + m12 * mean + m21 * mean + m22 * apart)
        lanes[_DD + i] = m21 * apart + m22 * mean
        lanes[_DTAN + i] = -x3 * per * (a2 * mean - a1 * apart)
        lanes[_BEST + i] = -x3 * per * (a2 * apart - a1 * mean)
        lanes[OPEN + i] = shear * (1.0 - x3 * d3 - 3.0 * shear * d * per_all)
        # all the way, the last update taken in
        q1, q2 = d * c * c1 + x1 * dd + z1 * dt, d * c * c2 + x2 * dd + z2 * dt
        q3 = 3.0 * shear * d * y + x3 * dd
        lanes[_S1 + i] -= q1
        lanes[_S2 + i] -= q2
        lanes[_S3 + i] -= q3
        lanes[_EP + i] += d + dd
        lanes[N1 + i], lanes[N2 + i] = per_modulus * (q1 - nu * q2), per_modulus * (q2 - nu * q1)
        lanes[_TAN + i] = q3 / shear
        # the back stress grows along stress less back stress
        fading = rate * w * lanes[_F + i] * most
        w -= rate * w * dd
        share = (kin + (m * lanes[SLOPE + i] + fading) * dd) / (both + slope * dd)
        for row_b, row_s in ((_B1, _S1), (_B2, _S2), (_B3, _S3)):
            left = w * lanes[row_b + i]
            lanes[row_b + i] = left + share * (lanes[row_s + i] - left)


@kernel
def carry_back(material: Floats, lanes: Floats) -> None:
    """Carry the lanes beyond yield back to it: stress, tangent and state of the block.

    The tangent of a back stress that fades is not symmetric; its symmetric part is given.
    """
    count = _pack(material, lanes)
    if count == 0:
        return
    mean = material[E] / (1.0 - material[NU] * material[NU])
    apart, shear = material[NU] * mean, 0.5 * material[E] / (1.0 + material[NU])
    metal = (
        mean,
        apart,
        shear,
        material[R_VALUE],
        material[KINEMATIC],
        material[YIELD],
        material[BACK],
        material[RECALL],
    )
    full = _fill_up(lanes, count)
    for i in range(full):
        lanes[STEP + i] = 0.0
    _curves(material, lanes, full)
    _guess(lanes, full, metal)
    _search(material, lanes, full, metal)
    _curves(material, lanes, full)
    _settle(lanes, full, metal)
    for i in range(count):
        j = int(lanes[_LANE + i]) & POSITIVE
        lanes[T1 + j], lanes[T2 + j], lanes[T3 + j] = (
            lanes[_S1 + i],
            lanes[_S2 + i],
            lanes[_S3 + i],
        )
        lanes[C11 + j], lanes[C12 + j] = lanes[_D0 + i], lanes[_TAN0 + i]
        lanes[C22 + j], lanes[C13 + j] = lanes[_DD + i], lanes[_DTAN + i]
        lanes[C23 + j], lanes[C33 + j] = lanes[_BEST + i], lanes[OPEN + i]
        lanes[STATES + j] = lanes[_EP + i]
        lanes[PLASTIC1 + j] += lanes[N1 + i]
        lanes[PLASTIC2 + j] += lanes[N2 + i]
        lanes[PLASTIC3 + j] += lanes[_TAN + i]
        lanes[BACK1 + j] = lanes[_B1 + i]
        lanes[BACK2 + j] = lanes[_B2 + i]
        lanes[BACK3 + j] = lanes[_B3 + i]
