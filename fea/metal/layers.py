"""J2 plasticity of a shell's layers, a block of them at a time.

The stress of a layer is the Kirchhoff stress conjugate to its logarithmic strain.  But for a
small transverse shear the principal axes of a shell of revolution are fixed (meridian, hoop), so
logarithmic strains add and the small-strain return map holds at any strain (Simo & Hughes,
Computational Inelasticity, 1998, ch. 9; plane stress: sec. 3.4, here in its decoupled axes
(s1 + s2)/sqrt 2, (s2 - s1)/sqrt 2, and the shear).

Layers stand side by side in `lanes`, a flat array of rows of BLOCK entries.  The compiler makes
vector instructions of a loop over one row where it can tell that the rows do not overlap, hence
one array, rows at fixed places, and no branch or call to the mathematics library within.
"""

from __future__ import annotations

import math

import numpy as np

from domemargin.fea.compiled import POSITIVE, kernel
from domemargin.fea.metal.materials import (
    ELASTIC,
    FIRST,
    KINEMATIC,
    LAW,
    LINEAR,
    NU,
    SECOND,
    VOCE,
    YIELD,
    E,
    yield_curve,
)
from domemargin.profiles.arrays import Floats

BLOCK = 64


def rows(count: int, first: int = 0) -> tuple[int, ...]:
    """Where `count` rows of lanes begin, from `first` on."""
    # as numpy's numbers: of plain ones numba compiles a kernel for each
    return tuple(np.arange(first, first + count * BLOCK, BLOCK))


# rows of lanes.  In: distance from the mid-surface, one over the undeformed lengths, weight,
# lengths now, factor on the yield curve, logarithmic strains and shear.  In and out: material
# state, from STATES on.  Out: stress, its tangent 11, 12, 22, 13, 23, 33, and (unless the metal is
# elastic) whether a lane yielded, BEYOND > 0.
(
    Y,
    PER1,
    PER2,
    WEIGHT,
    LENGTH1,
    LENGTH2,
    FACTOR,
    E1,
    E2,
    E3,
    STATES,
    _P1,
    _P2,
    _P3,
    _B1,
    _B2,
    _B3,
    T1,
    T2,
    T3,
    C11,
    C12,
    C22,
    C13,
    C23,
    C33,
    # of the return map
    _N1,
    _N2,
    _N3,
    _W1,
    _W2,
    _START,
    _NOW,
    _SLOPE,
    _D,
    _LOW,
    BEYOND,
    _OPEN,
    # for whoever sums over layers
    OWN,
) = rows(39)
OWN_ROWS = 13
LANES = OWN + OWN_ROWS * BLOCK

_HALF = math.sqrt(0.5)
_FAR = 0.2  # of (x - 1)/(x + 1): a stretch of 2/3 to 3/2
# relative residual after which one more update is exact to rounding
_NEAR = 1e-5


@kernel
def exponential(x: float) -> float:
    """exp(x) for x < 20, to 2e-14 where |x| < 16 and 2e-13 where |x| < 20: exp(x/64) by its
    series, squared six times."""
    y = max(x, -160.0) * (1.0 / 64.0)
    p = 1.0 / 39916800.0
    p = p * y + 1.0 / 3628800.0
    p = p * y + 1.0 / 362880.0
    p = p * y + 1.0 / 40320.0
    p = p * y + 1.0 / 5040.0
    p = p * y + 1.0 / 720.0
    p = p * y + 1.0 / 120.0
    p = p * y + 1.0 / 24.0
    p = p * y + 1.0 / 6.0
    p = p * y + 0.5
    p = p * y + 1.0
    p = p * y + 1.0
    p = p * p
    p = p * p
    p = p * p
    p = p * p
    p = p * p
    return p * p


@kernel
def _logarithm(lanes: Floats, row: int, length: int, per_length: int) -> None:
    """Row of log(length * per_length), by the series of 2 artanh((x - 1)/(x + 1))."""
    far = 0.0
    for i in range(BLOCK):
        x = lanes[length + i] * lanes[per_length + i]
        z = (x - 1.0) / (x + 1.0)
        far += 1.0 if abs(z) > _FAR else 0.0
        v = z * z
        p = 2.0 / 23.0
        p = p * v + 2.0 / 21.0
        p = p * v + 2.0 / 19.0
        p = p * v + 2.0 / 17.0
        p = p * v + 2.0 / 15.0
        p = p * v + 2.0 / 13.0
        p = p * v + 2.0 / 11.0
        p = p * v + 2.0 / 9.0
        p = p * v + 2.0 / 7.0
        p = p * v + 2.0 / 5.0
        p = p * v + 2.0 / 3.0
        p = p * v + 2.0
        lanes[row + i] = p * z
    if far > 0.0:
        for i in range(BLOCK):
            lanes[row + i] = math.log(lanes[length + i] * lanes[per_length + i])


