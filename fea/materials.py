"""J2 plasticity of a shell's layer: yield curves and the return map.

The stress of a layer is the Kirchhoff stress conjugate to its logarithmic strain.  But for a
small transverse shear the principal axes of a shell of revolution are fixed (meridian, hoop), so
logarithmic strains add and the small-strain return map holds at any strain (Simo & Hughes,
Computational Inelasticity, 1998, ch. 9; plane stress: sec. 3.4, here in its decoupled axes
(s1 + s2)/sqrt 2, (s2 - s1)/sqrt 2, and the shear).
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


# state of a layer
EP, P1, P2, P3, B1, B2, B3 = range(7)
STATE = 7


@kernel
def layer_stress(
    material: Floats, factor: float, e1: float, e2: float, e3: float, old: Floats, new: Floats
) -> tuple[float, float, float, float, float, float, float, float, float]:
    """Stress and consistent tangent of one layer under no stress through the gauge.

    factor : multiplies the yield curve.  e1, e2 : logarithmic strains (meridian, hoop).
    e3 : transverse shear angle.
    old, new : (7,) state before and after: equivalent plastic strain; plastic strains 1, 2 and
        shear; back stresses 1, 2 and shear (MPa, in the form taken off the stresses directly).
    Returns t1, t2, t3 (MPa) and d t/d e: 11, 12, 22, 13, 23, 33.

    One scalar equation in the increment d of equivalent plastic strain:
    q(eta(d)) = isotropic yield stress(ep + d), eta = stress less back stress.  A share m of the
    growth of the yield curve goes into the back stress, so that a monotonic uniaxial test does
    not depend on m (mixed hardening; Simo & Hughes, sec. 3.3).
    """
    modulus, nu = material[E], material[NU]
    k1, k2 = modulus / (1.0 - nu), modulus / (1.0 + nu)
    k3 = 0.5 * k2
    x1, x2 = e1 - old[P1], e2 - old[P2]
    half = math.sqrt(0.5)
    y1, y2, y3 = k1 * half * (x1 + x2), k2 * half * (x2 - x1), k3 * (e3 - old[P3])
    for i in range(STATE):
        new[i] = old[i]
    y11, y12, y22, y13, y23, y33 = k1, 0.0, k2, 0.0, 0.0, k3
    if material[LAW] != ELASTIC:
        m = material[KINEMATIC]
        # trial eta
        n1 = y1 - half * (old[B1] + old[B2])
        n2 = y2 - half * (old[B2] - old[B1])
        n3 = y3 - old[B3]
        first = factor * material[YIELD]
        start, slope = yield_curve(material, old[EP])
        start *= factor
        size = first + (1.0 - m) * (start - first)
        # q^2 = n1^2 / 2 + 3/2 n2^2 + 3 n3^2; the last two shrink alike (1.5 k2 = 3 k3)
        w1, w2 = 0.5 * n1 * n1, 1.5 * n2 * n2 + 3.0 * n3 * n3
        q = math.sqrt(w1 + w2)
        if q > size:
            c1, c2 = 0.5 * k1, 1.5 * k2
            low, high = 0.0, q / c1
            # one Newton step from d = 0, in closed form
            d = (q - size) / ((c1 * w1 + c2 * w2) / (q * q) + factor * slope * q / size)
            for _ in range(60):
                now, slope = yield_curve(material, old[EP] + d)
                now, slope = factor * now, factor * slope
                iso, iso_slope = first + (1.0 - m) * (now - first), (1.0 - m) * slope
                kin, kin_slope = m * (now - start), m * slope
                # eta = trial * s, from lam = d / iso and the back stress; one division for three
                z1, z2 = iso + c1 * d + kin, iso + c2 * d + kin
                per_all = 1.0 / (iso * z1 * z2)
                per_iso = z1 * z2 * per_all
                s1, s2 = iso * iso * z2 * per_all, iso * iso * z1 * per_all
                r1, r2 = (c1 * d + kin) * per_iso, (c2 * d + kin) * per_iso
                dr1 = (c1 + kin_slope - r1 * iso_slope) * per_iso
                dr2 = (c2 + kin_slope - r2 * iso_slope) * per_iso
                u1, u2 = w1 * s1 * s1, w2 * s2 * s2
                per_q = 1.0 / math.sqrt(u1 + u2)
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
            h1, h2, h3 = n1 * s1, n2 * s2, n3 * s2
            p1, p2, p3 = 0.5 * lam * h1, 1.5 * lam * h2, 3.0 * lam * h3
            y1 -= k1 * p1
            y2 -= k2 * p2
            y3 -= k3 * p3
            # d d/d n from the scalar equation, then d y = K d x - K d p
            scale = per_q / (iso_slope - dq)
            d1, d2, d3 = 0.5 * h1 * s1 * scale, 1.5 * h2 * s2 * scale, 3.0 * h3 * s2 * scale
            g1 = 0.5 * h1 * (dlam - lam * dr1 * s1)
            both = dlam - lam * dr2 * s2
            g2, g3 = 1.5 * h2 * both, 3.0 * h3 * both
            y11 = k1 * (1.0 - k1 * (0.5 * lam * s1 + g1 * d1))
            y12 = -k1 * g1 * d2 * k2
            y13 = -k1 * g1 * d3 * k3
            y22 = k2 * (1.0 - k2 * (1.5 * lam * s2 + g2 * d2))
            y23 = -k2 * g2 * d3 * k3
            y33 = k3 * (1.0 - k3 * (3.0 * lam * s2 + g3 * d3))
            new[EP] = old[EP] + d
            new[P1] = old[P1] + half * (p1 - p2)
            new[P2] = old[P2] + half * (p1 + p2)
            new[P3] = old[P3] + p3
            shift = kin * per_iso
            new[B1] = old[B1] + shift * half * (h1 - h2)
            new[B2] = old[B2] + shift * half * (h1 + h2)
            new[B3] = old[B3] + shift * h3
    return (
        half * (y1 - y2),
        half * (y1 + y2),
        y3,
        0.5 * (y11 + y22) - y12,
        0.5 * (y11 - y22),
        0.5 * (y11 + y22) + y12,
        half * (y13 - y23),
        half * (y13 + y23),
        y33,
    )


@kernel
def yield_ratio(material: Floats, factor: Floats, layers: Floats, stress: Floats) -> Floats:
    """(n_layers,) equivalent stress (less back stress) over yield stress; 1 is at yield.

    factor : (n_layers,), layers : (n_layers, 7), stress : (n_layers, 3), MPa.
    Zero for a linear elastic material.
    """
    out = np.zeros(factor.size)
    if material[LAW] == ELASTIC:
        return out
    m = material[KINEMATIC]
    for i in range(factor.size):
        now, _ = yield_curve(material, layers[i, EP])
        first = material[YIELD]
        size = factor[i] * (first + (1.0 - m) * (now - first))
        s1, s2 = stress[i, 0] - layers[i, B1], stress[i, 1] - layers[i, B2]
        s3 = stress[i, 2] - layers[i, B3]
        out[i] = math.sqrt(s1 * s1 - s1 * s2 + s2 * s2 + 3.0 * s3 * s3) / size
    return out
