"""What a sheet is made of, as data.  How it flows is in fea/metal/materials.py."""

from __future__ import annotations

from dataclasses import dataclass, field, replace


@dataclass(frozen=True)
class Linear:
    """Yield stress = yield_strength + modulus * ep.  modulus : MPa (0 is perfect plasticity)."""

    modulus: float = 0.0


@dataclass(frozen=True)
class Voce:
    """Yield stress = yield_strength + saturation (1 - exp(-rate ep)).  saturation : MPa."""

    saturation: float
    rate: float


@dataclass(frozen=True)
class Swift:
    """Yield stress = yield_strength (1 + ep / reference_strain) ** exponent."""

    reference_strain: float
    exponent: float


@dataclass(frozen=True)
class Table:
    """Yield stress by straight lines through (plastic_strain, stress) pairs, level after the last.

    plastic_strain : increasing from 0.  stress : true stress, MPa; its first entry is the
    yield strength.
    """

    plastic_strain: tuple[float, ...]
    stress: tuple[float, ...]


Hardening = Linear | Voce | Swift | Table


@dataclass(frozen=True)
class BackStress:
    """A back stress that fades: a term of Armstrong and Frederick.

    Under load in one direction it comes to saturation (1 - exp(-rate ep)).  saturation : MPa.
    (Armstrong & Frederick, CEGB report RD/B/N731, 1966; value from memory.)
    """

    saturation: float
    rate: float


@dataclass(frozen=True)
class Material:
    """An isotropic metal, or one with a mean r-value.

    elastic_modulus : MPa.  poisson_ratio : -.
    yield_strength : initial yield stress, MPa; None makes the material linear elastic.
    hardening : growth of the yield stress with equivalent plastic strain ep.
    kinematic_share : share (0..1) of that growth which moves the yield surface (back stress)
        in place of widening it: the Bauschinger effect of metal that is bent and unbent.
    back_stress : in place of a share, a part of the yield stress that moves the yield surface
        and fades where strain turns back.  A test in one direction feels neither.
    r_value : mean of the sheet's ratios of width to thickness strain; Hosford's yield surface of
        exponent 8 then, with `hardening` for a test along the sheet.  None is von Mises.  With
        an r-value or a back stress, transverse shear stays elastic.
    temperature, bake : degrees Celsius of the bottom, and of a bake of 10 to 20 min; the values
        above are those at room temperature without that bake, and domemargin.profiles.heat turns
        them into those that a solve takes.  None leaves them.
    density : g/cm3.
    name : how it is called in reports.
    """

    elastic_modulus: float
    poisson_ratio: float
    yield_strength: float | None = None
    hardening: Hardening = field(default_factory=Linear)
    kinematic_share: float = 0.0
    density: float = 2.72
    name: str = "as given"
    back_stress: BackStress | None = None
    r_value: float | None = None
    temperature: float | None = None
    bake: float | None = None

    def at_yield(self, strength: float) -> Material:
        """The metal with another initial yield stress, MPa: the whole yield curve moves up or
        down by the difference, hardening given as a table too."""
        hardening = self.hardening
        if isinstance(hardening, Table):
            by = strength - hardening.stress[0]
            hardening = replace(hardening, stress=tuple(x + by for x in hardening.stress))
        return replace(self, yield_strength=strength, hardening=hardening)
