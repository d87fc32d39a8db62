"""Metal that is warm, or that was baked: factors on modulus and yield curve.

Factors of the modulus: EN 1999-1-2, table of moduli of aluminium alloys against temperature, 70.0,
69.3, 67.9 and 65.1 GPa at 20, 50, 100 and 150 degrees Celsius (value from memory).

Factors of the yield curve are estimates. For cold-rolled 3xxx sheet handbooks print the same
yield strength at room temperature and at 100 degrees (3004-H38, 248 MPa; value from memory),
rounded to 0.5 ksi and after long holding; flow stress that thermal activation and the modulus
carry falls by some per cent. Between the two 5 % at 65 degrees is taken, from 3 to 7 %. A bake
of 10 to 20 min at 200 to 205 degrees takes 15 to 30 MPa off 270 to 295 MPa (value from memory):
8 %, from 5 to 11 %, less in proportion down to 100 degrees, below which none is taken.

For the rate of loading, a test of seconds against a shelf time of months, no source was found:
nothing is taken.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from domemargin.profiles.material import Linear, Material, Swift, Table, Voce

ROOM = 20.0  # degrees Celsius
_MODULUS = (0.0, 20.0, 50.0, 100.0, 150.0), (70.3, 70.0, 69.3, 67.9, 65.1)  # GPa
_YIELD_PER_DEGREE, _YIELD_RANGE = 0.05 / 45.0, (0.03 / 45.0, 0.07 / 45.0)  # estimate
_BAKE, _BAKE_RANGE, _BAKE_FROM, _BAKE_AT = 0.08, (0.05, 0.11), 100.0, 202.5  # estimate


def modulus_factor(celsius: float) -> float:
    """Elastic modulus at a temperature over that at 20 degrees Celsius."""
    return float(np.interp(celsius, *_MODULUS)) / 70.0


def heat_factors(celsius: float) -> tuple[float, float, float]:
    """Yield stress at a temperature over that at 20 degrees: estimate, its low and its high end."""
    away = celsius - ROOM
    factors = [1.0 - rate * away for rate in (_YIELD_PER_DEGREE, *_YIELD_RANGE)]
    return factors[0], min(factors), max(factors)


def bake_factors(celsius: float) -> tuple[float, float, float]:
    """Yield stress after a bake over that as rolled: estimate, its low and its high end."""
    part = max(celsius - _BAKE_FROM, 0.0) / (_BAKE_AT - _BAKE_FROM)
    return 1.0 - _BAKE * part, 1.0 - _BAKE_RANGE[1] * part, 1.0 - _BAKE_RANGE[0] * part


def scaled_yield(material: Material, factor: float) -> Material:
    """The metal with its whole yield curve, back stress too, times a factor."""
    if material.yield_strength is None or factor == 1.0:
        return material
    hardening = material.hardening
    match hardening:
        case Linear(modulus):
            hardening = Linear(factor * modulus)
        case Voce(saturation, rate):
            hardening = Voce(factor * saturation, rate)
        case Swift():
            pass
        case Table(strain, stress):
            hardening = Table(strain, tuple(factor * value for value in stress))
    back = material.back_stress
    if back is not None:
        back = replace(back, saturation=factor * back.saturation)
    strength = factor * material.yield_strength
    return replace(material, yield_strength=strength, hardening=hardening, back_stress=back)


def as_solved(material: Material) -> Material:
    """The metal at its temperature and after its bake, both of them taken in: what a solve takes.

    Metal without either comes back as it is.
    """
    if material.temperature is None and material.bake is None:
        return material
    factor, modulus = 1.0, material.elastic_modulus
    if material.bake is not None:
        factor *= bake_factors(material.bake)[0]
    if material.temperature is not None:
        factor *= heat_factors(material.temperature)[0]
        modulus *= modulus_factor(material.temperature)
    material = replace(material, temperature=None, bake=None, elastic_modulus=modulus)
    return scaled_yield(material, factor)
