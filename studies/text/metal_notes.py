"""Sentences about a bottom's metal that stand beside its answer."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any, NamedTuple

from domemargin.profiles.heat import (
    ROOM,
    as_solved,
    bake_factors,
    heat_factors,
    modulus_factor,
)
from domemargin.profiles.units import PSI

if TYPE_CHECKING:
    from domemargin.fea.bottom.kinematic import KinematicBand
    from domemargin.fea.core.record import Record
    from domemargin.fea.core.settings import Settings
    from domemargin.profiles.material import Material


def heat_words(material: Material) -> str:
    """What temperature and bake do to the metal, in a sentence; "" where neither is given."""
    parts = []
    if material.bake is not None:
        middle, low, high = bake_factors(material.bake)
        parts.append(
            f"baked at {material.bake:.4g} degC: yield x {middle:.3f} ({low:.3f} to {high:.3f})"
        )
    if material.temperature is not None:
        middle, low, high = heat_factors(material.temperature)
        parts.append(
            f"at {material.temperature:.4g} degC: yield x {middle:.3f} ({low:.3f} to {high:.3f}), "
            f"modulus x {modulus_factor(material.temperature):.3f}"
        )
    return "; ".join(parts) + "; the yield factors are estimates" if parts else ""


def heat_data(material: Material) -> dict[str, Any]:
    """The same as plain data; what the solve took."""
    solved = as_solved(material)
    celsius = ROOM if material.temperature is None else material.temperature
    return {
        "temperature_c": celsius,
        "bake_c": material.bake,
        "elastic_modulus_mpa": solved.elastic_modulus,
        "yield_strength_mpa": solved.yield_strength,
        "note": heat_words(material),
    }


def band_words(band: KinematicBand) -> str:
    """What the share leaves open, in a sentence."""
    pressures, growths = band.pressures, band.growths
    if pressures is None:
        return "the kinematic share is not given, and not every share in 0 to 0.6 gave a pressure"
    text = (
        f"not given; over {band.shares[0]:g} to {band.shares[-1]:g} the pressure is "
        f"{pressures[0] / PSI:.1f} to {pressures[1] / PSI:.1f} psi"
    )
    if growths is not None:
        text += (
            f", permanent growth at {band.growth_at_mpa / PSI:.0f} psi {growths[0]:.2f} to "
            f"{growths[1]:.2f} mm"
        )
    return text + "; a reverse test settles it (`domemargin metal`)"


class Notes(NamedTuple):
    """Rows to print, and what goes into the record beside it."""

    rows: tuple[tuple[str, str], ...]
    data: dict[str, Any]


def metal_notes(record: Record, settings: Settings) -> Notes:
    """What stands beside an answer: heat, what the kinematic share leaves open where the metal has
    been formed and no share is given, and what forming would do where it has not."""
    from domemargin.fea.bottom.kinematic import GROUND, kinematic_band, share_is_open

    profile, rows, data = record.profile, [], {}
    if words := heat_words(profile.material):
        rows.append(("Metal", words))
        data["heat"] = heat_data(profile.material)
    if record.reversal_pressure_mpa is None or profile.material.yield_strength is None:
        return Notes(tuple(rows), data)
    if profile.is_formed and share_is_open(profile) and settings.model == "shell":
        band = kinematic_band(profile, settings)
        rows.append(("Kinematic share", band_words(band)))
        data["kinematic_band"] = asdict(band) | {"ground": GROUND}
    return Notes(tuple(rows), data)