@kernel
def load(lanes: Floats, row: int, values: Floats, first: int, count: int, rest: float) -> None:
    """Copy values[:, first : first + count] to as many rows; `rest` into their other lanes."""
    # the compiler looks at indices one by one unless it sees that they are not negative
    first = first & POSITIVE
    for j in range(values.shape[0]):
        to = (row + j * BLOCK) & POSITIVE
        for i in range(count):
            lanes[to + i] = values[j, first + i]
        for i in range(count, BLOCK):
            lanes[to + i] = rest


@kernel
def store(lanes: Floats, row: int, values: Floats, first: int, count: int) -> None:
    """Copy rows to values[:, first : first + count]."""
    first = first & POSITIVE
    for j in range(values.shape[0]):
        to = (row + j * BLOCK) & POSITIVE
        for i in range(count):
            values[j, first + i] = lanes[to + i]


@kernel
def strains(lanes: Floats) -> None:
    """Logarithmic strains from the lengths, now and undeformed."""
    _logarithm(lanes, E1, LENGTH1, PER1)
    _logarithm(lanes, E2, LENGTH2, PER2)


@kernel
def _yield_curves(material: Floats, lanes: Floats) -> None:
    """Yield stress and slope at equivalent plastic strain ep + d, times the factor.

    Of lanes beyond yield; of others they are not looked at.
    """
    law = material[LAW]
    first, second = material[FIRST], material[SECOND]
    if law == VOCE:
        full = material[YIELD] + first
        for i in range(BLOCK):
            ep = lanes[STATES + i] + lanes[_D + i]
            rest = first * exponential(-second * ep)
            lanes[_NOW + i] = lanes[FACTOR + i] * (full - rest)
            lanes[_SLOPE + i] = lanes[FACTOR + i] * second * rest
    elif law == LINEAR:
        start = material[YIELD]
        for i in range(BLOCK):
            ep = lanes[STATES + i] + lanes[_D + i]
            lanes[_NOW + i] = lanes[FACTOR + i] * (start + first * ep)
            lanes[_SLOPE + i] = lanes[FACTOR + i] * first
    else:
        for i in range(BLOCK):
            if lanes[BEYOND + i] > 0.0:
                stress, slope = yield_curve(material, lanes[STATES + i] + lanes[_D + i])
                lanes[_NOW + i] = lanes[FACTOR + i] * stress
                lanes[_SLOPE + i] = lanes[FACTOR + i] * slope


@kernel
def stresses(material: Floats, lanes: Floats) -> None:
    """Stress and consistent tangent of a block of layers under no stress through the gauge.

    lanes : (LANES,), see above; the state becomes that after the step.
    State: equivalent plastic strain; plastic strains 1, 2 and shear; back stresses 1, 2 and
    shear (MPa, in the form taken off the stresses directly).

    One scalar equation in the increment d of equivalent plastic strain:
    q(eta(d)) = isotropic yield stress(ep + d), eta = stress less back stress.  A share m of the
    growth of the yield curve goes into the back stress, so that a monotonic uniaxial test does
    not depend on m (mixed hardening; Simo & Hughes, sec. 3.3).
    """
    modulus, nu = material[E], material[NU]
    k1, k2 = modulus / (1.0 - nu), modulus / (1.0 + nu)
    k3 = 0.5 * k2
    mean, difference = 0.5 * (k1 + k2), 0.5 * (k1 - k2)
    for i in range(BLOCK):
        x1, x2 = lanes[E1 + i] - lanes[_P1 + i], lanes[E2 + i] - lanes[_P2 + i]
        lanes[T1 + i] = mean * x1 + difference * x2
        lanes[T2 + i] = difference * x1 + mean * x2
        lanes[T3 + i] = k3 * (lanes[E3 + i] - lanes[_P3 + i])
        lanes[C11 + i] = lanes[C22 + i] = mean
        lanes[C12 + i] = difference
        lanes[C13 + i] = lanes[C23 + i] = 0.0
        lanes[C33 + i] = k3
    if material[LAW] != ELASTIC and _trial(material, lanes) > 0.0:
        _return(material, lanes)


