"""J2 plasticity in plane stress: yield curves and the return map of one layer.

The stress of a layer is the Kirchhoff stress conjugate to its logarithmic strain.  The principal
axes of a shell of revolution are fixed (meridian, hoop), so logarithmic strains add and the
small-strain return map holds at any strain (Simo & Hughes, Computational Inelasticity, 1998,
ch. 9; plane stress: sec. 3.4, here in its decoupled axes (s1 + s2)/sqrt 2, (s2 - s1)/sqrt 2).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fea.compiled import kernel
from profiles.material import Linear, Material, Swift, Table, Voce

Floats = NDArray[np.float64]

ELASTIC, LINEAR, VOCE, SWIFT, TABLE = range(5)
# layout of an encoded material: these entries, then the table's strains and stresses
E, NU, LAW, YIELD, FIRST, SECOND, KINEMATIC, POINTS = range(8)


def encode(material: Material) -> Floats:
    """Pack a material into one flat array for the compiled kernels (layout above, MPa)."""
    head = np.zeros(8)
    head[E], head[NU] = material.elastic_modulus, material.poisson_ratio
    head[KINEMATIC] = material.kinematic_share
    tail = np.zeros(0)
    if material.yield_strength is None:
        head[LAW] = ELASTIC
        return head
    head[YIELD] = material.yield_strength
    match material.hardening:
        case Linear(modulus):
            head[LAW], head[FIRST] = LINEAR, modulus
        case Voce(saturation, rate):
            head[LAW], head[FIRST], head[SECOND] = VOCE, saturation, rate
        case Swift(reference_strain, exponent):
            head[LAW], head[FIRST], head[SECOND] = SWIFT, reference_strain, exponent
        case Table(plastic_strain, stress):
            head[LAW], head[POINTS] = TABLE, len(plastic_strain)
            tail = np.concatenate((plastic_strain, stress))
    return np.concatenate((head, tail))


@kernel
def yield_curve(material: Floats, ep: float) -> tuple[float, float]:
    """Yield stress and its slope at equivalent plastic strain ep (MPa, MPa)."""
    law = material[LAW]
    first, second = material[FIRST], material[SECOND]
    if law == VOCE:
        rest = first * math.exp(-second * ep)
        return material[YIELD] + first - rest, second * rest
    if law == LINEAR:
        return material[YIELD] + first * ep, first
    if law == SWIFT:
        stress = material[YIELD] * (1.0 + ep / first) ** second
        return stress, second * stress / (first + ep)
    count = int(material[POINTS])
    low = 0
    while low < count - 1 and material[POINTS + 2 + low] <= ep:
        low += 1
    if low == count - 1 and material[POINTS + 1 + low] <= ep:
        return material[POINTS + count + 1 + low], 0.0
    e0, e1 = material[POINTS + 1 + low], material[POINTS + 2 + low]
    s0, s1 = material[POINTS + 1 + count + low], material[POINTS + 2 + count + low]
    slope = (s1 - s0) / (e1 - e0)
    return s0 + slope * (ep - e0), slope


@kernel
def plane_stress(
    material: Floats, factor: float, e1: float, e2: float, old: Floats, new: Floats
) -> tuple[float, float, float, float, float]:
    """Stress and consistent tangent of one layer.

    factor : multiplies the yield curve.  e1, e2 : logarithmic strains (meridian, hoop).
    old, new : (5,) state before and after: equivalent plastic strain, plastic strains 1 and 2,
        back stresses 1 and 2 (MPa, in the form that is taken off the plane stress directly).
    Returns t1, t2 (MPa) and d t1/d e1, d t1/d e2, d t2/d e2.

    One scalar equation in the increment d of equivalent plastic strain:
    q(eta(d)) = isotropic yield stress(ep + d), eta = stress less back stress.  A share m of the
    growth of the yield curve goes into the back stress, so that a monotonic uniaxial test does
    not depend on m (mixed hardening; Simo & Hughes, sec. 3.3).
    """
    modulus, nu = material[E], material[NU]
    k1, k2 = modulus / (1.0 - nu), modulus / (1.0 + nu)
    x1, x2 = e1 - old[1], e2 - old[2]
    half = math.sqrt(0.5)
    y1, y2 = k1 * half * (x1 + x2), k2 * half * (x2 - x1)
    for i in range(5):
        new[i] = old[i]
    y11, y12, y22 = k1, 0.0, k2
    if material[LAW] != ELASTIC:
        m = material[KINEMATIC]
        b1, b2 = half * (old[3] + old[4]), half * (old[4] - old[3])
        n1, n2 = y1 - b1, y2 - b2  # trial eta
        first = factor * material[YIELD]
        start, slope = yield_curve(material, old[0])
        start *= factor
        size = first + (1.0 - m) * (start - first)
        q = math.sqrt(0.5 * n1 * n1 + 1.5 * n2 * n2)
        if q > size:
            c1, c2 = 0.5 * k1, 1.5 * k2
            low, high = 0.0, q / c1
            # one Newton step from d = 0, in closed form
            mean = (0.5 * c1 * n1 * n1 + 1.5 * c2 * n2 * n2) / (q * q)
            d = (q - size) / (mean + factor * slope * q / size)
            for _ in range(60):
                now, slope = yield_curve(material, old[0] + d)
                now, slope = factor * now, factor * slope
                iso, iso_slope = first + (1.0 - m) * (now - first), (1.0 - m) * slope
                kin, kin_slope = m * (now - start), m * slope
                # eta = trial * s, from lam = d / iso and the back stress; one division for three
                z1, z2 = iso + c1 * d + kin, iso + c2 * d + kin
                per_all = 1.0 / (iso * z1 * z2)
                per_iso, s1, s2 = (
                    z1 * z2 * per_all,
                    iso * iso * z2 * per_all,
                    iso * iso * z1 * per_all,
                )
                r1, r2 = (c1 * d + kin) * per_iso, (c2 * d + kin) * per_iso
                dr1 = (c1 + kin_slope - r1 * iso_slope) * per_iso
                dr2 = (c2 + kin_slope - r2 * iso_slope) * per_iso
                h1, h2 = n1 * s1, n2 * s2
                u1, u2 = 0.5 * h1 * h1, 1.5 * h2 * h2
                q2 = u1 + u2
                per_q = 1.0 / math.sqrt(q2)
                dq = -(u1 * dr1 * s1 + u2 * dr2 * s2) * per_q
                # 1/q - 1/iso is nearly a straight line in d, q - iso is not: few iterations
                residual = per_q - per_iso
                if abs(residual) * iso <= 1e-11:
                    break
                # keep a bracket, so that a kinked table cannot cycle
                if residual < 0.0:
                    low = d
                else:
                    high = d
                trial = d - residual / (iso_slope * per_iso * per_iso - dq * per_q * per_q)
                if not (low <= trial <= high):
                    trial = 0.5 * (low + high)
                if trial == d:
                    break
                d = trial
            lam = d * per_iso
            dlam = (1.0 - lam * iso_slope) * per_iso
            p1, p2 = 0.5 * lam * h1, 1.5 * lam * h2
            y1 -= k1 * p1
            y2 -= k2 * p2
            # d d/d n from the scalar equation, then d y = K d x - K d p
            scale = per_q / (iso_slope - dq)
            d1, d2 = 0.5 * h1 * s1 * scale, 1.5 * h2 * s2 * scale
            g1 = 0.5 * h1 * (dlam - lam * dr1 * s1)
            g2 = 1.5 * h2 * (dlam - lam * dr2 * s2)
            y11 = k1 * (1.0 - k1 * (0.5 * lam * s1 + g1 * d1))
            y12 = -k1 * g1 * d2 * k2
            y22 = k2 * (1.0 - k2 * (1.5 * lam * s2 + g2 * d2))
            new[0] = old[0] + d
            new[1] = old[1] + half * (p1 - p2)
            new[2] = old[2] + half * (p1 + p2)
            shift = kin * per_iso
            new[3] = old[3] + shift * half * (h1 - h2)
            new[4] = old[4] + shift * half * (h1 + h2)
    return (
        half * (y1 - y2),
        half * (y1 + y2),
        0.5 * (y11 + y22) - y12,
        0.5 * (y11 - y22),
        0.5 * (y11 + y22) + y12,
    )


@kernel
def yield_ratio(material: Floats, factor: Floats, layers: Floats, stress: Floats) -> Floats:
    """(n_layers,) equivalent stress (less back stress) over yield stress; 1 is at yield.

    factor : (n_layers,), layers : (n_layers, 5), stress : (n_layers, 2), MPa.
    Zero for a linear elastic material.
    """
    out = np.zeros(factor.size)
    if material[LAW] == ELASTIC:
        return out
    m = material[KINEMATIC]
    for i in range(factor.size):
        now, _ = yield_curve(material, layers[i, 0])
        first = material[YIELD]
        size = factor[i] * (first + (1.0 - m) * (now - first))
        s1, s2 = stress[i, 0] - layers[i, 3], stress[i, 1] - layers[i, 4]
        out[i] = math.sqrt(s1 * s1 - s1 * s2 + s2 * s2) / size
    return out
