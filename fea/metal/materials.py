"""Metal as the compiled kernels see it: yield curves, and the state of a layer.

What stress a layer's strain brings is in layers.py.
"""

from __future__ import annotations

import math

import numpy as np

from domemargin.fea.compiled import kernel
from domemargin.profiles.arrays import Floats
from domemargin.profiles.heat import as_solved
from domemargin.profiles.material import Linear, Material, Swift, Table, Voce

ELASTIC, LINEAR, VOCE, SWIFT, TABLE = range(5)
# layout of an encoded material: these entries, then the table's strains and stresses
E, NU, LAW, YIELD, FIRST, SECOND, KINEMATIC, R_VALUE, BACK, RECALL, POINTS = range(11)


def encode(material: Material) -> Floats:
    """Pack a material into one flat array for the compiled kernels (layout above, MPa), at its
    temperature and after its bake."""
    material = as_solved(material)
    head = np.zeros(POINTS + 1)
    head[E], head[NU] = material.elastic_modulus, material.poisson_ratio
    head[KINEMATIC] = material.kinematic_share
    if material.r_value is not None:
        head[R_VALUE] = material.r_value
    if material.back_stress is not None:
        head[BACK], head[RECALL] = material.back_stress.saturation, material.back_stress.rate
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


# state of a layer: equivalent plastic strain, plastic strains and back stresses (meridian, hoop,
# shear)
EP, P1, P2, P3, B1, B2, B3 = range(7)
STATE = 7


@kernel
def power_sum(s1: float, s2: float, r_value: float) -> float:
    """Hosford's equivalent stress of exponent 8 to the power of 8, for two principal stresses.

    (|s1|^8 + |s2|^8 + R |s1 - s2|^8) / (1 + R), R the mean r-value (W. F. Hosford, Proc. 7th
    North American Metalworking Conf., 1979, 191-197; exponent 8 for face-centred cubic metal;
    value from memory).
    """
    a, b, c = s1 * s1, s2 * s2, (s1 - s2) * (s1 - s2)
    a, b, c = a * a, b * b, c * c
    return (a * a + b * b + r_value * c * c) / (1.0 + r_value)


@kernel
def isotropic_stress(material: Floats, ep: float) -> float:
    """Size of the yield surface at equivalent plastic strain ep, MPa: what of the yield curve is
    not back stress."""
    now, _ = yield_curve(material, ep)
    first = material[YIELD]
    size: float = first + (1.0 - material[KINEMATIC]) * (now - first)
    if material[BACK] > 0.0:
        size -= material[BACK] * (1.0 - math.exp(-material[RECALL] * ep))
    return size


@kernel
def yield_ratio(material: Floats, factor: Floats, layers: Floats, stress: Floats) -> Floats:
    """(n_layers,) equivalent stress (less back stress) over yield stress; 1 is at yield.

    factor : (n_layers,), layers : (7, n_layers), stress : (3, n_layers), MPa.
    Zero for a linear elastic material.
    """
    out = np.zeros(factor.size)
    if material[LAW] == ELASTIC:
        return out
    r_value = material[R_VALUE]
    for i in range(factor.size):
        size = factor[i] * isotropic_stress(material, layers[EP, i])
        s1, s2 = stress[0, i] - layers[B1, i], stress[1, i] - layers[B2, i]
        s3 = stress[2, i] - layers[B3, i]
        if r_value > 0.0:
            out[i] = math.sqrt(power_sum(s1, s2, r_value) ** 0.25 + 3.0 * s3 * s3) / size
        else:
            out[i] = math.sqrt(s1 * s1 - s1 * s2 + s2 * s2 + 3.0 * s3 * s3) / size
    return out