@kernel
def _trial(material: Floats, lanes: Floats) -> float:
    """Number of lanes beyond yield, and the first guess of their increments d."""
    m, yield_stress = material[KINEMATIC], material[YIELD]
    c1 = 0.5 * material[E] / (1.0 - material[NU])
    c2 = 1.5 * material[E] / (1.0 + material[NU])
    for i in range(BLOCK):
        lanes[_D + i], lanes[BEYOND + i] = 0.0, 1.0
    _yield_curves(material, lanes)
    beyond = 0.0
    for i in range(BLOCK):
        s1, s2 = lanes[T1 + i] - lanes[_B1 + i], lanes[T2 + i] - lanes[_B2 + i]
        n1, n2, n3 = _HALF * (s1 + s2), _HALF * (s2 - s1), lanes[T3 + i] - lanes[_B3 + i]
        first, start = lanes[FACTOR + i] * yield_stress, lanes[_NOW + i]
        size = first + (1.0 - m) * (start - first)
        # q^2 = n1^2 / 2 + 3/2 n2^2 + 3 n3^2; the last two shrink alike (1.5 k2 = 3 k3)
        w1, w2 = 0.5 * n1 * n1, 1.5 * n2 * n2 + 3.0 * n3 * n3
        q = math.sqrt(w1 + w2)
        # one Newton step from d = 0, in closed form
        d = (q - size) / ((c1 * w1 + c2 * w2) / (q * q) + lanes[_SLOPE + i] * q / size)
        over = q > size
        beyond += 1.0 if over else 0.0
        lanes[_N1 + i], lanes[_N2 + i], lanes[_N3 + i] = n1, n2, n3
        lanes[_W1 + i], lanes[_W2 + i] = w1, w2
        lanes[_START + i] = start
        lanes[_D + i] = d if over else 0.0
        lanes[_LOW + i] = 0.0
        lanes[BEYOND + i] = q / c1 if over else 0.0
    return beyond


@kernel
def _shrunk(
    lanes: Floats, i: int, first: float, m: float, c1: float, c2: float
) -> tuple[float, float, float, float, float, float, float, float, float, float]:
    """What the increment d of lane i makes of its trial stress: eta = trial * (s1, s2).

    Returns s1, s2, the derivatives dr1, dr2 of 1/s1, 1/s2, the same of q, isotropic yield stress
    and back stress over the isotropic stress: see the names in `_return`.
    """
    d, now, slope = lanes[_D + i], lanes[_NOW + i], lanes[_SLOPE + i]
    iso, iso_slope = first + (1.0 - m) * (now - first), (1.0 - m) * slope
    kin, kin_slope = m * (now - lanes[_START + i]), m * slope
    # from lam = d / iso and the back stress; one division for three
    z1, z2 = iso + c1 * d + kin, iso + c2 * d + kin
    per_all = 1.0 / (iso * z1 * z2)
    per_iso = z1 * z2 * per_all
    s1, s2 = iso * iso * z2 * per_all, iso * iso * z1 * per_all
    dr1 = (c1 + kin_slope - (c1 * d + kin) * per_iso * iso_slope) * per_iso
    dr2 = (c2 + kin_slope - (c2 * d + kin) * per_iso * iso_slope) * per_iso
    u1, u2 = lanes[_W1 + i] * s1 * s1, lanes[_W2 + i] * s2 * s2
    per_q = 1.0 / math.sqrt(u1 + u2)
    dq = -(u1 * dr1 * s1 + u2 * dr2 * s2) * per_q
    return s1, s2, dr1, dr2, iso, iso_slope, per_iso, per_q, dq, kin


