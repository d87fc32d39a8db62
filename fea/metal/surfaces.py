"""Return map of layers with an r-value (Hosford's surface) or with a back stress that fades.

Stresses are principal ones, meridian and hoop: there is no shear in the plane of the sheet, and
transverse shear stays elastic.  With s the stress, b the back stress before the step, d the
increment of equivalent plastic strain, u a point of the unit yield locus f(u) = 1 and g = grad f,

    trial s - w b = (iso + kin) u + d C g(u),     w = exp(-recall d),

iso the size of the yield surface and kin the growth of the back stress along u (that of a
share: Ziegler's rule, which for von Mises is Prager's; that of a fading one: Armstrong and
Frederick's rule, exact for a direction that stays).  Unknown are d and the place on the locus,
the tangent of the angle of u to the trial stress.  Newton's update is halved until the residual
falls.  f has degree one, so its gradient is one at u / f(u), and f's matrix of second derivatives
gives the tangent.
"""

from __future__ import annotations

import math

from domemargin.fea.compiled import kernel
from domemargin.fea.metal.lanes import (
    BACK1,
    BACK2,
    BEYOND,
    BLOCK,
    C11,
    C12,
    C22,
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
    SLOPE,
    START,
    STATES,
    STEP,
    T1,
    T2,
    W1,
    W2,
    exponential,
    rows,
    yield_curves,
)
from domemargin.fea.metal.materials import (
    BACK,
    KINEMATIC,
    NU,
    R_VALUE,
    RECALL,
    YIELD,
    E,
    power_sum,
)
from domemargin.profiles.arrays import Floats

# relative residual after which one more update is exact to rounding
_NEAR = 1e-7
# direction of the trial stress; its tangent; what has been reached; the update from there
_TAN, _D0, _TAN0, _DD, _DTAN, _FULL, _W = N3, W1, W2, LOW, *rows(3, OWN)
_BEST, _FADED = rows(2, OWN + 3 * BLOCK)
_LIMIT = 0.6  # radians by which one update may turn


@kernel
def equivalent(s1: float, s2: float, r_value: float) -> float:
    """Equivalent stress: Hosford's, or von Mises' where there is no r-value."""
    if r_value > 0.0:
        # the eighth root
        return math.sqrt(math.sqrt(math.sqrt(power_sum(s1, s2, r_value))))
    return math.sqrt(s1 * s1 - s1 * s2 + s2 * s2)


@kernel
def normal(
    u1: float, u2: float, r_value: float
) -> tuple[float, float, float, float, float]:
    """Gradient g1, g2 and second derivatives 11, 12, 22 of the equivalent stress where it is 1."""
    if r_value > 0.0:
        per, x = 1.0 / (1.0 + r_value), u1 - u2
        a, b, c = u1 * u1, u2 * u2, x * x
        a, b, c = per * a * a * a, per * b * b * b, r_value * per * c * c * c
        g1, g2 = a * u1 + c * x, b * u2 - c * x
        return (
            g1,
            g2,
            7.0 * (a + c - g1 * g1),
            7.0 * (-c - g1 * g2),
            7.0 * (b + c - g2 * g2),
        )
    g1, g2 = u1 - 0.5 * u2, u2 - 0.5 * u1
    return g1, g2, 1.0 - g1 * g1, -0.5 - g1 * g2, 1.0 - g2 * g2


@kernel
def _fading(material: Floats, lanes: Floats) -> None:
    """Row of w at the trial increment."""
    rate = material[RECALL]
    if material[BACK] > 0.0:
        for i in range(BLOCK):
            lanes[_W + i] = exponential(-rate * lanes[STEP + i])


@kernel
def _sizes(
    material: Floats, lanes: Floats, i: int
) -> tuple[float, float, float, float]:
    """iso, kin, iso + kin and the slope of the last, of lane i at the trial increment."""
    m, factor = material[KINEMATIC], lanes[FACTOR + i]
    first, most = factor * material[YIELD], factor * material[BACK]
    now, w = lanes[NOW + i], lanes[_W + i]
    iso = first + (1.0 - m) * (now - first) - most * (1.0 - lanes[_FADED + i] * w)
    kin = m * (now - lanes[START + i]) + most * (1.0 - w)
    slope = lanes[SLOPE + i] + material[RECALL] * w * most * (1.0 - lanes[_FADED + i])
    return iso, kin, iso + kin, slope


