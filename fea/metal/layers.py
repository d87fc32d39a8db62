"""J2 plasticity of a shell's layers, a block of them at a time.

The stress of a layer is the Kirchhoff stress conjugate to its logarithmic strain.  But for a
small transverse shear the principal axes of a shell of revolution are fixed (meridian, hoop), so
logarithmic strains add and the small-strain return map holds at any strain (Simo & Hughes,
Computational Inelasticity, 1998, ch. 9; plane stress: sec. 3.4, here in its decoupled axes
(s1 + s2)/sqrt 2, (s2 - s1)/sqrt 2, and the shear).

Metal of another yield surface or with a back stress that fades is in surfaces.py; rows of `lanes`
are in lanes.py.
"""

from __future__ import annotations

import math

import numpy as np

from domemargin.fea.compiled import kernel
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
    E1,
    E2,
    E3,
    FACTOR,
    LANES,
    LOW,
    N1,
    N2,
    N3,
    NOW,
    OPEN,
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
    load,
    store,
    yield_curves,
)
from domemargin.fea.metal.materials import (
    BACK,
    ELASTIC,
    KINEMATIC,
    LAW,
    NU,
    R_VALUE,
    YIELD,
    E,
)
from domemargin.fea.metal.surfaces import carry_back
from domemargin.profiles.arrays import Floats

_HALF = math.sqrt(0.5)
# relative residual after which one more update is exact to rounding
_NEAR = 1e-5


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
        x1, x2 = lanes[E1 + i] - lanes[PLASTIC1 + i], lanes[E2 + i] - lanes[PLASTIC2 + i]
        lanes[T1 + i] = mean * x1 + difference * x2
        lanes[T2 + i] = difference * x1 + mean * x2
        lanes[T3 + i] = k3 * (lanes[E3 + i] - lanes[PLASTIC3 + i])
        lanes[C11 + i] = lanes[C22 + i] = mean
        lanes[C12 + i] = difference
        lanes[C13 + i] = lanes[C23 + i] = 0.0
        lanes[C33 + i] = k3
    if material[LAW] != ELASTIC:
        if material[R_VALUE] > 0.0 or material[BACK] > 0.0:
            carry_back(material, lanes)
        elif _trial(material, lanes) > 0.0:
            _return(material, lanes)


@kernel
def _trial(material: Floats, lanes: Floats) -> float:
    """Number of lanes beyond yield, and the first guess of their increments d."""
    m, yield_stress = material[KINEMATIC], material[YIELD]
    c1 = 0.5 * material[E] / (1.0 - material[NU])
    c2 = 1.5 * material[E] / (1.0 + material[NU])
    for i in range(BLOCK):
        lanes[STEP + i], lanes[BEYOND + i] = 0.0, 1.0
    yield_curves(material, lanes)
    beyond = 0.0
    for i in range(BLOCK):
        s1, s2 = lanes[T1 + i] - lanes[BACK1 + i], lanes[T2 + i] - lanes[BACK2 + i]
        n1, n2, n3 = _HALF * (s1 + s2), _HALF * (s2 - s1), lanes[T3 + i] - lanes[BACK3 + i]
        first, start = lanes[FACTOR + i] * yield_stress, lanes[NOW + i]
        size = first + (1.0 - m) * (start - first)
        # q^2 = n1^2 / 2 + 3/2 n2^2 + 3 n3^2; the last two shrink alike (1.5 k2 = 3 k3)
        w1, w2 = 0.5 * n1 * n1, 1.5 * n2 * n2 + 3.0 * n3 * n3
        q = math.sqrt(w1 + w2)
        # one Newton step from d = 0, in closed form
        d = (q - size) / ((c1 * w1 + c2 * w2) / (q * q) + lanes[SLOPE + i] * q / size)
        over = q > size
        beyond += 1.0 if over else 0.0
        lanes[N1 + i], lanes[N2 + i], lanes[N3 + i] = n1, n2, n3
        lanes[W1 + i], lanes[W2 + i] = w1, w2
        lanes[START + i] = start
        lanes[STEP + i] = d if over else 0.0
        lanes[LOW + i] = 0.0
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
    d, now, slope = lanes[STEP + i], lanes[NOW + i], lanes[SLOPE + i]
    iso, iso_slope = first + (1.0 - m) * (now - first), (1.0 - m) * slope
    kin, kin_slope = m * (now - lanes[START + i]), m * slope
    # from lam = d / iso and the back stress; one division for three
    z1, z2 = iso + c1 * d + kin, iso + c2 * d + kin
    per_all = 1.0 / (iso * z1 * z2)
    per_iso = z1 * z2 * per_all
    s1, s2 = iso * iso * z2 * per_all, iso * iso * z1 * per_all
    dr1 = (c1 + kin_slope - (c1 * d + kin) * per_iso * iso_slope) * per_iso
    dr2 = (c2 + kin_slope - (c2 * d + kin) * per_iso * iso_slope) * per_iso
    u1, u2 = lanes[W1 + i] * s1 * s1, lanes[W2 + i] * s2 * s2
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
        yield_curves(material, lanes)
        for i in range(BLOCK):
            first, d = lanes[FACTOR + i] * yield_stress, lanes[STEP + i]
            _, _, _, _, iso, iso_slope, per_iso, per_q, dq, _ = _shrunk(lanes, i, first, m, c1, c2)
            # 1/q - 1/iso is nearly a straight line in d, q - iso is not: few iterations
            residual = per_q - per_iso
            over = lanes[BEYOND + i] > 0.0
            # keep a bracket, so that a kinked table cannot cycle
            low = d if residual < 0.0 else lanes[LOW + i]
            high = lanes[BEYOND + i] if residual < 0.0 else d
            trial = d - residual / (iso_slope * per_iso * per_iso - dq * per_q * per_q)
            trial = trial if low <= trial <= high else 0.5 * (low + high)
            far = abs(residual) * iso > _NEAR and abs(trial - d) > 1e-15 * d
            lanes[LOW + i] = low
            lanes[BEYOND + i] = high if over else 0.0
            lanes[STEP + i] = trial if over else 0.0
            lanes[OPEN + i] = 1.0 if over and far else 0.0
        left = 0.0
        for i in range(BLOCK):
            left += lanes[OPEN + i]
        if left == 0.0:
            break
    yield_curves(material, lanes)
    for i in range(BLOCK):
        first, d = lanes[FACTOR + i] * yield_stress, lanes[STEP + i]
        s1, s2, dr1, dr2, _, iso_slope, per_iso, per_q, dq, kin = _shrunk(
            lanes, i, first, m, c1, c2
        )
        lam = d * per_iso
        dlam = (1.0 - lam * iso_slope) * per_iso
        h1, h2, h3 = lanes[N1 + i] * s1, lanes[N2 + i] * s2, lanes[N3 + i] * s2
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
            lanes[PLASTIC1 + i] += _HALF * (p1 - p2)
            lanes[PLASTIC2 + i] += _HALF * (p1 + p2)
            lanes[PLASTIC3 + i] += p3
            lanes[BACK1 + i] += shift * (h1 - h2)
            lanes[BACK2 + i] += shift * (h1 + h2)
            lanes[BACK3 + i] += kin * per_iso * h3


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