@kernel
def _return(material: Floats, lanes: Floats) -> None:
    """Carry the lanes beyond yield back to it."""
    m, yield_stress = material[KINEMATIC], material[YIELD]
    k1, k2 = material[E] / (1.0 - material[NU]), material[E] / (1.0 + material[NU])
    k3, c1, c2 = 0.5 * k2, 0.5 * k1, 1.5 * k2
    for _ in range(60):
        _yield_curves(material, lanes)
        for i in range(BLOCK):
            first, d = lanes[FACTOR + i] * yield_stress, lanes[_D + i]
            _, _, _, _, iso, iso_slope, per_iso, per_q, dq, _ = _shrunk(lanes, i, first, m, c1, c2)
            # 1/q - 1/iso is nearly a straight line in d, q - iso is not: few iterations
            residual = per_q - per_iso
            over = lanes[BEYOND + i] > 0.0
            # keep a bracket, so that a kinked table cannot cycle
            low = d if residual < 0.0 else lanes[_LOW + i]
            high = lanes[BEYOND + i] if residual < 0.0 else d
            trial = d - residual / (iso_slope * per_iso * per_iso - dq * per_q * per_q)
            trial = trial if low <= trial <= high else 0.5 * (low + high)
            far = abs(residual) * iso > _NEAR and abs(trial - d) > 1e-15 * d
            lanes[_LOW + i] = low
            lanes[BEYOND + i] = high if over else 0.0
            lanes[_D + i] = trial if over else 0.0
            lanes[_OPEN + i] = 1.0 if over and far else 0.0
        left = 0.0
        for i in range(BLOCK):
            left += lanes[_OPEN + i]
        if left == 0.0:
            break
    _yield_curves(material, lanes)
    for i in range(BLOCK):
        first, d = lanes[FACTOR + i] * yield_stress, lanes[_D + i]
        s1, s2, dr1, dr2, _, iso_slope, per_iso, per_q, dq, kin = _shrunk(
            lanes, i, first, m, c1, c2
        )
        lam = d * per_iso
        dlam = (1.0 - lam * iso_slope) * per_iso
        h1, h2, h3 = lanes[_N1 + i] * s1, lanes[_N2 + i] * s2, lanes[_N3 + i] * s2
        p1, p2, p3 = 0.5 * lam * h1, 1.5 * lam * h2, 3.0 * lam * h3
        # d d/d n from the scalar equation, then d stress = K d strain - K d p
        scale = per_q / (iso_slope - dq)
        d1, d2, d3 = 0.5 * h1 * s1 * scale, 1.5 * h2 * s2 * scale, 3.0 * h3 * s2 * scale
        both = dlam - lam * dr2 * s2
        g1, g2, g3 = 0.5 * h1 * (dlam - lam * dr1 * s1), 1.5 * h2 * both, 3.0 * h3 * both
        y11, y12 = k1 * (1.0 - k1 * (0.5 * lam * s1 + g1 * d1)), -k1 * g1 * d2 * k2
        y22, y33 = (
            k2 * (1.0 - k2 * (1.5 * lam * s2 + g2 * d2)),
            k3 * (1.0 - k3 * (3.0 * lam * s2 + g3 * d3)),
        )
        y13, y23 = -k1 * g1 * d3 * k3, -k2 * g2 * d3 * k3
        shift = _HALF * kin * per_iso
        if lanes[BEYOND + i] > 0.0:
            lanes[T1 + i] -= _HALF * (k1 * p1 - k2 * p2)
            lanes[T2 + i] -= _HALF * (k1 * p1 + k2 * p2)
            lanes[T3 + i] -= k3 * p3
            lanes[C11 + i] = 0.5 * (y11 + y22) - y12
            lanes[C12 + i] = 0.5 * (y11 - y22)
            lanes[C22 + i] = 0.5 * (y11 + y22) + y12
            lanes[C13 + i] = _HALF * (y13 - y23)
            lanes[C23 + i] = _HALF * (y13 + y23)
            lanes[C33 + i] = y33
            lanes[STATES + i] += d
            lanes[_P1 + i] += _HALF * (p1 - p2)
            lanes[_P2 + i] += _HALF * (p1 + p2)
            lanes[_P3 + i] += p3
            lanes[_B1 + i] += shift * (h1 - h2)
            lanes[_B2 + i] += shift * (h1 + h2)
            lanes[_B3 + i] += kin * per_iso * h3


@kernel
def layer_stresses(
    material: Floats,
    factor: Floats,
    strain: Floats,
    old: Floats,
    new: Floats,
    stress: Floats,
    tangent: Floats,
) -> None:
    """Stress and consistent tangent of any number of layers; see `stresses`.

    factor : (n,) on the yield curve.  strain : (3, n) logarithmic strains (meridian, hoop) and
    transverse shear angle.  old : (7, n) state before.  new : (7, n) state after,
    stress : (3, n), MPa, tangent : (6, n) 11, 12, 22, 13, 23, 33, out.
    """
    lanes = np.empty(LANES)
    for first in range(0, factor.size, BLOCK):
        count = min(BLOCK, factor.size - first)
        load(lanes, FACTOR, factor.reshape((1, -1)), first, count, 1.0)
        load(lanes, E1, strain, first, count, 0.0)
        load(lanes, STATES, old, first, count, 0.0)
        stresses(material, lanes)
        store(lanes, STATES, new, first, count)
        store(lanes, T1, stress, first, count)
        store(lanes, C11, tangent, first, count)