@kernel
def _trial(material: Floats, lanes: Floats) -> float:
    """Number of lanes beyond yield, the direction of their trial stress, and a first guess."""
    r_value, rate = material[R_VALUE], material[RECALL]
    mean = material[E] / (1.0 - material[NU] * material[NU])
    apart = material[NU] * mean
    for i in range(BLOCK):
        lanes[STEP + i], lanes[BEYOND + i] = 0.0, 1.0
        lanes[_W + i] = lanes[_FADED + i] = 1.0
    if material[BACK] > 0.0:
        for i in range(BLOCK):
            lanes[_FADED + i] = exponential(max(-rate * lanes[STATES + i], -160.0))
    yield_curves(material, lanes)
    beyond = 0.0
    for i in range(BLOCK):
        lanes[START + i] = lanes[NOW + i]
        s1, s2 = lanes[T1 + i] - lanes[BACK1 + i], lanes[T2 + i] - lanes[BACK2 + i]
        iso, _, _, slope = _sizes(material, lanes, i)
        f = equivalent(s1, s2, r_value)
        over = f > iso
        # a lane without stress has no direction, and is not looked at
        per = 1.0 / math.sqrt(s1 * s1 + s2 * s2) if over else 0.0
        n1, n2 = (s1 * per, s2 * per) if over else (1.0, 0.0)
        scale = 1.0 / equivalent(n1, n2, r_value)
        g1, g2, _, _, _ = normal(n1 * scale, n2 * scale, r_value)
        stiff = mean * (g1 * g1 + g2 * g2) + 2.0 * apart * g1 * g2
        d = (f - iso) / (stiff + slope)
        beyond += 1.0 if over else 0.0
        lanes[N1 + i], lanes[N2 + i] = n1, n2
        lanes[_TAN + i] = 0.0
        lanes[BEYOND + i] = iso if over else 0.0
        lanes[STEP + i] = d if over else 0.0
        lanes[_D0 + i] = lanes[_TAN0 + i] = lanes[_DD + i] = lanes[_DTAN + i] = 0.0
        lanes[_FULL + i] = 1.0
        lanes[_BEST + i] = 1e300
        lanes[OPEN + i] = 1.0 if over else 0.0
    return beyond


@kernel
def _reached(
    material: Floats, lanes: Floats, i: int, mean: float, apart: float
) -> tuple[float, ...]:
    """What the trial d and tangent of lane i make of its stress.

    Returns u (2), g (2), second derivatives times du/dtangent (2), C g (2), the residual (2) and
    its derivatives by d (2) and by the tangent (2), both with the sign turned.
    """
    r_value = material[R_VALUE]
    d, tangent, w = lanes[STEP + i], lanes[_TAN + i], lanes[_W + i]
    n1, n2 = lanes[N1 + i], lanes[N2 + i]
    v1, v2 = n1 - tangent * n2, n2 + tangent * n1
    per = 1.0 / equivalent(v1, v2, r_value)
    u1, u2 = v1 * per, v2 * per
    g1, g2, h11, h12, h22 = normal(u1, u2, r_value)
    along = g2 * n1 - g1 * n2
    t1, t2 = (-n2 - u1 * along) * per, (n1 - u2 * along) * per
    k1, k2 = h11 * t1 + h12 * t2, h12 * t1 + h22 * t2
    c1, c2 = mean * g1 + apart * g2, apart * g1 + mean * g2
    _, _, both, slope = _sizes(material, lanes, i)
    b1, b2 = w * lanes[BACK1 + i], w * lanes[BACK2 + i]
    r1 = lanes[T1 + i] - b1 - both * u1 - d * c1
    r2 = lanes[T2 + i] - b2 - both * u2 - d * c2
    rate = material[RECALL]
    d1, d2 = slope * u1 + c1 - rate * b1, slope * u2 + c2 - rate * b2
    a1 = both * t1 + d * (mean * k1 + apart * k2)
    a2 = both * t2 + d * (apart * k1 + mean * k2)
    return u1, u2, g1, g2, k1, k2, c1, c2, r1, r2, d1, d2, a1, a2


@kernel
def _search(material: Floats, lanes: Floats, mean: float, apart: float) -> None:
    """The increment and the place on the locus of the lanes beyond yield."""
    for _ in range(80):
        yield_curves(material, lanes)
        _fading(material, lanes)
        for i in range(BLOCK):
            _, _, _, _, _, _, _, _, r1, r2, d1, d2, a1, a2 = _reached(
                material, lanes, i, mean, apart
            )
            size = max(lanes[BEYOND + i], 1.0)
            d, tangent = lanes[STEP + i], lanes[_TAN + i]
            merit = (r1 * r1 + r2 * r2) / (size * size)
            going = lanes[OPEN + i] > 0.0
            better = merit < lanes[_BEST + i]
            per = 1.0 / (d1 * a2 - d2 * a1)
            dd, dt = (r1 * a2 - r2 * a1) * per, (d1 * r2 - d2 * r1) * per
            most = _LIMIT * (1.0 + tangent * tangent)
            cut = min(1.0, most / max(abs(dt), 1e-300))
            dd, dt = max(cut * dd, -0.9 * d), cut * dt
            # where the residual has not fallen, half the way from the last place
            base_d = d if better else lanes[_D0 + i]
            base_t = tangent if better else lanes[_TAN0 + i]
            dd = dd if better else 0.5 * lanes[_DD + i]
            dt = dt if better else 0.5 * lanes[_DTAN + i]
            near = better and merit < _NEAR * _NEAR
            stuck = abs(dd) < 1e-15 * base_d and abs(dt) < 1e-15
            lanes[_D0 + i], lanes[_TAN0 + i] = base_d, base_t
            lanes[_DD + i], lanes[_DTAN + i] = dd, dt
            lanes[_BEST + i] = merit if better else lanes[_BEST + i]
            lanes[STEP + i] = base_d + dd if going else d
            lanes[_TAN + i] = base_t + dt if going else tangent
            lanes[OPEN + i] = 0.0 if near or stuck or not going else 1.0
        left = 0.0
        for i in range(BLOCK):
            left += lanes[OPEN + i]
        if left == 0.0:
            break


@kernel
def carry_back(material: Floats, lanes: Floats) -> None:
    """Carry the lanes beyond yield back to it: stress, tangent and state of the block.

    The tangent of a back stress that fades is not symmetric; its symmetric part is given.
    """
    if _trial(material, lanes) == 0.0:
        return
    mean = material[E] / (1.0 - material[NU] * material[NU])
    apart = material[NU] * mean
    _search(material, lanes, mean, apart)
    yield_curves(material, lanes)
    _fading(material, lanes)
    for i in range(BLOCK):
        u1, u2, g1, g2, k1, k2, c1, c2, _, _, d1, d2, a1, a2 = _reached(
            material, lanes, i, mean, apart
        )
        _, kin, _, _ = _sizes(material, lanes, i)
        d, w = lanes[STEP + i], lanes[_W + i]
        # d stress = C d strain less C (g dd + d k dtangent), these from the residual's derivatives
        per = 1.0 / (d1 * a2 - d2 * a1)
        e1, e2 = d * (mean * k1 + apart * k2), d * (apart * k1 + mean * k2)
        m11, m12 = 1.0 - per * (c1 * a2 - e1 * d2), -per * (e1 * d1 - c1 * a1)
        m21, m22 = -per * (c2 * a2 - e2 * d2), 1.0 - per * (e2 * d1 - c2 * a1)
        if lanes[BEYOND + i] > 0.0:
            lanes[T1 + i] -= d * c1
            lanes[T2 + i] -= d * c2
            lanes[C11 + i] = m11 * mean + m12 * apart
            lanes[C12 + i] = 0.5 * (m11 * apart + m12 * mean + m21 * mean + m22 * apart)
            lanes[C22 + i] = m21 * apart + m22 * mean
            lanes[STATES + i] += d
            lanes[PLASTIC1 + i] += d * g1
            lanes[PLASTIC2 + i] += d * g2
            lanes[BACK1 + i] = w * lanes[BACK1 + i] + kin * u1
            lanes[BACK2 + i] = w * lanes[BACK2 + i] + kin * u2
